// How the practice body shows itself: for each shape the names and labels that libgphoto2 gives the settings of such a body.
// It translates, and decides nothing that a camera decides.
import {
  APERTURE_SCALES,
  formatEv,
  SHUTTER_SCALES,
  SIXTHS_PER_EV,
  type Sixths,
  toEv,
} from '../../exposure/index.js';
import { BRACKET_OFF, bracketLabel, shutterLabel } from '../dialects/index.js';
import type { Setting } from '../link.js';
import type { DriveEntry, PracticeBody, PracticeShape, PracticeShutter, PracticeState } from './model.js';

/** One setting of the model under its name on the wire. */
export interface Face<K extends keyof PracticeState = keyof PracticeState> {
  readonly name: string;
  readonly of: K;
  readonly label: (value: PracticeState[K], body: PracticeBody) => string;
}

const face = <K extends keyof PracticeState>(
  name: string,
  of: K,
  label: (value: PracticeState[K], body: PracticeBody) => string,
) => ({ name, of, label }) as Face;

const shutterAt = (tv: PracticeShutter) => SHUTTER_SCALES.third.find((candidate) => candidate.tv === tv);

const amountShutter = (tv: PracticeShutter): string => {
  if (tv === 'bulb') return 'bulb';
  const setting = shutterAt(tv);
  return setting === undefined ? 'unknown' : shutterLabel(setting);
};

const BULB = 'Bulb';

/** `1/60`, `13/10`, `30`: tenths stay tenths. */
const fractionShutter = (tv: PracticeShutter): string => {
  if (tv === 'bulb') return BULB;
  const label = shutterAt(tv)?.label ?? 'unknown';
  return label.includes('.') ? `${Math.round(Number(label) * 10)}/10` : label;
};

/** PTP's exposure time, four decimals. */
const decimalShutter = (tv: PracticeShutter): string =>
  tv === 'bulb' ? BULB : `${(shutterAt(tv)?.nominalSeconds ?? 0).toFixed(4)}s`;

const fNumberAt = (av: Sixths): string =>
  APERTURE_SCALES.third.find((setting) => setting.av === av)?.label ?? 'unknown';

/** Decimals are cut, as the library writes them for dialect A: 2/3 is 0.6. */
const cutCompensation = (value: Sixths): string => {
  const part = { 2: '.3', 4: '.6' }[Math.abs(value) % SIXTHS_PER_EV] ?? '';
  return `${value < 0 ? '-' : ''}${Math.floor(Math.abs(toEv(value)))}${part}`;
};

/** PTP's thousandths of EV: 2/3 is 0.666. */
const thousandths = (value: Sixths): string => String(Math.trunc(toEv(value) * 1000) / 1000);

/** Bodies of dialect C round to a tenth: 2/3 is 0.7. */
const roundedCompensation = (value: Sixths): string => String(Math.round(toEv(value) * 10) / 10);

const formatFace = (name: string, labels: Readonly<Record<PracticeState['format'], string>>) =>
  face(name, 'format', (format) => labels[format]);

const anyShape: readonly Face[] = [
  face('iso', 'iso', String),
  face('whitebalance', 'whiteBalance', (balance) => (balance === 'auto' ? 'Automatic' : 'Daylight')),
];

/** Bodies that say their exposure as PTP does. */
const standard: readonly Face[] = [
  face('expprogram', 'mode', (mode) => (mode === 'manual' ? 'M' : 'A')),
  face('f-number', 'aperture', (av) => `f/${fNumberAt(av)}`),
  face('exposurecompensation', 'compensation', thousandths),
];

const amountExposure: readonly Face[] = [
  face('autoexposuremode', 'mode', (mode) => (mode === 'manual' ? 'Manual' : 'AV')),
  face('shutterspeed', 'shutter', amountShutter),
  face('aperture', 'aperture', fNumberAt),
  face('exposurecompensation', 'compensation', cutCompensation),
  face('drivemode', 'drive', (drive) => (drive === 'single' ? 'Single' : 'Continuous')),
  face('capturetarget', 'target', (target) => (target === 'card' ? 'Memory card' : 'Internal RAM')),
  face('focusmode', 'focus', (focus) => (focus === 'manual' ? 'Manual' : 'One Shot')),
  formatFace('imageformat', { jpeg: 'Large Fine JPEG', 'raw-and-jpeg': 'RAW + Large Fine JPEG', raw: 'RAW' }),
  face('mirrorlock', 'mirrorLock', (on) => (on === 'on' ? '1' : '0')),
];

const noiseFace = (on: string, off: string) =>
  face('longexpnr', 'noiseReduction', (value) => (value === 'on' ? on : off));

const plainDrive = (drive: PracticeState['drive']): string =>
  drive === 'single' ? 'Single Shot' : drive === 'continuous' ? 'Burst' : entryLabel(drive);

const focusFace = face('focusmode', 'focus', (focus) => (focus === 'manual' ? 'Manual' : 'AF-S'));

const FACES: Readonly<Record<PracticeShape, readonly Face[]>> = {
  amount: [
    ...anyShape,
    ...amountExposure,
    face('aeb', 'bracketStep', (step) => (step === 0 ? BRACKET_OFF : bracketLabel(step))),
  ],
  pattern: [
    ...anyShape,
    ...standard,
    focusFace,
    formatFace('imagequality', { jpeg: 'JPEG Fine', 'raw-and-jpeg': 'RAW+Fine', raw: 'RAW' }),
    noiseFace('On', 'Off'),
    face('capturemode', 'drive', plainDrive),
    face('capturetarget', 'target', (target) => (target === 'card' ? 'Memory card' : 'Internal RAM')),
    face('shutterspeed', 'shutter', decimalShutter),
    face('shutterspeed2', 'shutter', fractionShutter),
    face('bracketing', 'bracket', (on) => (on === 'on' ? 'On' : 'Off')),
    face('bracketset', 'bracketOf', (of) => (of === 'exposure' ? 'AE only' : 'WB bracketing')),
    face('aebracketingstep', 'bracketStep', (step) => `${formatEv(step, false)} EV`),
    face('aebracketingpattern', 'bracketPattern', (index, body) =>
      patternLabel(body.options.patterns[index] ?? []),
    ),
    face('bracketorder', 'bracketOrder', (order) => (order === 'as-listed' ? 'MTR > Under' : 'Under > MTR')),
  ],
  'drive-entry': [
    ...anyShape,
    ...standard.filter(({ name }) => name !== 'exposurecompensation'),
    face('exposurecompensation', 'compensation', roundedCompensation),
    face('focusmode', 'focus', (focus) => (focus === 'manual' ? 'Manual' : 'Automatic')),
    formatFace('imagequality', { jpeg: 'Fine', 'raw-and-jpeg': 'RAW+JPEG (Fine)', raw: 'RAW' }),
    face('capturemode', 'drive', plainDrive),
    face('shutterspeed', 'shutter', (tv) => (tv === 10 ? '1/3' : fractionShutter(tv))),
  ],
  none: [...anyShape, ...amountExposure],
};

export const facesOf = (shape: PracticeShape): readonly Face[] => FACES[shape];

/** `3 images (normal, under and over)` */
function patternLabel(pattern: readonly number[]): string {
  const unders = pattern.filter((position) => position < 0).length;
  const overs = pattern.filter((position) => position > 0).length;
  const some = (count: number, word: string) => (count === 1 ? word : `${count} ${word}s`);
  const sides = [unders > 0 ? some(unders, 'under') : '', overs > 0 ? some(overs, 'over') : ''].filter(
    (side) => side !== '',
  );
  const joint = sides.length === 2 ? ', ' : ' and ';
  return `${pattern.length} images (normal${joint}${sides.join(' and ')})`;
}

/** `Bracketing S 0.7 Steps 3 Pictures` */
function entryLabel({ press, step, pattern }: DriveEntry): string {
  return `Bracketing ${press === 'each' ? 'S' : 'C'} ${toEv(step).toFixed(1)} Steps ${pattern.length} Pictures`;
}

/** Values that the body tells and nobody can set over this link, and its clock. */
export function toldBy(body: PracticeBody): Setting[] {
  return [
    { name: 'cameramodel', kind: 'text', value: body.model },
    { name: 'serialnumber', kind: 'text', value: body.options.serial },
    { name: 'availableshots', kind: 'text', value: String(body.framesLeft) },
    { name: 'batterylevel', kind: 'text', value: `${body.battery}%` },
    { name: 'datetime', kind: 'date', value: body.clock.toISOString() },
    ...(body.options.shape === 'pattern'
      ? [{ name: 'aebracketingcount', kind: 'text' as const, value: String(body.bracketFramesLeft) }]
      : []),
  ];
}
