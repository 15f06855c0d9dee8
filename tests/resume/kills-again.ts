// One set that is taken up again after its end, killed at a counted moment, resumed by a new process, and
// checked: before that, its record has to be right as it lies there; afterwards, nothing that was there may
// be missing.
import { cp, mkdtemp, readdir, readFile, rm } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import Sqlite from 'better-sqlite3';
import { type KeptSetRecord, readSetRecord } from '../../shared/set-record.js';
import { AT_ONCE, PracticeBody } from '../../src/camera/practice/model.js';
import { PracticeLink } from '../../src/camera/practice/practice-link.js';
import { checkSet, checksumOf, exifTool, SUMS } from '../../src/frames/index.js';
import { Journal, journalFile } from '../../src/journal/index.js';
import { TestLink } from '../harness/links.js';
import { openStation } from '../harness/station.js';
import { lookAt, type Moment, REFUSED, runChild } from './kills.js';

/**
 * `complete`: a set that was stopped after four frames. `again`: a whole pass of a complete one, and a frame by itself. `extend`: a frame
 * at the darker end of a complete one, and two at the brighter end.
 */
export const TAKINGS = ['complete', 'again', 'extend'] as const;
export type Taking = (typeof TAKINGS)[number];

const AGAIN = [3, 4, 5, 6];
const STOPPED_AFTER = 4;
const EXTEND = { darker: 1, brighter: 2 };
const NINE = [-4, -3, -2, -1, 0, 1, 2, 3, 4];
const TWELVE = [-5, ...NINE, 5, 6];
const DOES: Readonly<Record<Taking, string>> = {
  complete: 'complete',
  again: AGAIN.join(),
  extend: `extend ${EXTEND.darker} ${EXTEND.brighter}`,
};

/** A set as it ended, in a folder that is copied for each kill. */
export interface Ended {
  readonly taking: Taking;
  readonly root: string;
  readonly record: KeptSetRecord;
  readonly released: number;
}

export async function makeEnded(taking: Taking): Promise<Ended> {
  const root = await mkdtemp(path.join(os.tmpdir(), 'evenrung-ended-'));
  const body = new PracticeBody(AT_ONCE);
  const journal = await Journal.open(path.join(root, 'state'));
  const { station, events } = await openStation(root, new TestLink(body), { journal });
  events.watch(({ happening }) => {
    if (taking !== 'complete' || happening.type !== 'frame') return;
    if (happening.frame.state === 'fired' && body.shots.length === STOPPED_AFTER - 1) station.stop();
  });
  await station.start({ frames: 9, step: 1, base: '1/60' });
  await station.settled();
  await station.close();
  await exifTool.end();
  journal.close();
  const record = await recordIn(await folderIn(root));
  return { taking, root, record, released: body.shots.length };
}

const folderIn = async (root: string): Promise<string> => {
  const into = path.join(root, 'sets');
  const [name, ...others] = await readdir(into);
  if (name === undefined || others.length > 0) throw new Error(`There are ${[name, ...others].join()}.`);
  return path.join(into, name);
};

const recordIn = async (folder: string): Promise<KeptSetRecord> =>
  readSetRecord(await readFile(path.join(folder, 'set.json'), 'utf8')).record;

/** A copy whose journal knows its place. */
async function copyOf({ root: from }: Ended): Promise<string> {
  const root = await mkdtemp(path.join(os.tmpdir(), 'evenrung-taken-'));
  await cp(from, root, { recursive: true });
  const database = new Sqlite(journalFile(path.join(root, 'state')));
  database.prepare('UPDATE sets SET folder = replace(folder, ?, ?)').run(from, root);
  database.prepare('UPDATE runs SET into_folder = replace(into_folder, ?, ?)').run(from, root);
  database.close();
  return root;
}

/** @returns how often there is something to count when nothing disturbs it */
export async function countTaking(ended: Ended, counted: Moment['counted']): Promise<number> {
  const root = await copyOf(ended);
  try {
    const link = new PracticeLink(new PracticeBody(AT_ONCE));
    const { said } = await runChild(link, [root, counted, '0', DOES[ended.taking]]);
    return Number(/^counted (\d+)$/m.exec(said)?.[1] ?? Number.NaN);
  } finally {
    await rm(root, { recursive: true, force: true });
  }
}

/** @returns what does not hold, a sentence each, with its moment */
export async function killAllTakings(
  ended: Ended,
  moments: readonly Moment[],
  lanes: number,
): Promise<string[]> {
  const wrong: string[] = [];
  const left = [...moments];
  const lane = async () => {
    for (let moment = left.shift(); moment !== undefined; moment = left.shift())
      for (const one of await killTaking(ended, moment))
        wrong.push(`${ended.taking}, ${moment.counted} ${moment.at}: ${one}`);
  };
  await Promise.all(Array.from({ length: lanes }, lane));
  return wrong;
}

async function killTaking(ended: Ended, { counted, at }: Moment): Promise<string[]> {
  const root = await copyOf(ended);
  const body = new PracticeBody(AT_ONCE);
  await body.change('drive', 'continuous');
  const before = { ...body.state };
  const link = new PracticeLink(body);
  const wrong: string[] = [];
  try {
    const first = await runChild(link, [root, counted, String(at), DOES[ended.taking]]);
    const isKill = !(REFUSED as readonly string[]).includes(counted);
    if (isKill && first.signal !== 'SIGKILL') return [`It was not killed: ${first.said}`];
    const folder = await folderIn(root);
    wrong.push(...(await rightAsItLies(folder, ended)));
    let second = await runChild(link, [root]);
    // It could be kept in the end that the set has halted; one of which frames were to be fired again is complete all the same.
    const isDone = ended.taking !== 'again' && /^complete: /m.test(first.said);
    if (!isKill && second.said.includes('nothing-unfinished') && !isDone)
      second = await runChild(link, [root, 'none', '0', DOES[ended.taking]]);
    if (second.code !== 0) wrong.push(`It ended with ${second.code ?? second.signal}: ${second.said}`);
    const record = await recordIn(folder);
    const isTaken = body.shots.length > 0;
    const wasOver = second.said.includes('nothing-unfinished');
    const offsets = offsetsOf(ended.taking, isTaken, isKill, record);
    if (
      !wasOver &&
      !new RegExp(`^complete: .*All ${offsets.length} frames are verified\\.`, 'm').test(second.said)
    )
      wrong.push(`It says: ${second.said}`);
    // Killed before it was taken up: the set is as it was.
    if (isTaken || ended.taking !== 'complete')
      wrong.push(...(await lookAt(folder, ended.released + body.shots.length, 'one file', offsets)));
    wrong.push(...(await nothingIsMissing(folder, ended, record, isTaken)));
    for (const [name, found] of Object.entries(before)) {
      const now = body.state[name as keyof typeof before];
      if (now !== found) wrong.push(`${name} is ${now}, found was ${found}.`);
    }
    return wrong;
  } finally {
    await rm(root, { recursive: true, force: true });
  }
}

/**
 * @returns the offsets that the set has to have. A set that could not be extended because its journal took
 *   nothing has as many more frames as came, without a gap
 */
function offsetsOf(taking: Taking, isTaken: boolean, isKill: boolean, { frames }: KeptSetRecord): number[] {
  if (taking !== 'extend' || !isTaken) return NINE;
  const there = new Set(frames.map(({ offset }) => offset));
  return isKill ? TWELVE : TWELVE.filter((offset) => NINE.includes(offset) || there.has(offset));
}

/**
 * Nobody need resume it: until the new record is there, the old one is right. Only the list of checksums is
 * written anew right before it, and may list the new frames already.
 */
async function rightAsItLies(folder: string, { taking }: Ended): Promise<string[]> {
  const { record, findings } = await checkSet(folder);
  const isToBe = ({ code, sentence }: (typeof findings)[number]) =>
    (taking === 'complete' && code === 'set-incomplete') ||
    (code === 'sums-differ' && sentence.includes(`${SUMS} does not list`));
  const wrong = findings.filter((finding) => finding.severity === 'wrong' && !isToBe(finding));
  return [
    ...(record === null ? ['There is no record.'] : []),
    ...wrong.map(({ sentence }) => `Killed, the check says: ${sentence}`),
  ];
}

/** Every frame that there was is one still, or was set aside for a new one. */
async function nothingIsMissing(
  folder: string,
  ended: Ended,
  record: KeptSetRecord,
  isTaken: boolean,
): Promise<string[]> {
  const wrong: string[] = [];
  for (const { number, file, sha256 } of ended.record.frames) {
    if (file === null) continue;
    const now = record.frames.find((frame) => frame.number === number);
    const isReplaced = isTaken && ended.taking === 'again' && AGAIN.includes(number);
    if (!isReplaced) {
      if (now?.sha256 !== sha256) wrong.push(`Frame ${number} is not what it was.`);
      continue;
    }
    // Fired again a second time, it has the name that it had at first.
    if (now?.file === file && now.sha256 === sha256) wrong.push(`Frame ${number} was not fired again.`);
    const sums = await Promise.all(
      record.setAside
        .filter(({ reason }) => reason.endsWith('this is the frame as it was before.'))
        .map(({ file: aside }) => checksumOf(path.join(folder, aside))),
    );
    if (sums.filter((sum) => sum.sha256 === sha256).length !== 1)
      wrong.push(`Frame ${number} as it was before is not kept, or twice.`);
  }
  return wrong;
}
