// The labels of dialect A (PTP vendor extension 0x0B) and their meaning. A label is not a number: its
// decimals are cut, and some shutter labels stand for two settings. Both tables were read off the label
// tables of libgphoto2 2.5.30.
import {
  formatEv,
  parseEv,
  SHUTTER_SCALES,
  type ShutterSetting,
  type Sixths,
  sixths,
} from '../../../exposure/index.js';
import { settingsBehind } from '../shutters.js';

export { compensation } from '../compensation.js';

/**
 * Shutter labels whose time is not the one they show, or that stand for two settings; Tv in sixths. If there
 * are two, writing the label sets the one that the body offers (tried over the virtual port, on bodies set to
 * thirds and to halves); if the body offers both, the first.
 */
const MISLEADING: ReadonlyMap<string, readonly Sixths[]> = new Map(
  (
    [
      ['20.3', [-27]],
      ['20', [-26]],
      ['10', [-21]],
      ['10.3', [-20]],
      ['6.3', [-16]],
      ['6', [-15]],
      ['0.3', [9, 10]],
      ['1/6', [15, 16]],
      ['1/10', [20, 21]],
      ['1/20', [26, 27]],
    ] as const
  ).map(([label, tvs]) => [label, tvs.map(sixths)]),
);

/** @returns the settings that a label may stand for; none if it is not a time */
function candidates(label: string): readonly Sixths[] {
  const listed = MISLEADING.get(label);
  if (listed !== undefined) return listed;
  const said = (settings: readonly ShutterSetting[]) =>
    settings.find((setting) => setting.label === label)?.tv;
  const tv = said(SHUTTER_SCALES.third) ?? said(SHUTTER_SCALES.half);
  return tv === undefined ? [] : [tv];
}

/**
 * @param choices the shutter labels that a body offers, in any order
 * @returns the settings behind them, longest first. The grid of the unambiguous labels decides the meaning
 *   of the others; a setting whose label may set another one is kept, but marked as not settable.
 */
export const shutterSettings = (choices: readonly string[]): ShutterSetting[] =>
  settingsBehind(choices, candidates, 'meant');

export const BRACKET_OFF = 'off';

/** @returns the label of an auto-bracket with this step, such as `+/- 1 1/3` */
export const bracketLabel = (step: Sixths): string => `+/- ${formatEv(step, false)}`;

/** @returns the step of a bracket label in sixths, or undefined if it is not one */
export function bracketStep(label: string): Sixths | undefined {
  const [, amount] = /^\+\/- (.+)$/.exec(label) ?? [];
  return amount === undefined ? undefined : parseEv(amount);
}

/** @returns the label under which the library shows a setting of the nominal scales */
export function shutterLabel(setting: ShutterSetting): string {
  const listed = [...MISLEADING].find(([, tvs]) => tvs.includes(setting.tv));
  return listed?.[0] ?? setting.label;
}
