// One set that is killed at a counted moment, resumed by a new process, and checked.
import { type ChildProcess, fork } from 'node:child_process';
import { once } from 'node:events';
import { mkdir, mkdtemp, readdir, readFile, rm } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { fileURLToPath } from 'node:url';
import { build } from 'vite';
import { asEvenrungError } from '../../shared/errors.js';
import { sixths } from '../../shared/ev.js';
import { readSetRecord } from '../../shared/set-record.js';
import { AT_ONCE, PracticeBody, type PracticeState } from '../../src/camera/practice/model.js';
import { PracticeLink } from '../../src/camera/practice/practice-link.js';
import {
  CONTACT_SHEET,
  COVERAGE_MAP,
  checkSet,
  PREVIEW,
  RADIANCE,
  RECORD,
  readRecorded,
  recordedTv,
  SUMS,
  TABLE,
} from '../../src/frames/index.js';
import { cutShort, PairLink } from '../harness/pair-link.js';
import { padJpeg } from '../pad-jpeg.js';
import { type Answered, type Asked, HOW, type How } from './protocol.js';

/** `before` and `after` a commit of the journal; `file`: before an operation in the folder of sets. */
export const COUNTED = ['before', 'after', 'file'] as const;
export type Counted = (typeof COUNTED)[number];

/** The disk of the journal takes nothing from a commit on, or does not take that one alone. */
export const REFUSED = ['full', 'refused'] as const;
export type Refused = (typeof REFUSED)[number];

export interface Moment {
  readonly counted: Counted | Refused;
  readonly at: number;
  /** One file a frame, at once, if it is left out. */
  readonly how?: How;
}

/** In the project, so that the program's libraries are found. */
const OUT = fileURLToPath(new URL('../../dist/tests/resume', import.meta.url));
const NAME = 'killed.process';

export async function buildKilled(): Promise<void> {
  await build({
    configFile: false,
    logLevel: 'silent',
    publicDir: false,
    build: {
      ssr: fileURLToPath(new URL(`./${NAME}.ts`, import.meta.url)),
      outDir: OUT,
      emptyOutDir: false,
      minify: false,
      target: 'node20',
      rollupOptions: { output: { entryFileNames: `${NAME}.js` } },
    },
  });
}

interface Ended {
  readonly signal: NodeJS.Signals | null;
  readonly code: number | null;
  readonly said: string;
}

/** Serves a child's calls from a body in this process. @param args as killed.process.ts says @returns when the child is gone and nothing is being fired any more */
export async function runChild(
  link: PracticeLink,
  args: readonly string[],
  how: How = 'one file',
): Promise<Ended> {
  const child: ChildProcess = fork(path.join(OUT, `${NAME}.js`), [...args], {
    serialization: 'advanced',
    env: { ...process.env, [HOW]: how },
    stdio: ['ignore', 'pipe', 'pipe', 'ipc'],
  });
  let said = '';
  for (const stream of [child.stdout, child.stderr])
    stream?.setEncoding('utf8').on('data', (text: string) => {
      said += text;
    });
  const working = new Map<Promise<unknown>, string>();
  child.on('message', ({ id, method, args: given }: Asked) => {
    const call = link[method] as (...all: unknown[]) => Promise<unknown>;
    const work = call.apply(link, [...given]).then(
      (value): Answered => ({ id, value }),
      (cause): Answered => {
        const { code, message, details } = asEvenrungError(cause);
        return { id, error: { code, message, details } };
      },
    );
    working.set(work, method);
    void work.then((answer) => {
      working.delete(work);
      if (child.connected) child.send(answer, () => undefined);
    });
  });
  let stage = 'the program to end';
  const stuck = setTimeout(() => {
    said += `\nWaited ${STUCK_MS / 1000} s for ${stage}; calls under way: ${[...working.values()].join() || 'none'}.`;
    child.kill('SIGABRT');
    giveUp();
  }, STUCK_MS);
  let giveUp = (): void => undefined;
  const isStuck = new Promise<void>((resolve) => {
    giveUp = resolve;
  });
  // What a program asked for right before it was killed may be heard after it has closed: the next program would
  // find a file that comes only now.
  const allHeard = once(child, 'disconnect');
  const [code, signal] = (await once(child, 'close')) as [number | null, NodeJS.Signals | null];
  await allHeard;
  stage = 'the calls to end';
  await Promise.race([Promise.all(working.keys()), isStuck]);
  // As the camera process does whose daemon is gone.
  stage = 'the camera to be let go';
  await Promise.race([link.letGo(), isStuck]);
  clearTimeout(stuck);
  return { code, signal, said };
}

/** An undisturbed set takes about a second; what takes this long stands still. */
const STUCK_MS = 60_000;

/** @returns how often there is something to count in an undisturbed set */
export async function countAll(counted: Moment['counted'], how: How = 'one file'): Promise<number> {
  const root = await mkdtemp(path.join(os.tmpdir(), 'evenrung-count-'));
  try {
    const link = linkTo(new PracticeBody(AT_ONCE), how);
    await mkdir(path.join(root, 'sets'));
    const { said } = await runChild(link, [root, counted, '0'], how);
    return Number(/^counted (\d+)$/m.exec(said)?.[1] ?? Number.NaN);
  } finally {
    await rm(root, { recursive: true, force: true });
  }
}

export const momentsOf = (counted: Moment['counted'], total: number, how: How = 'one file'): Moment[] =>
  Array.from({ length: total }, (_, index) => ({ counted, at: index + 1, how }));

/** @returns what does not hold, a sentence each, with its moment */
export async function killAll(
  moments: readonly Moment[],
  lanes: number,
  one: (moment: Moment) => Promise<string[]> = killAndResume,
): Promise<string[]> {
  const wrong: string[] = [];
  const left = [...moments];
  const lane = async () => {
    for (let moment = left.shift(); moment !== undefined; moment = left.shift())
      for (const said of await one(moment))
        wrong.push(`${moment.how ?? ''} ${moment.counted} ${moment.at}: ${said}`);
  };
  await Promise.all(Array.from({ length: lanes }, lane));
  return wrong;
}

interface Scene {
  /** With a folder for sets in it. */
  readonly root: string;
  readonly into: string;
  /** As somebody left it. */
  readonly body: PracticeBody;
  /** Each program hears what is told while it lives. */
  readonly link: () => PracticeLink;
  /** Expectations that do not hold, a sentence each. */
  readonly wrong: string[];
  /** @returns what stands otherwise on the body than it was left, a sentence each */
  changed(): string[];
}

/** Plays one scene, with a body and a folder of its own. @returns what play() returns */
async function overBody(how: How, play: (scene: Scene) => Promise<string[]>): Promise<string[]> {
  const root = await mkdtemp(path.join(os.tmpdir(), 'evenrung-kill-'));
  const into = path.join(root, 'sets');
  await mkdir(into);
  const body = await bodyAsLeft(how);
  const before = { ...body.state };
  const only = linkTo(body, how);
  const link = () => (isApart(how) ? linkTo(body, how) : only);
  try {
    return await play({ root, into, body, link, wrong: [], changed: () => changedIn(body, before) });
  } finally {
    await rm(root, { recursive: true, force: true });
  }
}

/** @returns what does not hold after the set was killed and resumed, a sentence each */
export const killAndResume = ({ counted, at, how = 'one file' }: Moment): Promise<string[]> =>
  overBody(how, async ({ root, into, body, link, wrong, changed }) => {
    const first = await runChild(link(), [root, counted, String(at)], how);
    if (first.signal !== 'SIGKILL') return [`It was not killed: ${first.said}`];
    const second = await runChild(link(), [root], how);
    const wasOver = second.said.includes('nothing-unfinished');
    if (second.code !== 0) wrong.push(`It ended with ${second.code ?? second.signal}: ${second.said}`);
    const sets = await readdir(into);
    // Killed before the run was in the journal: nothing was fired, and nothing is owed.
    if (wasOver && body.shots.length === 0) {
      if (sets.length > 0) wrong.push(`There is ${sets.join()}.`);
    } else {
      if (!wasOver && !second.said.includes('complete: All 9 frames are verified.'))
        wrong.push(`It says: ${second.said}`);
      if (sets.length !== 1) wrong.push(`There are ${sets.length} set folders.`);
      wrong.push(...(await lookAt(path.join(into, sets[0] ?? ''), body.shots.length, how)));
      // The files that were made are on the card; one more for the file that was cut short.
      if (isApart(how) && body.shots.length !== 10)
        wrong.push(`${body.shots.length} were fired: what was on the card was fired again.`);
    }
    return [...wrong, ...changed()];
  });

/** Of two files, the fourth raw file is cut short on its way. */
function linkTo(body: PracticeBody, how: How): PracticeLink {
  if (how !== 'two files') return new PracticeLink(body, { isApart: isApart(how) });
  const link = new PairLink(body);
  link.comes = async (count, { raw, jpeg }) => {
    if (count === CUT_SHORT) await cutShort(raw);
    return { ...raw, partner: jpeg };
  };
  return link;
}

/**
 * As a person might have left it: none of it is as a set needs it. Its fourth file is cut short on its way,
 * if that is one file a frame.
 */
async function bodyAsLeft(how: How): Promise<PracticeBody> {
  const body = new PracticeBody(AT_ONCE);
  await body.change('shutter', sixths(30));
  await body.change('drive', 'continuous');
  if (isApart(how)) {
    await body.change('target', 'card');
    body.beforeTelling((told) =>
      told.map((file) => ({ ...file, content: padJpeg(file.content, LONGER_THAN_A_HEAD) })),
    );
  }
  if (how === 'two files') return body;
  body.beforeTelling((told) => {
    if (body.shots.length !== CUT_SHORT) return told;
    return told.map((file) => ({ ...file, content: file.content.subarray(0, file.content.length / 2) }));
  });
  return body;
}

const CUT_SHORT = 4;
/** So that the rest of a file comes while the next frame is fired. */
const LONGER_THAN_A_HEAD = 300_000;

const isApart = (how: How): boolean => how === 'apart' || how === 'pass';

function changedIn(body: PracticeBody, before: PracticeState): string[] {
  return Object.entries(before).flatMap(([name, found]) => {
    const now = body.state[name as keyof typeof before];
    return now === found ? [] : [`${name} is ${now}, found was ${found}.`];
  });
}

/**
 * The disk of the journal is full for the rest of a program's life, or for one commit. Whatever that leaves
 * is in order as it lies there; once there is room again, the set is resumed, and no good frame is fired
 * twice.
 * @returns what does not hold, a sentence each
 */
export const fillAndResume = ({ counted, at, how = 'one file' }: Moment): Promise<string[]> =>
  overBody(how, async ({ root, into, body, link, wrong, changed }) => {
    const first = await runChild(link(), [root, counted, String(at)], how);
    const released = body.shots.length;
    const isBegun = first.code === 0;
    const says = /^(?:complete|halted|stopped): .*$/m.exec(first.said)?.[0] ?? '';
    if (!isBegun && !first.said.includes('storing-failed')) wrong.push(`It ended so: ${first.said}`);
    if (/cannot end|no way from|UNIQUE|has ended\./.test(first.said)) wrong.push(`It says: ${first.said}`);
    const isHalted = says.startsWith('halted');
    if (isBegun && isHalted && !NOT_KEPT.test(says)) wrong.push(`It says: ${says}`);
    wrong.push(...changed());
    const [set] = await readdir(into);
    if (set !== undefined) {
      const { findings } = await checkSet(path.join(into, set));
      const foreign = findings.filter(({ code }) => code === 'file-unknown' || code === 'aside-missing');
      wrong.push(...foreign.map(({ sentence }) => `As it lies there, the check says: ${sentence}`));
    }
    let second = await runChild(link(), [root], how);
    // Nothing came of it, and that could be journalled.
    if (second.said.includes('nothing-unfinished') && set === undefined)
      return released === 0 ? wrong : [...wrong, `${released} were fired, and there is no set.`];
    // It could be kept in the end that the set has halted.
    if (second.said.includes('nothing-unfinished') && isHalted)
      second = await runChild(link(), [root, 'none', '0', 'complete'], how);
    if (second.code !== 0) wrong.push(`It ended with ${second.code ?? second.signal}: ${second.said}`);
    // Nine, and one for the file that was cut short.
    if (body.shots.length !== 10) wrong.push(`${released} were fired at first, ${body.shots.length} in all.`);
    wrong.push(...(await lookAt(path.join(into, set ?? ''), body.shots.length, how)), ...changed());
    return wrong;
  });

/** For the photographer: what, where, why, and what to do. */
const NOT_KEPT = /What happens cannot be kept in the journal .*: the disk is full\. Make room there/;

const BASE_TV = 6;

const NINE: readonly number[] = [-4, -3, -2, -1, 0, 1, 2, 3, 4];

/**
 * @param released how often the shutter was
 * @param wanted the offsets of its frames
 * @returns what does not hold of a set, a sentence each
 */
export async function lookAt(
  folder: string,
  released: number,
  how: How = 'one file',
  wanted = NINE,
): Promise<string[]> {
  const wrong: string[] = [];
  const text = await readFile(path.join(folder, 'set.json'), 'utf8').catch(() => null);
  if (text === null) return [`There is no record in ${folder}.`];
  const { record } = readSetRecord(text);
  if (!record.complete) wrong.push('The record does not call it complete.');
  for (const { number, file, offset, state, reason, partner } of record.frames) {
    if (file === null) {
      wrong.push(`Frame ${number} is ${state}: ${reason}`);
      continue;
    }
    const { exposureTime } = await readRecorded(path.join(folder, file));
    const tv = recordedTv(exposureTime) ?? Number.NaN;
    if (!(Math.abs(tv - (BASE_TV - offset)) < 1e-9)) wrong.push(`${file} was ${exposureTime} s.`);
    const isTwo = partner?.state === 'there' && path.parse(partner.file).name === path.parse(file).name;
    if (isTwo !== (how === 'two files')) wrong.push(`Frame ${number} is ${file} and ${partner?.state}.`);
  }
  const offsets = record.frames.map(({ offset }) => offset).join();
  if (offsets !== wanted.join()) wrong.push(`The offsets are ${offsets}.`);
  const files = new Set(record.frames.map(({ file }) => file));
  const partners = record.frames.flatMap(({ partner }) =>
    partner?.state === 'there' ? [partner.file, partner.sidecar ?? ''] : [],
  );
  if (files.size !== wanted.length) wrong.push('Two frames have the same file.');
  const sidecars = record.frames.map(({ sidecar }) => sidecar);
  if (new Set(sidecars.map((name) => name ?? '')).size !== wanted.length)
    wrong.push(`The sidecars are ${sidecars.join()}.`);
  const aside = record.setAside.map(({ file }) => file);
  const ofLight = how === 'judged' ? [COVERAGE_MAP, PREVIEW, RADIANCE] : [];
  const handedOver = [RECORD, SUMS, TABLE, CONTACT_SHEET, ...ofLight];
  const known = new Set([...files, ...sidecars, ...partners, ...aside, ...handedOver, 'set-aside']);
  for (const name of await readdir(folder, { recursive: true }))
    if (!known.has(name)) wrong.push(`${name} belongs to nothing.`);
  // Every release is accounted for: a frame, a file that was set aside, or one that may be on the card only.
  // Two files of one exposure are set aside under one name.
  const exposures = new Set(
    aside.filter((file) => !file.endsWith('.xmp')).map((file) => file.replace(/\.[^.]*$/, '')),
  );
  const told = wanted.length + exposures.size + record.strays.length;
  if (released > told) wrong.push(`${released} were fired, ${told} are told of.`);
  // Nothing is told of twice: whatever was meant to be released has come, or has not.
  const meant = record.frames.reduce((sum, { attempts }) => sum + attempts, 0);
  if (told > meant)
    wrong.push(
      `${meant} releases were meant, ${told} are told of; ${JSON.stringify({ aside: record.setAside, strays: record.strays, frames: record.frames.map(({ number, attempts, firedAt, file }) => [number, attempts, firedAt, file]) })}`,
    );
  // No file beside the frames is missing, and none is left over.
  for (const { sentence } of (await checkSet(folder)).findings) wrong.push(`The check says: ${sentence}`);
  return wrong;
}
