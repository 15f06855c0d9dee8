// Options of a set that is asked for by two spot readings, and how their words become a part of the request.
import { type Command, InvalidArgumentError, Option } from 'commander';
import { EvenrungError } from '../../../shared/errors.js';
import { FILE_KINDS, type FileKind } from '../../../shared/reading.js';
import { LARGEST_ROOM_EV, type WrittenReadings } from '../../../shared/request.js';
import { parseAperture, parseEv, parseIso, toEv } from '../../exposure/index.js';

export interface ReadingOptions {
  readonly darkest?: string;
  readonly brightest?: string;
  readonly aperture?: number;
  readonly iso?: number;
  readonly files?: FileKind;
  readonly roomAbove?: number;
  readonly roomBelow?: number;
}

export function addReadingOptions(command: Command): Command {
  return command
    .option(
      '--darkest <reading>',
      'meter reading of the darkest part that must keep detail: 1/4, "EV 3.3", "20 cd/m2"',
    )
    .option(
      '--brightest <reading>',
      'the same of the brightest part; frames and base exposure follow from both and --step',
    )
    .option('--aperture <f>', 'f-number of the readings, if no camera tells it: f/8', readAperture)
    .option('--iso <n>', 'ISO of the readings, if no camera tells it', readIso)
    .addOption(new Option('--files <kind>', 'kind of file, if no camera tells it').choices(FILE_KINDS))
    .option(
      '--room-above <ev>',
      'EV that a frame holds above middle grey (usual: as for its kind of file)',
      readRoom,
    )
    .option(
      '--room-below <ev>',
      'EV that a frame holds below middle grey (usual: as for its kind of file)',
      readRoom,
    );
}

/**
 * @returns undefined if nothing was metered
 * @throws EvenrungError malformed-request if one of the two readings is missing
 */
export function writtenReadings(options: ReadingOptions): WrittenReadings | undefined {
  const { darkest, brightest, aperture, iso, files, roomAbove, roomBelow } = options;
  const beside = { aperture, iso, files, 'room-above': roomAbove, 'room-below': roomBelow };
  if (darkest === undefined && brightest === undefined) {
    const [lonely] = Object.entries(beside).find(([, value]) => value !== undefined) ?? [];
    if (lonely === undefined) return undefined;
    throw new EvenrungError(
      'malformed-request',
      `--${lonely} goes with readings: give --darkest and --brightest, too.`,
    );
  }
  if (darkest === undefined || brightest === undefined) {
    const missing = darkest === undefined ? 'darkest' : 'brightest';
    throw new EvenrungError(
      'malformed-request',
      `Two readings are needed: give --${missing}, too, such as --${missing} ${missing === 'darkest' ? '1/4' : '1/2000'}.`,
      { field: missing },
    );
  }
  return {
    ...{ darkest, brightest },
    ...(aperture === undefined ? {} : { aperture }),
    ...(iso === undefined ? {} : { iso }),
    ...(files === undefined ? {} : { files }),
    ...(roomAbove === undefined ? {} : { roomAbove }),
    ...(roomBelow === undefined ? {} : { roomBelow }),
  };
}

function readAperture(text: string): number {
  const fNumber = parseAperture(text);
  if (fNumber !== undefined) return fNumber;
  throw new InvalidArgumentError('give an f-number, such as f/8.');
}

function readIso(text: string): number {
  const iso = parseIso(text);
  if (typeof iso === 'number') return iso;
  throw new InvalidArgumentError('give a number, such as 100.');
}

function readRoom(text: string): number {
  const ev = parseEv(text);
  const value =
    ev !== undefined ? toEv(ev) : /^\d{1,2}(?:\.\d{1,6})?$/.test(text.trim()) ? Number(text) : Number.NaN;
  if (value >= 0 && value <= LARGEST_ROOM_EV) return value;
  throw new InvalidArgumentError(`give 0 to ${LARGEST_ROOM_EV} EV.`);
}
