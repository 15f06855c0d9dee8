// The labels of dialect A (PTP vendor extension 0x0B) and what they stand for. A label is not a number: its decimals are
// cut, and some shutter labels stand for two settings. Both tables were read off the label tables of libgphoto2 2.5.30.
import {
  bodySetting,
  formatEv,
  parseEv,
  SHUTTER_SCALES,
  type ShutterSetting,
  type Sixths,
} from '../../../exposure/index.js';

/**
 * Shutter labels whose time is not the one they show, or that stand for two settings; Tv in sixths. Where there are two,
 * writing the label sets the first.
 */
const MISLEADING: ReadonlyMap<string, readonly [Sixths, ...Sixths[]]> = new Map([
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
]);

/** @returns the settings that a label may stand for, the one that writing it sets first; none where it is no time */
function candidates(label: string): readonly Sixths[] {
  const listed = MISLEADING.get(label);
  if (listed !== undefined) return listed;
  const said = (settings: readonly ShutterSetting[]) =>
    settings.find((setting) => setting.label === label)?.tv;
  const tv = said(SHUTTER_SCALES.third) ?? said(SHUTTER_SCALES.half);
  return tv === undefined ? [] : [tv];
}

type Grid = 'thirds' | 'halves' | 'both';

const isOn = (grid: Grid, tv: Sixths): boolean =>
  grid === 'both' || (grid === 'thirds' ? tv % 2 === 0 : tv % 3 === 0);

/** @param tvs of labels that stand for one setting only @returns the grid that the body is set to */
function gridOf(tvs: readonly Sixths[]): Grid {
  if (tvs.every((tv) => isOn('thirds', tv))) return 'thirds';
  return tvs.every((tv) => isOn('halves', tv)) ? 'halves' : 'both';
}

/**
 * @param choices the shutter labels that a body offers, in any order
 * @returns the settings behind them, longest first. The grid that the clear labels stand on decides what the others mean;
 *   a setting whose label may set another one is kept, marked as not settable.
 */
export function shutterSettings(choices: readonly string[]): ShutterSetting[] {
  const clear = choices.map(candidates).filter((tvs) => tvs.length === 1);
  const grid = gridOf(clear.flat());
  const settings = choices.flatMap((label) => {
    const tvs = candidates(label);
    const meant = tvs.find((tv) => isOn(grid, tv));
    if (meant === undefined) return [];
    const settable = tvs.length === 1 || (grid !== 'both' && tvs[0] === meant);
    return bodySetting(meant, label, settable) ?? [];
  });
  return [...new Map(settings.map((setting) => [setting.tv, setting])).values()].sort((a, b) => a.tv - b.tv);
}

/**
 * @param label of exposure compensation: `-0.3` is -1/3, `1.6` is 5/3, `-4.6` is -14/3 (decimals are cut, not rounded)
 * @returns sixths, or undefined where the label is none
 */
export function compensation(label: string): Sixths | undefined {
  const [, sign, whole, tenth] = /^([+-]?)(\d+)(?:\.(\d))?$/.exec(label) ?? [];
  const part = { '0': 0, '3': 2, '5': 3, '6': 4 }[tenth ?? '0'];
  if (whole === undefined || part === undefined) return undefined;
  const size = Number(whole) * 6 + part;
  return sign === '-' && size > 0 ? -size : size;
}

export const BRACKET_OFF = 'off';

/** @returns the label of an auto-bracket with this step, such as `+/- 1 1/3` */
export const bracketLabel = (step: Sixths): string => `+/- ${formatEv(step, false)}`;

/** @returns the step of a bracket label in sixths, or undefined where it is none */
export function bracketStep(label: string): Sixths | undefined {
  const [, amount] = /^\+\/- (.+)$/.exec(label) ?? [];
  return amount === undefined ? undefined : parseEv(amount);
}

/** @returns the label under which the library shows a setting of the nominal scales */
export function shutterLabel(setting: ShutterSetting): string {
  const listed = [...MISLEADING].find(([, tvs]) => tvs.includes(setting.tv));
  return listed?.[0] ?? setting.label;
}
