// Whether a set folder still holds what its record says. Reads everything, writes nothing, and reports its
// findings in sentences; nothing in the folder makes it throw.
import { lstat, readdir, readFile } from 'node:fs/promises';
import path from 'node:path';
import { asEvenrungError, EvenrungError } from '../../../shared/errors.js';
import { evInWords, fromEv } from '../../../shared/ev.js';
import { whyRefused } from '../../../shared/refused.js';
import { type KeptFrame, type KeptSetRecord, readSetRecord } from '../../../shared/set-record.js';
import { parseShutter, type ShutterSetting } from '../../exposure/index.js';
import { isPlainName } from '../folder/inside.js';
import { judge, judgeMetered } from '../judge/judge.js';
import { oddSizeSentence, oddSizes } from '../judge/sizes.js';
import { judgeWhole, unprovedSentence } from '../judge/whole-frame.js';
import { readRecorded } from '../read/recorded.js';
import type { RecordedExposure } from '../read/recorded-exposure.js';
import { checksumsOf, parseSums, SUMS } from './checksum.js';
import { type FileOfFrame, filesOf, sidecarsOf } from './files-of.js';
import { CONTACT_SHEET, OF_LIGHT, RECORD, TABLE } from './names.js';
import { readSidecar } from './sidecar.js';

export type FindingCode =
  | 'folder-unreadable'
  | 'record-missing'
  | 'record-unreadable'
  | 'record-newer'
  | 'no-checksums'
  | 'set-incomplete'
  | 'frame-missing'
  | 'partner-missing'
  | 'frame-changed'
  | 'frame-unreadable'
  | 'frame-cut'
  | 'frame-unproved'
  | 'size-odd'
  | 'exposure-wrong'
  | 'name-outside'
  | 'sums-differ'
  | 'sidecar-missing'
  | 'sidecar-differs'
  | 'aside-missing'
  | 'beside-missing'
  | 'file-unknown'
  | 'left-over';

export interface Finding {
  readonly code: FindingCode;
  /** `wrong`: the set is not what the record says, or cannot be proved to be. `note`: worth knowing. */
  readonly severity: 'wrong' | 'note';
  /** The number of the frame concerned, if there is one. */
  readonly frame: number | null;
  /** The file that it is about, from the set folder on. */
  readonly file: string | null;
  readonly sentence: string;
}

export interface SetCheck {
  /** Null if it cannot be read. */
  readonly record: KeptSetRecord | null;
  /** The version in which the record was written. */
  readonly version: number | null;
  /** Frames whose files were found and have the checksums that were kept for them. */
  readonly intact: number;
  readonly findings: readonly Finding[];
}

/** @param folder a set folder, finished or not */
export async function checkSet(folder: string): Promise<SetCheck> {
  const findings: Finding[] = [];
  const find: Find = (code, severity, sentence, about = {}) => {
    findings.push({ code, severity, frame: about.frame ?? null, file: about.file ?? null, sentence });
  };
  const read = await recordOf(folder, find);
  if (read === null) return { record: null, version: null, intact: 0, findings };
  const { record, version } = read;
  findIncomplete(record, find);
  findLone(record, find);
  const sums = await sumsOf(folder, record, version, find);
  const frames = await thereIn(folder, record, find);
  const { intact, changed } = await checkBytes(folder, frames, sums, find);
  // A file that has changed is reported already.
  for (const frame of frames) if (!changed.has(frame)) await checkWhole(folder, frame, find);
  findOddSizes(frames, find);
  checkExposures(record, await exposuresOf(folder, frames, find), find);
  for (const frame of frames) await checkSidecar(folder, record, frame, find);
  await checkRest(folder, record, find);
  return { record, version, intact, findings };
}

type Find = (
  code: FindingCode,
  severity: Finding['severity'],
  sentence: string,
  about?: { frame?: number; file?: string },
) => void;

/** A file of a frame that is there. */
interface Present {
  readonly frame: KeptFrame;
  readonly file: string;
  readonly bytes: number;
  /** The record's entry for it. */
  readonly kept: FileOfFrame;
}

const nameOf = ({ number, offset }: KeptFrame): string => `Frame ${number} (${evInWords(fromEv(offset))} EV)`;

async function recordOf(
  folder: string,
  find: Find,
): Promise<{ record: KeptSetRecord; version: number } | null> {
  try {
    return readSetRecord(await readFile(path.join(folder, RECORD), 'utf8'));
  } catch (cause) {
    if (cause instanceof EvenrungError) {
      find(cause.details.newer === true ? 'record-newer' : 'record-unreadable', 'wrong', cause.message, {
        file: RECORD,
      });
    } else if ((cause as NodeJS.ErrnoException).code === 'ENOENT' && (await isFolder(folder))) {
      find(
        'record-missing',
        'wrong',
        `There is no ${RECORD}: the set was not finished, or this is not a set folder.`,
        { file: RECORD },
      );
    } else {
      find('folder-unreadable', 'wrong', `The folder ${folder} cannot be read: ${whyRefused(cause)}.`);
    }
    return null;
  }
}

function findIncomplete({ frames, complete, sentence }: KeptSetRecord, find: Find): void {
  const open = frames.filter(({ state, file }) => state !== 'verified' || file === null);
  if (open.length === 0 && complete) return;
  const list = open.map(nameOf).join(', ');
  find(
    'set-incomplete',
    'wrong',
    `The set is not complete${list === '' ? '' : `: ${list} ${open.length === 1 ? 'is' : 'are'} missing`}. ${sentence}`,
  );
}

/** A file that never came cannot be lost; the camera's card may still have it. */
function findLone({ frames }: KeptSetRecord, find: Find): void {
  for (const frame of frames) {
    const { number, file, partner } = frame;
    if (partner?.state !== 'missing') continue;
    const beside = partner.beside === null ? '' : `; the one that came is called ${partner.beside}`;
    find(
      'partner-missing',
      'note',
      `${nameOf(frame)}: only one of its two files came. The other one may be on the camera's card${beside}.`,
      { frame: number, ...(file === null ? {} : { file }) },
    );
  }
}

/** @returns the checksum that was kept for each file, from the record or from the list beside it */
async function sumsOf(
  folder: string,
  record: KeptSetRecord,
  version: number,
  find: Find,
): Promise<ReadonlyMap<string, string>> {
  const { frames } = record;
  const text = await readFile(path.join(folder, SUMS), 'utf8').catch(() => '');
  const listed = new Map(parseSums(text).map(({ file, sha256 }) => [file, sha256]));
  const kept = new Map<string, string>();
  const files = frames.flatMap((frame) => filesOf(frame).map((one) => ({ frame, ...one })));
  for (const { frame, file, sha256 } of files) {
    const inList = listed.get(file);
    const sum = sha256 ?? inList;
    if (sum === undefined) continue;
    kept.set(file, sum);
    const about = { frame: frame.number, file: SUMS };
    if (sha256 !== null && inList !== undefined && inList !== sha256)
      find(
        'sums-differ',
        'wrong',
        `${nameOf(frame)}: ${SUMS} and ${RECORD} have different checksums for ${file}.`,
        about,
      );
    if (text !== '' && isHandedOver(record) && inList === undefined)
      find('sums-differ', 'wrong', `${nameOf(frame)}: ${SUMS} does not list ${file}.`, about);
  }
  const without = frames.filter(({ file }) => file !== null && !kept.has(file));
  if (without.length > 0)
    find(
      'no-checksums',
      'note',
      `There is no checksum for ${without.length === frames.length ? 'any frame' : without.map(nameOf).join(', ')} (the record has version ${version}), so changed bytes cannot be found.`,
    );
  return kept;
}

async function thereIn(folder: string, { frames }: KeptSetRecord, find: Find): Promise<Present[]> {
  const present: Present[] = [];
  for (const { frame, kept } of frames.flatMap((frame) => filesOf(frame).map((kept) => ({ frame, kept })))) {
    const { number } = frame;
    const { file } = kept;
    if (!isPlainName(file)) {
      find('name-outside', 'wrong', `${nameOf(frame)}: the record names a file that is not in the folder.`, {
        frame: number,
      });
      continue;
    }
    const found = await lstat(path.join(folder, file)).catch(() => null);
    if (found?.isFile()) present.push({ frame, file, bytes: found.size, kept });
    else
      find('frame-missing', 'wrong', `${nameOf(frame)}: its file ${file} is missing.`, {
        frame: number,
        file,
      });
  }
  return present;
}

async function checkBytes(
  folder: string,
  frames: readonly Present[],
  sums: ReadonlyMap<string, string>,
  find: Find,
): Promise<{ intact: number; changed: ReadonlySet<Present> }> {
  const kept = frames.filter(({ file }) => sums.has(file));
  const results = await checksumsOf(kept.map(({ file }) => path.join(folder, file)));
  const asTheyCame = new Map<KeptFrame, number>();
  const changed = new Set<Present>();
  for (const [index, result] of results.entries()) {
    const present = kept[index] as Present;
    const { frame, file, bytes } = present;
    const { bytes: came } = present.kept;
    const about = { frame: frame.number, file };
    if (result instanceof Error) {
      changed.add(present);
      find(
        'frame-unreadable',
        'wrong',
        `${nameOf(frame)}: ${file} cannot be read: ${whyRefused(result)}.`,
        about,
      );
    } else if (result.sha256 === sums.get(file)) {
      asTheyCame.set(frame, (asTheyCame.get(frame) ?? 0) + 1);
    } else {
      changed.add(present);
      const sizes =
        came !== null && came !== bytes
          ? `: it has ${bytes} bytes, but ${came} came from the camera`
          : ': its size is right, but its contents have changed';
      find(
        'frame-changed',
        'wrong',
        `${nameOf(frame)}: ${file} has changed since it came${sizes}. Replace it from a copy.`,
        about,
      );
    }
  }
  const intact = [...asTheyCame].filter(([frame, count]) => count === filesOf(frame).length).length;
  return { intact, changed };
}

/** The checksum that was kept proves nothing here: it may be that of a file that came cut short. */
async function checkWhole(folder: string, { frame, file }: Present, find: Find): Promise<void> {
  const about = { frame: frame.number, file };
  try {
    const { cut, doubt } = await judgeWhole(path.join(folder, file));
    if (cut !== null)
      find('frame-cut', 'wrong', `${nameOf(frame)}: ${file} is cut short or broken: ${cut}.`, about);
    if (doubt !== null)
      find('frame-unproved', 'note', `${nameOf(frame)}: ${file}. ${unprovedSentence(doubt)}`, about);
  } catch (cause) {
    find(
      'frame-unreadable',
      'wrong',
      `${nameOf(frame)}: ${file} cannot be read: ${whyRefused(cause)}.`,
      about,
    );
  }
}

function findOddSizes(files: readonly Present[], find: Find): void {
  const sizes = files
    .toSorted((one, other) => one.frame.offset - other.frame.offset)
    .map((present) => {
      const { frame, file, bytes, kept } = present;
      const kind = path.extname(file).slice(1);
      return { number: frame.number, kind, bytes, isPartner: kept.isPartner, present };
    });
  for (const { of, ...odd } of oddSizes(sizes)) {
    const { frame, file } = of.present;
    const about = { frame: odd.number, file };
    find('size-odd', 'note', `${nameOf(frame)}: ${file}. ${oddSizeSentence(odd)}`, about);
  }
}

/** A frame whose file tells its exposure. */
interface Exposed extends Present {
  readonly recorded: RecordedExposure;
}

async function exposuresOf(folder: string, frames: readonly Present[], find: Find): Promise<Exposed[]> {
  const exposed: Exposed[] = [];
  for (const present of frames) {
    const { frame, file } = present;
    try {
      exposed.push({ ...present, recorded: await readRecorded(path.join(folder, file)) });
    } catch (cause) {
      const about = { frame: frame.number, file };
      find('frame-unreadable', 'wrong', `${nameOf(frame)}: ${asEvenrungError(cause).message}`, about);
    }
  }
  return exposed;
}

function checkExposures(record: KeptSetRecord, frames: readonly Exposed[], find: Find): void {
  const wrongIn =
    record.mode === 'manual'
      ? (one: Exposed) => wrongSettings(record, one)
      : wrongOffsets(record, recordsBracket(record, frames));
  for (const one of frames) {
    const { frame, file, recorded } = one;
    const reasons = [...wrongIn(one), ...otherThanKept(one.kept, recorded)];
    const about = { frame: frame.number, file };
    if (reasons.length > 0) find('exposure-wrong', 'wrong', `${nameOf(frame)}: ${reasons.join(' ')}`, about);
  }
}

const askedOf = ({ base }: KeptSetRecord) => ({ fNumber: numberIn(base.aperture), iso: numberIn(base.iso) });

function wrongSettings(record: KeptSetRecord, { frame, recorded }: Exposed): readonly string[] {
  const { exposureTime, shutter, nominalSeconds } = frame;
  const written = parseShutter(shutter);
  const nominal = nominalSeconds ?? (written?.kind === 'time' ? written.seconds : exposureTime);
  const asked: ShutterSetting = {
    label: shutter,
    wire: shutter,
    tv: fromEv(-Math.log2(exposureTime)),
    seconds: exposureTime,
    nominalSeconds: nominal,
    settable: true,
  };
  const verdict = judge(recorded, { shutter: asked, ...askedOf(record) });
  return verdict.right ? [] : verdict.reasons;
}

/** The compensation that was set for the pass of a frame. */
const centreOf = ({ passes }: KeptSetRecord, { pass, offset }: KeptFrame): number =>
  passes[pass - 1]?.centre ?? offset;

/**
 * In aperture priority, a bias that is the compensation alone is believed only of a body whose files lack the
 * bracket's part. Either all files of a body have that part or none, so one that was fired in its bracket
 * shows which. A frame that was made up singly does not, since it was compensated by its whole offset.
 */
const recordsBracket = (record: KeptSetRecord, frames: readonly Exposed[]): boolean =>
  frames.some(
    ({ frame, recorded: { bias } }) =>
      bias !== null &&
      frame.attempts === 1 &&
      centreOf(record, frame) !== frame.offset &&
      fromEv(bias) === fromEv(frame.offset),
  );

/** In aperture priority the time was the body's own choice: a frame is told as it was while the set was fired. */
function wrongOffsets(record: KeptSetRecord, hasBracket: boolean): (one: Exposed) => readonly string[] {
  return ({ frame, recorded }) => {
    const verdict = judgeMetered(recorded, {
      offset: fromEv(frame.offset),
      compensation: fromEv(hasBracket ? frame.offset : centreOf(record, frame)),
      step: fromEv(record.step),
      baseTv: -Math.log2(record.base.exposureTime),
      // Which times the body has, the record does not say.
      longestTv: null,
      shortestTv: null,
      ...askedOf(record),
    });
    return verdict.right ? [] : verdict.reasons;
  };
}

/** @returns the number in `f/8`, `8`, `ISO 100`; null if there is none, as in `Auto` */
function numberIn(written: string | null): number | null {
  const [, digits] = /(\d+(?:\.\d+)?)\s*$/.exec(written ?? '') ?? [];
  return digits === undefined ? null : Number(digits);
}

/** Readers of other versions may round differently. */
const SAME_VALUE = 1e-6;

function otherThanKept({ recorded: kept }: FileOfFrame, recorded: RecordedExposure): string[] {
  if (kept === null) return [];
  const values = [
    ['time', kept.exposureTime, recorded.exposureTime],
    ['f-number', kept.fNumber, recorded.fNumber],
    ['ISO', kept.iso, recorded.iso],
  ] as const;
  const others = values
    .filter(([, before, now]) => before !== null && (now === null || Math.abs(now / before - 1) > SAME_VALUE))
    .map(([what, before, now]) => `The file's ${what} is ${now ?? 'gone'}, but the record says ${before}.`);
  return [...others, ...otherBias(kept.bias, recorded.bias)];
}

/** Compared by difference, and not by ratio like the others, since a bias may be 0. */
function otherBias(before: number | null, now: number | null): string[] {
  if (before === null || (now !== null && Math.abs(now - before) <= SAME_VALUE)) return [];
  const written = (ev: number): string => `${evInWords(fromEv(ev))} EV`;
  return [
    `The file's exposure compensation is ${now === null ? 'gone' : written(now)}, but the record says ${written(before)}.`,
  ];
}

async function checkSidecar(
  folder: string,
  record: KeptSetRecord,
  { frame, kept }: Present,
  find: Find,
): Promise<void> {
  const { number } = frame;
  const { sidecar } = kept;
  if (sidecar !== null && !isPlainName(sidecar)) {
    find('name-outside', 'wrong', `${nameOf(frame)}: the record names a sidecar that is not in the folder.`, {
      frame: number,
    });
    return;
  }
  for (const name of sidecar === null ? sidecarsOf(kept) : [sidecar]) {
    const about = { frame: number, file: name };
    const text = await readFile(path.join(folder, name), 'utf8').catch(() => null);
    if (text === null) {
      if (sidecar !== null)
        find('sidecar-missing', 'note', `${nameOf(frame)}: its sidecar ${name} is missing.`, about);
      continue;
    }
    const claims = readSidecar(text);
    if (claims === null) {
      // Nothing is said of a sidecar that somebody else wrote.
      if (sidecar !== null)
        find('sidecar-differs', 'note', `${nameOf(frame)}: ${name} no longer names its set.`, about);
      continue;
    }
    const others = [
      claims.set !== record.id ? 'set' : null,
      claims.frame !== number ? 'frame' : null,
      claims.offsetEv === null || Math.abs(claims.offsetEv - frame.offset) > 0.01 ? 'offset' : null,
    ].filter((what) => what !== null);
    if (others.length > 0)
      find(
        'sidecar-differs',
        'wrong',
        `${nameOf(frame)}: ${name} names another ${others.join(' and ')}.`,
        about,
      );
  }
}

const LEFT_OVER = /^\.(?:incoming|reserve)(?:$|\/)|\.part$/;

/** Checks the files in the folder besides the frames. */
async function checkRest(folder: string, record: KeptSetRecord, find: Find): Promise<void> {
  const aside = record.setAside.map(({ file }) => file.replaceAll('\\', '/'));
  const known = new Set<string>([RECORD, SUMS, TABLE, CONTACT_SHEET, ...OF_LIGHT, ...aside]);
  for (const { sidecar } of record.frames) if (sidecar !== null) known.add(sidecar);
  for (const one of record.frames.flatMap(filesOf)) {
    for (const name of [one.file, ...sidecarsOf(one)]) known.add(name);
    if (one.sidecar !== null) known.add(one.sidecar);
  }
  const files = await filesIn(folder);
  for (const file of files) {
    if (known.has(file)) continue;
    if (LEFT_OVER.test(file))
      find('left-over', 'note', `${file} is left over from a set that was not finished.`, { file });
    else
      find('file-unknown', 'note', `${file} is not in the record: Evenrung did not put it there.`, { file });
  }
  const there = new Set(files);
  for (const file of [SUMS, TABLE, CONTACT_SHEET])
    if (isHandedOver(record) && !there.has(file))
      find('beside-missing', 'note', `There is no ${file} beside the frames.`, { file });
  for (const file of aside.filter((name) => !there.has(name)))
    find('aside-missing', 'note', `${file}, which was set aside, is missing.`, { file });
}

/** Earlier programs wrote the record alone. */
const isHandedOver = ({ setNumber }: KeptSetRecord): boolean => setNumber !== null;

async function filesIn(folder: string): Promise<string[]> {
  const entries = await readdir(folder, { recursive: true, withFileTypes: true }).catch(() => []);
  return entries
    .filter((entry) => !entry.isDirectory())
    .map((entry) => path.relative(folder, path.join(entry.parentPath, entry.name)).split(path.sep).join('/'))
    .sort();
}

const isFolder = async (folder: string): Promise<boolean> =>
  (await lstat(folder).catch(() => null))?.isDirectory() ?? false;
