// `cameras`, formerly `bodies`: the attached cameras, how they bracket, their limits, and whether they are
// ready.
import { statfs } from 'node:fs/promises';
import type { Command } from 'commander';
import type { Logger } from 'pino';
import { asEvenrungError, EvenrungError } from '../../shared/errors.js';
import { shortened } from '../../shared/plain-words.js';
import type { Mark } from '../../shared/readiness.js';
import type { BodyView } from '../../shared/state.js';
import { Finder, type Found, type Surveyed } from '../bodies/index.js';
import { formatEv, fromEv } from '../exposure/index.js';
import { type BodyOptions, bodyOption, cameraOption, finderOptions, linkOption } from './options/options.js';
import { exitCodeOf, moreAbout, wrapped } from './process.js';

interface BodiesOptions extends BodyOptions {
  readonly mode: 'manual' | 'aperture';
  readonly setClock?: boolean;
  readonly json?: boolean;
}

const DIALECTS: Readonly<Record<BodyView['dialect'], string>> = {
  amount: 'bracket by amount (type A)',
  pattern: 'bracket by pattern (type B)',
  'drive-entry': 'bracket by drive entry (type C)',
  none: 'no auto-bracket over the cable: frame by frame (type D)',
};

const MARKS: Readonly<Record<Mark, string>> = { fine: '   ok', attention: 'check', stops: ' STOP' };

export function addBodies(program: Command, log: Logger): void {
  program
    .command('cameras')
    .alias('bodies')
    .description('list connected cameras, their limits, and whether they are ready')
    .addOption(bodyOption())
    .addOption(cameraOption())
    .addOption(linkOption())
    .option('--mode <mode>', 'mode to check for: manual or aperture', 'manual')
    .option('--set-clock', "set the camera's clock to this computer's")
    .option('--json', 'print JSON')
    .action(async (options: BodiesOptions) => {
      process.exitCode = await bodies(options, log);
    });
}

/** @returns the exit code */
async function bodies(options: BodiesOptions, log: Logger): Promise<number> {
  const { mode, setClock, json } = options;
  if (mode !== 'manual' && mode !== 'aperture')
    throw new EvenrungError(
      'malformed-request',
      `--mode cannot be '${shortened(mode)}': give manual or aperture.`,
    );
  const finder = new Finder(finderOptions(options, log));
  const found = await surveyOrOne(finder, options);
  try {
    const views: BodyView[] = [];
    const refused: Failed[] = [];
    const asked = {
      mode,
      frames: null,
      fileBytes: null,
      freeBytes: await freeHere(),
      ticked: new Set<string>(),
    };
    for (const entry of found) {
      if ('error' in entry) continue;
      if (setClock) refused.push(...(await setClockOf(entry)));
      views.push(entry.body.view(asked));
    }
    const failed = [...refused, ...found.flatMap((entry) => ('error' in entry ? [entry] : []))];
    if (json) printJson(views, failed);
    else printWords(found, views, failed);
    const [first] = failed;
    const isFailure = views.length === 0 || refused.length > 0;
    return isFailure && first !== undefined ? exitCodeOf(first.error) : 0;
  } finally {
    for (const entry of found) if ('body' in entry) await entry.body.letGo();
  }
}

/** @returns why the clock of this one could not be set; nothing if it was */
async function setClockOf({ body }: Found): Promise<Failed[]> {
  try {
    await body.setClock(() => new Date());
    return [];
  } catch (cause) {
    const { model, serial } = body.identity;
    return [{ attached: { model, serial }, error: asEvenrungError(cause) }];
  }
}

/**
 * With --camera, just that one; otherwise all that are attached, and the practice body if `auto` finds none.
 */
async function surveyOrOne(finder: Finder, { body, camera }: BodiesOptions): Promise<Surveyed[]> {
  if (camera !== undefined) return [await finder.find(camera)];
  const surveyed = body === 'practice' ? [] : await surveyOrNothing(finder, body);
  return surveyed.length > 0 ? surveyed : [await finder.find(null)];
}

async function surveyOrNothing(finder: Finder, body: BodyOptions['body']): Promise<Surveyed[]> {
  try {
    return await finder.survey();
  } catch (cause) {
    if (body === 'auto' && cause instanceof EvenrungError && cause.code === 'usb-not-available') return [];
    throw cause;
  }
}

async function freeHere(): Promise<number | null> {
  try {
    const { bavail, bsize } = await statfs('.');
    return bavail * bsize;
  } catch {
    return null;
  }
}

type Failed = Extract<Surveyed, { error: EvenrungError }>;

function printJson(views: readonly BodyView[], failed: readonly Failed[]): void {
  const unmet = failed.map(({ attached, error }) => ({ ...attached, ...error.toWire() }));
  process.stdout.write(`${JSON.stringify({ bodies: views, unmet })}\n`);
}

function printWords(found: readonly Surveyed[], views: readonly BodyView[], failed: readonly Failed[]): void {
  const notes = found.flatMap((entry) => ('notes' in entry ? entry.notes : []));
  const parts = [
    ...(notes.length === 0 ? [] : [notes.flatMap((note) => wrapped(note, ''))]),
    ...views.map(inWords),
    ...failed.map(({ attached, error }) => [
      `${attached.model}`,
      ...wrapped(`  ${error.message}`, '  '),
      moreAbout(error.code),
    ]),
  ];
  process.stdout.write(`${parts.map((lines) => lines.join('\n')).join('\n\n')}\n`);
}

function inWords(view: BodyView): string[] {
  const line = (name: string, words: string) =>
    wrapped(`  ${`${name}:`.padEnd(11)} ${words}`, ' '.repeat(14));
  const first = view.shutters[0];
  const last = view.shutters.at(-1);
  return [
    `${view.model}${view.serial === null ? '' : `, serial number ${view.serial}`}${view.link === 'practice' ? ' (practice: nothing is photographed)' : ''}`,
    ...line('brackets', DIALECTS[view.dialect]),
    ...bracketLines(view).flatMap((words) => line('', words).map((one) => one.replace(':', ' '))),
    ...line(
      'times',
      first === undefined
        ? 'none can be set'
        : `${first} s to ${last} s, at most ${Math.round(view.longestSeconds)} s over this connection`,
    ),
    ...(view.reached === null ? [] : line('reached', `${WAYS[view.reached.way]}. ${view.reached.why}`)),
    ...line(
      'estimates',
      `${view.timing.secondsPerChange} s a change${view.timing.secondsPerSetting > 0 ? ` and ${view.timing.secondsPerSetting} s a setting on the way` : ''}, ${frameTiming(view.timing)} (${TIMED_BY[view.profile]})`,
    ),
    ...line('now', `${view.shutter ?? '?'} s, f/${view.aperture ?? '?'}, ISO ${view.iso ?? '?'}`),
    '  ready?',
    ...view.readiness.flatMap(({ mark, message }) =>
      wrapped(`    ${MARKS[mark]}  ${message}`, ' '.repeat(11)),
    ),
  ];
}

const WAYS: Readonly<Record<NonNullable<BodyView['reached']>['way'], string>> = {
  binding: 'the usual way',
  direct: 'directly',
};

function frameTiming({ secondsPerFrame, apart }: BodyView['timing']): string {
  if (apart === null) return `${secondsPerFrame} s a frame on top of its exposure`;
  const { secondsBeforeExposure, secondsAfterExposure, secondsPerTransfer, secondsPerPiece } = apart;
  const when = secondsPerPiece === null ? 'before' : 'while';
  return `${secondsBeforeExposure} s before an exposure, ${secondsAfterExposure} s after it, ${secondsPerTransfer} s for its file, which comes ${when} the next one is made`;
}

const TIMED_BY: Readonly<Record<BodyView['profile'], string>> = {
  none: 'typical values: run `learn` to measure',
  written: 'its profile was written by hand',
  learnt: 'learnt',
};

/** One line a count of frames: `3 frames: 1/3 2/3 1 2 3 EV`. */
function bracketLines({ brackets, oneRelease, timing }: BodyView): string[] {
  const counts = [...new Set(brackets.map(({ frames }) => frames))].sort((a, b) => a - b);
  const most = timing.apart?.mostInOneGo ?? null;
  const atMost = most === null ? '' : `, ${most} frames at most`;
  const lines = counts.map((count) => {
    const steps = new Set(brackets.filter(({ frames }) => frames === count).map(({ step }) => fromEv(step)));
    const list = [...steps].sort((a, b) => a - b).map((step) => formatEv(step, false));
    return `${count} frames, ${list.join(', ')} EV apart`;
  });
  return oneRelease ? [...lines, `a whole pass from one release${atMost}`] : lines;
}
