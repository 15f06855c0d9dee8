// What the panel says of pairing, of devices, and of what a device may do.
import { clock } from './words.js';

export const accessText = {
  pairing: {
    heading: 'Pair this device',
    name: 'Name for this device',
    nameIs: 'Phone',
    why: 'Shown on the laptop and on other devices while you fire.',
    pair: 'Pair',
    pairing: 'Pairing',
    unreadable: 'Enter a name of up to 40 letters.',
    none: 'This device is not paired: it can neither fire nor show what the camera does.',
    how: 'On the laptop, open the panel, then Devices, and show a code. Scan it with this device.',
    secure:
      'If the browser warned you: the laptop made its own certificate. To be sure, compare the SHA-256 fingerprint beside the code with the one that the browser shows.',
    plain: 'Not encrypted: anyone on this network can read along, pose as this device, and fire.',
  },
  watchOnly: {
    heading: 'View only',
    why: 'To fire from this device, scan a code for firing.',
  },
  devices: {
    heading: 'Devices',
    line: (paired: number | null) =>
      paired === null ? 'Devices' : `Devices: ${paired === 0 ? 'none' : paired} paired`,
    noNetwork: 'To fire from a phone, restart Evenrung with',
    noNetworkOption: '--lan',
    none: 'No paired devices.',
    roles: { fire: 'can fire', watch: 'view only' },
    seen: (at: string) => `last seen ${at}`,
    drop: 'Remove',
    dropOf: (name: string) => `Remove ${name}`,
    pairFor: { fire: 'Pair to fire', watch: 'Pair to view only' },
    scan: {
      fire: 'Scan this with the device to fire from:',
      watch: 'Scan this with the device to view on:',
    },
    code: 'Pairing code',
    until: (at: Date) => `For one device. Expires at ${clock(at)}.`,
    over: 'This code has expired.',
    fingerprint: 'SHA-256 fingerprint of the certificate that the device will warn about:',
    put: 'Hide code',
  },
} as const;
