// The bench `wire` starts the virtual body and the bare binding as processes: built first, since Node 20 reads no
// TypeScript, then forked and asked.
import { type ChildProcess, fork } from 'node:child_process';
import path from 'node:path';
import { fileURLToPath, pathToFileURL } from 'node:url';
import { build } from 'vite';
import type { FaceName } from '../wire/ptp/plugged-body.js';
import type {
  BareAnswer,
  BareOrder,
  BodyAnswer,
  BodyOrder,
  Tally,
  ThousandAnswer,
  ThousandOrder,
} from './wire-messages.js';
import type { TimingTable } from './wire-timing.js';

/** This module is bundled too, into dist/tests/bench. */
const BUNDLES = path.dirname(fileURLToPath(import.meta.url));
export const ROOT = path.resolve(BUNDLES, '../../..');
export const CAMERA_PROCESS = path.join(ROOT, 'dist/program/camera-process.js');

const LINES_KEPT = 50;
const NAMES = ['wire-body.process', 'wire-bare.process', 'wire-thousand.process'] as const;

export async function buildProcesses(): Promise<void> {
  for (const name of NAMES) {
    await build({
      configFile: false,
      logLevel: 'warn',
      publicDir: false,
      // What is found beside a source (the virtual USB port) must be found from the bundle too.
      plugins: [
        {
          name: 'where-the-source-is',
          transform: (code, id) =>
            id.startsWith(ROOT) && !id.includes('node_modules') && code.includes('import.meta.url')
              ? code.replaceAll('import.meta.url', JSON.stringify(pathToFileURL(id).href))
              : null,
        },
      ],
      build: {
        ssr: path.join(ROOT, 'tests/bench', `${name}.ts`),
        outDir: BUNDLES,
        emptyOutDir: false,
        minify: false,
        target: 'node20',
      },
    });
  }
}

/** What the processes wrote to standard error: the library writes there whatever happens. */
const printed = new WeakMap<ChildProcess, string[]>();

/** The next message, or an error where the process ends before. */
function answerOf<T>(child: ChildProcess): Promise<T> {
  return new Promise((resolve, reject) => {
    const ended = (code: number | null) =>
      reject(new Error(`A process of the bench ended with ${code}.\n${printed.get(child)?.join('')}`));
    child.once('exit', ended);
    child.once('message', (said) => {
      child.off('exit', ended);
      resolve(said as T);
    });
  });
}

function start(
  name: (typeof NAMES)[number],
  args: readonly string[],
  env: Readonly<Record<string, string>> = {},
): ChildProcess {
  const child = fork(path.join(BUNDLES, `${name}.js`), [...args], {
    env: { ...process.env, ...env },
    // The binding writes to standard output on its own.
    stdio: ['ignore', 'ignore', 'pipe', 'ipc'],
  });
  const lines: string[] = [];
  printed.set(child, lines);
  child.stderr?.setEncoding('utf8').on('data', (text: string) => {
    lines.push(text);
    if (lines.length > LINES_KEPT) lines.shift();
  });
  return child;
}

async function end(child: ChildProcess): Promise<void> {
  if (child.exitCode !== null || child.signalCode !== null) return;
  const ended = new Promise((resolve) => child.once('exit', resolve));
  child.disconnect();
  await ended;
}

export interface BodyProcess {
  /** What a process needs in its environment to find the body. */
  readonly environment: Readonly<Record<string, string>>;
  ask(order: BodyOrder): Promise<Tally>;
  end(): Promise<void>;
}

/** @param largePicture file of a JPEG whose pixels every frame gets, where the table asks for heavy files */
export async function startBody(
  face: FaceName,
  timing: TimingTable,
  largePicture: string,
): Promise<BodyProcess> {
  const child = start('wire-body.process', [face, JSON.stringify(timing), largePicture]);
  const ready = await answerOf<BodyAnswer>(child);
  if (ready.type !== 'ready') throw new Error('The body said something else than that it is ready.');
  return {
    environment: ready.environment,
    ask: async (order) => {
      const answer = answerOf<BodyAnswer>(child);
      child.send(order);
      const said = await answer;
      if (said.type !== 'tally') throw new Error('The body did not say what it was asked for.');
      return said.tally;
    },
    end: () => end(child),
  };
}

export interface BareProcess {
  /** @returns seconds from the first change to the last file */
  fire(order: BareOrder): Promise<number>;
  end(): Promise<void>;
}

export async function startBare(env: Readonly<Record<string, string>>): Promise<BareProcess> {
  const child = start('wire-bare.process', [], env);
  await answerOf<BareAnswer>(child);
  return {
    fire: async (order) => {
      const answer = answerOf<BareAnswer>(child);
      child.send(order);
      const said = await answer;
      if (said.type === 'done') return said.seconds;
      throw new Error(`The bare binding failed: ${said.type === 'failed' ? said.message : said.type}`);
    },
    end: () => end(child),
  };
}

/** Fires a thousand frames in a process of their own. */
export async function fireThousand(order: ThousandOrder): Promise<ThousandAnswer> {
  const child = start('wire-thousand.process', []);
  const answer = answerOf<ThousandAnswer>(child);
  child.send(order);
  try {
    return await answer;
  } finally {
    await end(child);
  }
}
