// What the panel says of the device in the hand: its screen, and the panel's own files. As in text.ts.

export const phoneText = {
  phone: {
    newer: 'A newer panel is available.',
    load: 'Reload',
    screen: {
      /** Before the run this is known only if the browser cannot do it at all. */
      cannot: 'This browser cannot keep the screen on. Touch it now and then.',
      plain: 'Without encryption the screen cannot be kept on. Touch it now and then.',
      refused: 'This device will not keep the screen on. Touch it now and then.',
    },
  },
};
