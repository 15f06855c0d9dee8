// What the panel says of the device in the hand: its screen, and the panel's own files. As in text.ts.

export const phoneText = {
  phone: {
    newer: 'The daemon has a newer panel than this one.',
    load: 'Load it',
    screen: {
      /** Before the run this is known only if the browser cannot do it at all. */
      cannot: 'This browser cannot keep the screen on. Touch it now and then.',
      plain: 'Without TLS the screen cannot be kept on. Touch it now and then.',
      refused: 'The device does not let the screen stay on. Touch it now and then.',
    },
  },
};
