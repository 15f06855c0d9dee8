// Known before two readings are placed: the exposures that they stand for, and the room that a frame has.
// Pure.
import { EvenrungError } from '../../shared/errors.js';
import type { FileKind, Reading } from '../../shared/reading.js';
import type { Metered, WrittenReadings } from '../../shared/request.js';
import {
  ev100Of,
  formatEv,
  fromEv,
  greyTv,
  type Room,
  type Sixths,
  type Standing,
  usualRoom,
} from '../exposure/index.js';

/** The camera that makes the frames, as far as it tells. */
export interface MeteredAt extends Standing {
  /** Null if the camera does not tell its format. */
  readonly files: FileKind | null;
  /**
   * EV that its frames were measured to hold above and below middle grey; a value that is left out is the
   * usual one.
   */
  readonly measured?:
    | { readonly above?: number | undefined; readonly below?: number | undefined }
    | undefined;
}

interface Known {
  /** Of the exposure that puts it on middle grey. */
  readonly tv: Sixths;
  readonly ev100: number | null;
}

/** @throws EvenrungError limits-contradict, readings-unusable where aperture or ISO is not known */
export function readBoth(
  { darkest, brightest, written }: Metered,
  at: MeteredAt,
): { readonly standing: Standing; readonly darkest: Known; readonly brightest: Known } {
  const standing: Standing = {
    fNumber: agreed('aperture', at.fNumber, written.aperture, (value) => `f/${value}`),
    iso: agreed('iso', at.iso, written.iso, (value) => `ISO ${value}`),
  };
  const known = (reading: Reading, field: 'darkest' | 'brightest'): Known => {
    const tv = greyTv(reading, standing);
    if (tv === undefined) throw exposureNotKnown(field, standing);
    return { tv, ev100: ev100Of(reading, standing) };
  };
  return { standing, darkest: known(darkest, 'darkest'), brightest: known(brightest, 'brightest') };
}

/** Nominal numbers are up to a sixth of a stop from exact ones; a larger difference is another setting. */
const SAME_EXPOSURE = 0.06;

/** The camera's value counts; a value in the request must not contradict it. */
function agreed(
  field: 'aperture' | 'iso',
  told: number | null,
  said: number | undefined,
  words: (value: number) => string,
): number | null {
  if (told === null || said === undefined) return told ?? said ?? null;
  if (Math.abs(said / told - 1) <= SAME_EXPOSURE) return told;
  throw new EvenrungError(
    'limits-contradict',
    `The camera is at ${words(told)}, but the readings are for ${words(said)}: change the camera, or leave that out.`,
    { field },
  );
}

function exposureNotKnown(field: string, { fNumber, iso }: Standing): EvenrungError {
  const missing = [fNumber === null ? 'the aperture' : '', iso === null ? 'the ISO' : ''];
  const what = missing.filter((one) => one !== '').join(' and ');
  return new EvenrungError(
    'readings-unusable',
    `Such a reading needs the aperture and ISO, and the camera does not tell ${what}. Give ${what === 'the aperture and the ISO' ? 'both' : 'it'}, or write the reading as a shutter time at the camera's aperture and ISO.`,
    { field },
  );
}

/** @returns the room of a frame, and one sentence on where it comes from */
export function roomFor(
  written: WrittenReadings,
  { iso }: Standing,
  { files: told, measured }: MeteredAt,
): { readonly room: Room; readonly sentence: string } {
  const files = told ?? written.files ?? null;
  const usual = usualRoom(files ?? 'jpeg', iso);
  const side = (given: number | undefined, profiled: number | undefined, otherwise: Sixths): Side => {
    if (given !== undefined) return { ev: fromEv(given), from: 'as you gave it' };
    if (profiled !== undefined) return { ev: fromEv(profiled), from: "as this camera's profile says" };
    return { ev: otherwise, from: usualInWords(files, iso) };
  };
  const above = side(written.roomAbove, measured?.above, usual.above);
  const below = side(written.roomBelow, measured?.below, usual.below);
  const size = ({ ev }: Side) => formatEv(ev, false);
  const sentence =
    above.from === below.from
      ? `Each frame is taken to hold ${size(above)} EV above middle grey and ${size(below)} EV below it, ${above.from}.`
      : `Each frame is taken to hold ${size(above)} EV above middle grey, ${above.from}, and ${size(below)} EV below it, ${below.from}.`;
  return { room: { above: above.ev, below: below.ev }, sentence };
}

interface Side {
  readonly ev: Sixths;
  readonly from: string;
}

function usualInWords(files: FileKind | null, iso: number | null): string {
  const at = iso === null ? '' : ` at ISO ${iso}`;
  if (files === 'raw') return `as raw files usually do${at}`;
  if (files === 'jpeg') return `as JPEG files usually do${at}`;
  return `as JPEG files usually do${at}: the camera does not tell whether these are raw`;
}
