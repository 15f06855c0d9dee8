// The fields of a schedule and the request that they make. Pure. Must not know what the daemon finds
// possible: it only recognises a field that cannot be read at all.
import type { WrittenLight, WrittenRunRequest, WrittenSpan } from '../../shared/run-request.js';
import type { Overrun, SunEvent, WrittenSchedule } from '../../shared/schedule.js';
import { MOST_FRAMES } from './span.js';

/** In the order of an evening; the names are those of shared/schedule.ts. */
export const SUN: readonly SunEvent[] = [
  'sunset',
  'dusk',
  'nautical dusk',
  'nautical dawn',
  'dawn',
  'sunrise',
];

/** A moment as it is in its fields. */
export interface MomentFields<First extends string> {
  readonly kind: First | 'time' | SunEvent;
  /** `21:40`, where `kind` is a time. */
  readonly time: string;
  /** Minutes from the sun's event. */
  readonly shift: string;
  readonly side: 'before' | 'after';
}

export type Unit = 's' | 'min' | 'h';

export interface ScheduleForm {
  readonly on: boolean;
  readonly every: string;
  readonly unit: Unit;
  readonly ends: MomentFields<'count'>;
  readonly count: string;
  readonly starts: MomentFields<'now'>;
  readonly overrun: Overrun;
  readonly maySleep: boolean;
  /** Whether the base follows the light. */
  readonly follows: boolean;
  /** Labels of the body; empty if slot and body alone set the limit. */
  readonly slowest: string;
  readonly fastest: string;
  /** Empty if ISO stays. */
  readonly isoLeast: string;
  readonly isoMost: string;
  /** EV, as people write them. */
  readonly mostPerSet: string;
  /** Whether the span follows the scene. */
  readonly spanFollows: boolean;
  /** Frames; empty if the usual limit counts. */
  readonly framesFewest: string;
  readonly framesMost: string;
  readonly framesChange: string;
}

/** Decimal degrees, as they are in their fields. */
export interface PlaceFields {
  readonly latitude: string;
  readonly longitude: string;
}

export const NO_PLACE = { latitude: '', longitude: '' } satisfies PlaceFields;

export const NO_SCHEDULE: ScheduleForm = {
  on: false,
  every: '5',
  unit: 'min',
  ends: { kind: 'count', time: '', shift: '0', side: 'before' },
  count: '12',
  starts: { kind: 'now', time: '', shift: '0', side: 'after' },
  overrun: 'skip',
  maySleep: false,
  follows: false,
  slowest: '',
  fastest: '',
  isoLeast: '',
  isoMost: '',
  mostPerSet: '1',
  spanFollows: false,
  framesFewest: '',
  framesMost: '',
  framesChange: '',
};

const KINDS: readonly string[] = ['count', 'now', 'time', ...SUN];
const SIDES: readonly string[] = ['before', 'after'];
const OVERRUNS: readonly string[] = ['skip', 'follow'] satisfies Overrun[];

/** @returns the fields as they were kept; undefined if any of them is not as it is written today */
export function readKept(kept: unknown): ScheduleForm | undefined {
  if (!hasFieldsOf(NO_SCHEDULE, kept)) return undefined;
  const { unit, ends, starts, overrun } = kept;
  const moments = [ends, starts].every(({ kind, side }) => KINDS.includes(kind) && SIDES.includes(side));
  return moments && Object.hasOwn(SECONDS, unit) && OVERRUNS.includes(overrun) ? kept : undefined;
}

function hasFieldsOf<T extends object>(usual: T, kept: unknown): kept is T {
  if (typeof kept !== 'object' || kept === null) return false;
  return Object.entries(usual).every(([name, value]) => {
    const found = (kept as Readonly<Record<string, unknown>>)[name];
    return typeof value === 'object' ? hasFieldsOf(value, found) : typeof found === typeof value;
  });
}

/**
 * The initial value of a time of day, from which somebody chooses another one.
 * @returns `22:00`
 */
export const nextFullHour = (now: Date): string => `${String((now.getHours() + 1) % 24).padStart(2, '0')}:00`;

export type ScheduleField =
  | 'every'
  | 'count'
  | 'until'
  | 'start'
  | 'place'
  | 'overrun'
  | 'slowest'
  | 'fastest'
  | 'iso'
  | 'mostPerSet'
  | 'fewestFrames'
  | 'mostFrames'
  | 'framesChange'
  | 'followSpan';

const FIELDS: readonly string[] = [
  'every',
  'count',
  'until',
  'start',
  'place',
  'overrun',
  'slowest',
  'fastest',
  'iso',
  'mostPerSet',
  'fewestFrames',
  'mostFrames',
  'framesChange',
  'followSpan',
] satisfies ScheduleField[];

/**
 * @param named as the daemon names it
 * @returns null if it is about none of them
 */
export function fieldNamed(named: string | null): ScheduleField | null {
  if (named === 'isoLeast' || named === 'isoMost') return 'iso';
  return named !== null && FIELDS.includes(named) ? (named as ScheduleField) : null;
}

export type SchedulePart = Pick<WrittenRunRequest, 'schedule' | 'light' | 'followSpan' | 'maySleep'>;

/** @returns what goes with the set, or the first field that cannot be read */
export function writeSchedule(
  form: ScheduleForm,
  place: PlaceFields,
  mode: 'manual' | 'aperture',
): SchedulePart | ScheduleField {
  const every = readNumber(form.every);
  if (every === undefined || every <= 0) return 'every';
  const start = writeMoment(form.starts);
  if (start === undefined) return 'start';
  const ends = writeEnd(form);
  if (typeof ends === 'string') return ends;
  const where = readPlace(place);
  if (where === 'place') return where;
  // In aperture priority the camera follows by itself.
  const light = form.follows && mode === 'manual' ? writeLight(form) : undefined;
  if (typeof light === 'string') return light;
  const span = form.spanFollows ? writeSpan(form) : undefined;
  if (typeof span === 'string') return span;
  const schedule: WrittenSchedule = {
    every: Math.round(every * SECONDS[form.unit]),
    ...ends,
    start,
    ...(where === null ? {} : { place: where }),
    overrun: form.overrun,
  };
  return {
    schedule,
    ...(light === undefined ? {} : { light }),
    ...(span === undefined ? {} : { followSpan: span }),
    ...(form.maySleep ? { maySleep: true } : {}),
  };
}

const SECONDS: Readonly<Record<Unit, number>> = { s: 1, min: 60, h: 3600 };

function writeEnd(form: ScheduleForm): Pick<WrittenSchedule, 'count' | 'until'> | ScheduleField {
  if (form.ends.kind !== 'count') {
    const until = writeMoment(form.ends);
    return until === undefined ? 'until' : { until };
  }
  const count = readNumber(form.count);
  return count === undefined ? 'count' : { count };
}

/** @returns `now`, `21:40`, `sunset`, `nautical dawn-20min`; undefined if a field cannot be read */
function writeMoment({ kind, time, shift, side }: MomentFields<string>): string | undefined {
  if (kind === 'now') return kind;
  if (kind === 'time') return time === '' ? undefined : time;
  const minutes = shift.trim() === '' ? 0 : readNumber(shift);
  if (minutes === undefined || minutes < 0) return undefined;
  return minutes === 0 ? kind : `${kind}${side === 'before' ? '-' : '+'}${minutes}min`;
}

function writeLight({ slowest, fastest, isoLeast, isoMost, mostPerSet }: ScheduleForm): WrittenLight | 'iso' {
  const isos = [isoLeast, isoMost].map((iso) => (iso.trim() === '' ? null : (readNumber(iso) ?? Number.NaN)));
  const [least = null, most = null] = isos;
  // One end alone leaves open how far it may go.
  if (isos.some(Number.isNaN) || (least === null) !== (most === null)) return 'iso';
  return {
    ...(slowest === '' ? {} : { slowest }),
    ...(fastest === '' ? {} : { fastest }),
    ...(least === null || most === null ? {} : { isoLeast: least, isoMost: most }),
    mostPerSet,
  };
}

function writeSpan({ framesFewest, framesMost, framesChange }: ScheduleForm): WrittenSpan | ScheduleField {
  const [fewestFrames, mostFrames, mostPerSet] = [framesFewest, framesMost, framesChange].map(readCount);
  if (fewestFrames === undefined) return 'fewestFrames';
  if (mostFrames === undefined) return 'mostFrames';
  if (mostPerSet === undefined) return 'framesChange';
  return {
    ...(fewestFrames === null ? {} : { fewestFrames }),
    ...(mostFrames === null ? {} : { mostFrames }),
    ...(mostPerSet === null ? {} : { mostPerSet }),
  };
}

/** @returns null if nothing was typed, undefined if it is not a number of frames */
function readCount(written: string): number | null | undefined {
  if (written.trim() === '') return null;
  const count = readNumber(written);
  return count !== undefined && Number.isInteger(count) && count >= 1 && count <= MOST_FRAMES
    ? count
    : undefined;
}

/** @returns null if nothing was typed, `place` if it cannot be read */
export function readPlace({ latitude, longitude }: PlaceFields) {
  if (latitude.trim() === '' && longitude.trim() === '') return null;
  const [north, east] = [readNumber(latitude), readNumber(longitude)];
  const isOnEarth =
    north !== undefined && east !== undefined && Math.abs(north) <= 90 && Math.abs(east) <= 180;
  return isOnEarth ? { latitude: north, longitude: east } : 'place';
}

function readNumber(written: string): number | undefined {
  const number = written.trim() === '' ? Number.NaN : Number(written);
  return Number.isFinite(number) ? number : undefined;
}

const OFFERED = /^(.+?)(?:([+-])(?:(\d+)h)?(?:(\d+)min)?)?$/;

/**
 * @param until as the daemon suggests it: `sunrise-20min`
 * @returns the fields that ask for it; null if they cannot
 */
export function endOffered(until: string): MomentFields<'count'> | null {
  const [, name, sign, hours = '0', minutes = '0'] = OFFERED.exec(until) ?? [];
  const event = SUN.find((known) => known === name);
  if (event === undefined) return null;
  const shift = String(Number(hours) * 60 + Number(minutes));
  return { kind: event, time: '', shift, side: sign === '+' ? 'after' : 'before' };
}

/** @returns the fields of an interval, in whole minutes or hours if possible */
export function intervalOf(seconds: number): Pick<ScheduleForm, 'every' | 'unit'> {
  if (seconds % 3600 === 0) return { every: String(seconds / 3600), unit: 'h' };
  if (seconds % 30 === 0 && seconds >= 60) return { every: String(seconds / 60), unit: 'min' };
  return { every: String(seconds), unit: 's' };
}
