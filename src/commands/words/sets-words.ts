// What `sets` prints for a person at a terminal of 80 columns. Pure: it takes what was read, and returns
// lines. Names of people and files may contain anything, and must not control the terminal.

import path from 'node:path';
import { lackingAtEnds } from '../../../shared/clipping.js';
import { evInWords, fromEv } from '../../../shared/ev.js';
import { ENDED } from '../../../shared/fold.js';
import type { OnDisk } from '../../../shared/kept.js';
import type { FrameMark, KeptSetRecord } from '../../../shared/set-record.js';
import type { RunState } from '../../../shared/state.js';
import { type ExportedSet, type Finding, namesOf, type SetCheck } from '../../frames/index.js';
import type {
  KeptSet,
  ListedSet,
  StoredFrame,
  StoredRun,
  StoredSet,
  Transition,
} from '../../journal/index.js';
import { filesInCamera } from '../../station/index.js';
import { counted } from '../options/options.js';
import { NO_BREAK, wrapped } from '../process.js';
import { dayOf, timeOf } from './clock-words.js';

const WIDTH = 80;
/** So many characters of an id are enough to tell sets apart. */
const SHORT = 8;
/** A share below it rounds to nothing. */
const LEAST_SHARE = 0.005;
const MOST_NAMED = 5;

const STATES: Readonly<Record<RunState, string>> = {
  preparing: 'preparing',
  firing: 'firing',
  'making-up': 'making up',
  held: 'held',
  'putting-back': 'putting back',
  complete: 'complete',
  stopped: 'stopped',
  halted: 'halted',
};

// --- the list

/** A set with what is on the disk of it; null if nothing was stored. */
export interface ListedEntry extends KeptSet {
  readonly onDisk: OnDisk | null;
}

/** @param home is written as `~` @returns lines of at most 80 columns; a heading for each day, folder and scheduled run */
export async function* listInWords(sets: AsyncIterable<ListedEntry>, home: string): AsyncGenerator<string> {
  let heading: string | null = null;
  for await (const entry of sets) {
    const here = headingOf(entry, home);
    if (here !== heading) {
      if (heading !== null) yield '';
      yield* wrapped(here, '    ');
      heading = here;
    }
    yield entry.set === null ? '  no set yet' : listed(entry.set, entry.onDisk, entry.run.into, home);
  }
}

function headingOf({ run, set }: KeptSet, home: string): string {
  const place = `${dayOf(set?.startedAt ?? run.createdAt)}${NO_BREAK}${NO_BREAK}${plain(withTilde(run.into, home))}`;
  if (run.kind === 'once') return place;
  return `${place}, scheduled run ${run.id.slice(0, SHORT)}: ${run.state === 'under-way' ? 'under way' : run.state}, ${counted(run.sets, 'set', 'sets')}`;
}

/** A set of which something is gone is not complete. */
const STANDS: Readonly<Record<OnDisk['state'], string | null>> = {
  whole: null,
  lacking: 'files gone',
  gone: 'folder gone',
};

function listed(set: ListedSet, onDisk: OnDisk | null, into: string, home: string): string {
  const head = [
    set.id.slice(0, SHORT).padEnd(SHORT),
    timeOf(set.startedAt).slice(0, 5),
    (STANDS[onDisk?.state ?? 'whole'] ?? STATES[set.state]).padEnd(12),
    `${set.verified} of ${set.frames}`.padStart(8),
  ].join('  ');
  const room = WIDTH - head.length - 4;
  const label = plain(labelOf(set));
  const place = plain(placeOf(set.folder, into, home));
  if (label === '') return `  ${head}  ${cutFront(place, room)}`;
  const forLabel = Math.max(room - place.length - 2, Math.floor(room / 2));
  const shownLabel = cut(label, forLabel);
  return `  ${head}  ${cutFront(place, room - shownLabel.length - 2)}  ${shownLabel}`;
}

const labelOf = ({ name, viewpoint }: Pick<ListedSet, 'name' | 'viewpoint'>): string =>
  [name, viewpoint].filter((text) => text !== null && text !== '').join(', ');

function placeOf(folder: string | null, into: string, home: string): string {
  if (folder === null) return 'nothing stored';
  return path.dirname(folder) === into ? path.basename(folder) : withTilde(folder, home);
}

function withTilde(folder: string, home: string): string {
  const relative = path.relative(home, folder);
  const isInside = relative !== '' && !relative.startsWith('..') && !path.isAbsolute(relative);
  return isInside ? `~/${relative}` : folder;
}

const cut = (text: string, most: number): string =>
  text.length <= most ? text : `${text.slice(0, most - 1).trimEnd()}…`;

/** The end of a path says more than its beginning. */
const cutFront = (text: string, most: number): string =>
  text.length <= most ? text : `…${text.slice(text.length - most + 1)}`;

// --- one set

export interface ShownSet {
  readonly set: StoredSet;
  readonly run: StoredRun | null;
  /** The record in the set folder; null if there is none, or one of another set. */
  readonly record: KeptSetRecord | null;
  /** If there is a record that cannot be read: what is wrong with it. */
  readonly problem: string | null;
  readonly isFolderThere: boolean;
  /** Null if it was not asked for. */
  readonly log: readonly Transition[] | null;
}

function inCameraWords(set: StoredSet): string[] {
  const files = filesInCamera(set);
  if (files === 0) return [];
  const what = files === 1 ? 'A file is missing' : `${files} files are missing`;
  return [
    `${what}. With the camera attached, evenrung sets fetch ${plain(set.id).slice(0, SHORT)} looks for it there, and fires nothing.`,
  ];
}

function atEndsWords({ set, isFolderThere }: ShownSet): string[] {
  const { darker, brighter } = lackingAtEnds(
    set.frames.map(({ view }) => view),
    set.light?.coverage,
  );
  if (darker + brighter === 0 || !isFolderThere || !ENDED.has(set.state)) return [];
  const what = [...(darker > 0 ? ['highlights'] : []), ...(brighter > 0 ? ['shadows'] : [])];
  return [
    `It has lost ${what.join(' and ')}. If the camera has not moved, evenrung sets extend ${plain(set.id).slice(0, SHORT)} adds ${addedWords(darker + brighter)}.`,
  ];
}

function againWords({ set, isFolderThere }: ShownSet): string[] {
  const again = set.light?.again ?? [];
  if (again.length === 0 || !isFolderThere || !ENDED.has(set.state)) return [];
  return [
    `The camera or something else moved, or focus was lost: evenrung sets reshoot ${plain(set.id).slice(0, SHORT)} --frames ${again.join(',')} shoots those frames again.`,
  ];
}

const addedWords = (count: number): string => (count === 1 ? 'a frame' : `${count} frames`);

/** @returns lines of at most 80 columns, but for words that are longer, such as paths */
export function setInWords(shown: ShownSet): string[] {
  const { set, problem, log } = shown;
  const marks = marksIn(shown).map(({ frame, sentence }) => `frame ${frame}: ${sentence}`);
  const rejected = set.frames.flatMap(({ view }) =>
    view.reason === null ? [] : [`frame ${view.number}: ${view.reason}`],
  );
  const strays = set.strays.map(
    ({ frame, offset, shutter, releasedAt, reason }) =>
      `frame ${frame} (${evOf(offset)}, ${shutter} s), fired ${dayOf(releasedAt)} ${timeOf(releasedAt)}: ${reason}`,
  );
  const notes = [...(problem === null ? [] : [problem]), ...set.notes];
  return [
    `Set ${plain(set.id)}`,
    ...headOf(shown),
    '',
    ...framesInWords(set.frames),
    ...section('remarks', [...rejected, ...marks]),
    ...section('what to do', [...atEndsWords(shown), ...againWords(shown)]),
    ...section('fired, but no file came', strays),
    ...section('possibly still in the camera', inCameraWords(set)),
    ...section(
      'set aside',
      set.asides.map(({ file, reason }) => `${file}: ${reason}`),
    ),
    ...section('notes', notes),
    ...(log === null ? [] : ['', 'log', ...log.flatMap(stepInWords)]),
  ];
}

function headOf({ set, run, isFolderThere }: ShownSet): string[] {
  const line = (name: string, words: string | null): string[] =>
    words === null || words === ''
      ? []
      : wrapped(
          `  ${(name === '' ? '' : `${name}:`).padEnd(11)}`.replaceAll(' ', NO_BREAK) +
            NO_BREAK +
            plain(words),
          ' '.repeat(14),
        );
  const { base } = set;
  const total = set.frames.length;
  const ended = set.endedAt === null ? ', not ended' : `, ended ${timeOf(set.endedAt)}`;
  const gone = set.folder === null || isFolderThere ? '' : ' (missing)';
  return [
    ...line('name', set.name),
    ...line('viewpoint', set.viewpoint),
    ...line('note', set.note),
    ...line('state', `${STATES[set.state]}, ${set.verified} of ${total} frames verified`),
    ...line('', set.sentence),
    ...line('begun', `${dayOf(set.startedAt)} ${timeOf(set.startedAt)}${ended}`),
    ...line('run', run === null || run.kind === 'once' ? null : `${run.id}, its set ${set.ordinal}`),
    ...line('body', run === null ? null : bodyOf(run)),
    ...line(
      'base',
      [
        `${base.shutter} s`,
        base.aperture === null ? null : `f/${base.aperture.replace(/^f\//i, '')}`,
        base.iso === null ? null : `ISO ${base.iso}`,
      ]
        .filter((part) => part !== null)
        .join(', '),
    ),
    ...line('light', set.light?.sentence ?? null),
    ...line('metered', set.plan.readings?.darkest.sentence ?? null),
    ...line('', set.plan.readings?.brightest.sentence ?? null),
    ...line('folder', set.folder === null ? 'nothing was stored' : `${set.folder}${gone}`),
  ];
}

function bodyOf({ body: { model, serial, link } }: StoredRun): string {
  const invented = link === 'practice' ? ' (practice: nothing was photographed)' : '';
  return `${model}${serial === null ? '' : `, serial number ${serial}`}${invented}`;
}

function framesInWords(frames: readonly StoredFrame[]): string[] {
  const names = frames.flatMap(({ view }) => namesOf(view));
  const widest = Math.max(4, ...names.map((name) => plain(name).length));
  const row = (cells: readonly string[], last: string): string[] => {
    const head = cells.join('  ');
    const lines = wrapped(`${head.replaceAll(' ', NO_BREAK)}${NO_BREAK} ${last}`, ' '.repeat(12));
    return lines.map((line) => line.trimEnd());
  };
  const width = (number: string, offset: string, time: string, state: string, file: string, sum: string) => [
    number.padStart(5),
    offset.padEnd(6),
    time.padEnd(9),
    state.padEnd(8),
    file.padEnd(widest),
    sum.padEnd(SHORT),
  ];
  return [
    ...row(width('frame', 'EV', 'time', 'state', 'file', 'sha256'), 'marks'),
    ...frames.flatMap(({ view, sha256 }) => [
      ...row(
        width(
          String(view.number),
          evInWords(fromEv(view.offset)),
          `${plain(view.shutter)} s`,
          view.state,
          plain(view.file ?? '-'),
          sha256?.slice(0, SHORT) ?? '-',
        ),
        marksOf(view).join(', ').replaceAll(' ', NO_BREAK).replaceAll(`,${NO_BREAK}`, ', '),
      ),
      // Its second file stands below it.
      ...(view.partner?.state === 'there'
        ? row(
            width('', '', '', '', plain(view.partner.file), view.partner.sha256?.slice(0, SHORT) ?? '-'),
            '',
          )
        : []),
    ]),
  ];
}

/** Remarks from the frame itself; those from its neighbours are in the record. */
function marksOf({ clipped, baseMoved, attempts }: StoredFrame['view']): string[] {
  const share = (word: string, value: number | undefined): string[] =>
    value === undefined || value < LEAST_SHARE ? [] : [`${Math.round(value * 100)}% ${word}`];
  return [
    ...share('black', clipped?.dark),
    ...share('blown', clipped?.light),
    ...(baseMoved === null ? [] : [`light changed ${baseMoved > 0 ? '+' : ''}${baseMoved.toFixed(2)} EV`]),
    ...(attempts > 1 ? [`fired ${attempts} times`] : []),
  ];
}

/** As long as there is no record, the journal counts. */
const markedIn = ({ record, set }: Pick<ShownSet, 'record' | 'set'>) =>
  record?.frames ?? set.frames.map(({ view }) => view);

/** The marks of a set as `--json` prints them. */
export const marksIn = (shown: Pick<ShownSet, 'record' | 'set'>): (FrameMark & { frame: number })[] =>
  markedIn(shown).flatMap(({ number, marks }) => marks.map((mark) => ({ frame: number, ...mark })));

const section = (title: string, lines: readonly string[]): string[] =>
  lines.length === 0 ? [] : ['', title, ...lines.flatMap((line) => wrapped(`  ${plain(line)}`, '    '))];

function stepInWords({ at, about, number, from, to, detail }: Transition): string[] {
  const what = number === null ? about : `${about} ${number}`;
  const head = `  ${dayOf(at)} ${timeOf(at)}.${at.slice(-4, -1)}  ${what.padEnd(8)}  ${from === null ? to : `${from} -> ${to}`}`;
  const said = saidIn(detail).join(' ');
  const whole = said === '' ? head : `${head.replaceAll(' ', NO_BREAK)}: ${plain(said)}`;
  return said === '' ? [head] : wrapped(whole, ' '.repeat(6));
}

/** The sentences in the details of a step. */
function saidIn(detail: unknown): string[] {
  if (typeof detail !== 'object' || detail === null) return [];
  const { reason, sentence } = detail as Record<string, unknown>;
  return [reason, sentence].filter((text) => typeof text === 'string');
}

// --- sets that were checked, and sets that were exported

export interface CheckedSet {
  readonly folder: string;
  readonly check: SetCheck;
}

export const isRight = ({ findings }: SetCheck): boolean =>
  findings.every(({ severity }) => severity !== 'wrong');

/** @returns a line for each set and each finding, however long they are: scripts count them */
export function checkInWords({ folder, check }: CheckedSet): string[] {
  return [
    `${plain(path.basename(folder))}: ${verdictOf(check)}`,
    ...check.findings.map((finding) => `  ${finding.severity.padEnd(5)}  ${plain(finding.sentence)}`),
  ];
}

function verdictOf(check: SetCheck): string {
  const { record, intact, findings } = check;
  if (!isRight(check)) {
    const wrong = findings.filter(({ severity }) => severity === 'wrong').length;
    return wrong === 1 ? '1 thing is wrong' : `${wrong} things are wrong`;
  }
  const frames = record?.frames.length ?? 0;
  if (intact < frames) return `${counted(frames, 'frame', 'frames')}, all right as far as can be told`;
  return frames === 1 ? 'the frame is intact' : `all ${frames} frames are intact`;
}

/** @returns a last line if there are several */
export function sumOfChecks(checked: readonly SetCheck[]): string[] {
  const right = checked.filter(isRight).length;
  return checked.length < 2 ? [] : [`${right} of ${checked.length} sets are all right`];
}

export function exportInWords(exported: ExportedSet): string[] {
  const { folder, files, frames, frameFiles, leftBehind, findings } = exported;
  const megabytes = Math.ceil(files.reduce((sum, { bytes }) => sum + bytes, 0) / 1e6);
  const beside = files.length - frameFiles;
  const inFiles = frameFiles === frames ? '' : ` in ${counted(frameFiles, 'file', 'files')}`;
  const what = `${counted(frames, 'frame', 'frames')}${inFiles}${beside === 0 ? '' : ` and ${counted(beside, 'file', 'files')} beside them`}`;
  const named = leftBehind.slice(0, MOST_NAMED).join(', ');
  const more = leftBehind.length > MOST_NAMED ? ` and ${leftBehind.length - MOST_NAMED} more` : '';
  return [
    `${what}, ${megabytes} MB, copied and verified: ${folder}`,
    ...(leftBehind.length === 0 ? [] : [`not copied, as not part of the set: ${named}${more}`]),
    ...findings.filter(isWorthSaying).map(({ sentence }) => `note: ${sentence}`),
  ].flatMap((line) => wrapped(plain(line), '  '));
}

/** Unknown files in the set folder are listed elsewhere already. */
const isWorthSaying = ({ code }: Finding): boolean => code !== 'file-unknown' && code !== 'left-over';

// --- words

const evOf = (offset: number): string => `${evInWords(fromEv(offset))} EV`;

/** Characters that move the cursor, set colours, or turn the reading direction become a blank. */
const plain = (text: string): string =>
  text.replace(/[\p{Cc}\p{Zl}\p{Zp}\u202a-\u202e\u2066-\u2069]+/gu, ' ');
