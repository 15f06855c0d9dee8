// What the panel says of pairing, of devices, and of what a device may do.
import { clock, count } from './words.js';

export const accessText = {
  pairing: {
    heading: 'Pair this device',
    name: 'What is this device called?',
    nameIs: 'Phone',
    why: 'The laptop shows this name, and so do others while you fire.',
    pair: 'Pair',
    pairing: 'Pairing',
    unreadable: 'Write a name of at most 40 letters.',
    none: 'This device is not paired, so it can neither watch nor fire.',
    how: 'On the laptop: open the panel, then Devices, and ask for a code. Scan it with this device.',
    secure:
      'If the browser warned that nobody vouches for this page: the laptop made its certificate itself. It shows the SHA-256 fingerprint beside the code. Compare it with the one of the certificate that the browser shows.',
    plain:
      'This page is not encrypted: anybody on this network can read along, and fire with what this device shows as proof.',
  },
  watchOnly: {
    heading: 'This device watches',
    why: 'It was paired to look on. To fire from it, scan a code that may fire.',
  },
  devices: {
    heading: 'Devices',
    line: (paired: number | null) =>
      paired === null
        ? 'Devices'
        : `Devices: ${paired === 0 ? 'none is paired' : `${count(paired, 'is', 'are')} paired`}`,
    noNetwork: 'To fire from a phone, end the daemon and start it with',
    noNetworkOption: '--lan',
    none: 'No device is paired.',
    roles: { fire: 'may fire', watch: 'watches' },
    seen: (at: string) => `last here ${at}`,
    drop: 'Drop',
    dropOf: (name: string) => `Drop ${name}`,
    pairFor: { fire: 'Pair a device that may fire', watch: 'Pair a device that watches' },
    scan: {
      fire: 'Scan this with the device that may fire:',
      watch: 'Scan this with the device that watches:',
    },
    code: 'The code',
    until: (at: Date) => `It pairs one device, once, until ${clock(at)}.`,
    over: 'This code has run out.',
    fingerprint: 'SHA-256 fingerprint of the certificate, which the device will ask about:',
    put: 'Put the code away',
  },
} as const;
