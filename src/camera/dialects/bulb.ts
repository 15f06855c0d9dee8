// Bulb as libgphoto2 has it for every family that has it at all: a label of the shutter, and a switch that
// opens and closes it (camlibs/ptp2/config.c of 2.5.30 and 2.5.34, _put_*_Bulb). If the body does not offer
// both, there is no bulb: some bodies have it only on their mode dial, and there no other time can be set.
import { parseShutter } from '../../exposure/index.js';
import type { Settings } from '../link.js';
import { choicesOf } from './common.js';
import type { Bulb } from './dialect.js';

const SWITCH = 'bulb';

/** @param shutterName the setting that the dialect sets its times by */
export function bulbOf(settings: Settings, shutterName: string): Bulb | null {
  const label = choicesOf(settings, shutterName).find((choice) => parseShutter(choice)?.kind === 'bulb');
  if (label === undefined || settings.get(SWITCH)?.kind !== 'toggle') return null;
  return {
    label,
    button: { down: [{ name: SWITCH, value: 'on' }], up: [{ name: SWITCH, value: 'off' }] },
  };
}
