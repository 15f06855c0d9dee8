// The bench `wire` starts the virtual body, the daemon and the bare binding as processes: built first, since Node 20 reads no
// TypeScript, then forked and asked one thing after another.
import { type ChildProcess, fork } from 'node:child_process';
import path from 'node:path';
import { fileURLToPath, pathToFileURL } from 'node:url';
import { build } from 'vite';
import type { WrittenSetRequest } from '../../shared/request.js';
import type { FaceName } from '../wire/ptp/plugged-body.js';
import type {
  BareFired,
  BareOrder,
  BareReady,
  BodyOrder,
  BodyReady,
  DaemonAt,
  DaemonOrder,
  Done,
  Failed,
  Fired,
  Planned,
  Resident,
  Tally,
} from './wire-messages.js';
import type { Megapixels, TimingTable } from './wire-timing.js';

/** This module is bundled too, into dist/tests/bench. */
const BUNDLES = path.dirname(fileURLToPath(import.meta.url));
export const ROOT = path.resolve(BUNDLES, '../../..');
const SOURCES = path.join(ROOT, 'tests/bench');
const CAMERA_PROCESS = path.join(ROOT, 'dist/program/camera-process.js');

const NAMES = ['wire-body.process', 'wire-daemon.process', 'wire-bare.process'] as const;
const LINES_KEPT = 50;

export async function buildProcesses(): Promise<void> {
  for (const name of NAMES) {
    await build({
      configFile: false,
      logLevel: 'warn',
      publicDir: false,
      plugins: [
        {
          name: 'renders-nothing',
          // Before Vite itself finds the file.
          enforce: 'pre',
          resolveId: (id, importer) =>
            id === './render.js' && importer?.endsWith('/practice/develop.ts')
              ? path.join(SOURCES, 'wire-render.ts')
              : null,
        },
        {
          // What is found beside a source (the virtual USB port) must be found from the bundle too.
          name: 'where-the-source-is',
          transform: (code, id) =>
            id.startsWith(ROOT) && !id.includes('node_modules') && code.includes('import.meta.url')
              ? code.replaceAll('import.meta.url', JSON.stringify(pathToFileURL(id).href))
              : null,
        },
      ],
      build: {
        ssr: path.join(SOURCES, `${name}.ts`),
        outDir: BUNDLES,
        emptyOutDir: false,
        minify: false,
        target: 'node20',
      },
    });
  }
}

/** What a process wrote to standard error: the library writes there whatever happens. */
const printed = new WeakMap<ChildProcess, string[]>();

function start(
  name: (typeof NAMES)[number],
  args: readonly string[] = [],
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

/** @returns the next message @throws where it is a failure, or where the process ends before */
function answerOf<T>(child: ChildProcess): Promise<T> {
  return new Promise((resolve, reject) => {
    const ended = (code: number | null) =>
      reject(new Error(`A process of the bench ended with ${code}.\n${printed.get(child)?.join('')}`));
    child.once('exit', ended);
    child.once('message', (said) => {
      child.off('exit', ended);
      if ((said as Failed).type === 'failed') reject(new Error((said as Failed).message));
      else resolve(said as T);
    });
  });
}

function ask<T>(child: ChildProcess, order: BodyOrder | DaemonOrder | BareOrder): Promise<T> {
  const answer = answerOf<T>(child);
  child.send(order);
  return answer;
}

async function end(child: ChildProcess): Promise<void> {
  if (child.exitCode !== null || child.signalCode !== null) return;
  const ended = new Promise((resolve) => child.once('exit', resolve));
  child.disconnect();
  await ended;
}

export interface BodyProcess {
  readonly environment: Readonly<Record<string, string>>;
  ask(order: BodyOrder): Promise<Tally>;
  end(): Promise<void>;
}

/** @param pictures the files whose pixels the frames get */
export async function startBody(
  face: FaceName,
  timing: TimingTable,
  pictures: Readonly<Record<Megapixels, string>>,
): Promise<BodyProcess> {
  const child = start('wire-body.process', [face, JSON.stringify(timing), pictures[timing.megapixels]]);
  const { environment } = await answerOf<BodyReady>(child);
  return { environment, ask: (order) => ask(child, order), end: () => end(child) };
}

export interface DaemonProcess {
  /** @throws where it cannot be planned so */
  plan(request: WrittenSetRequest): Promise<Planned>;
  /** @param sample takes a copy of the first frame @throws where the set is not complete */
  fire(request: WrittenSetRequest, sample?: string): Promise<Fired>;
  resident(): Promise<Resident>;
  /** Lets go of the body before. */
  end(): Promise<void>;
}

/** @returns a daemon that has met its body */
export async function startDaemon(at: Omit<DaemonAt, 'cameraProcess'>): Promise<DaemonProcess> {
  const child = start('wire-daemon.process');
  const asked = <T>(order: DaemonOrder) => ask<T>(child, order);
  try {
    await asked<Done>({ type: 'meet', at: { ...at, cameraProcess: CAMERA_PROCESS } });
  } catch (cause) {
    await end(child);
    throw cause;
  }
  return {
    plan: (request) => asked({ type: 'plan', request }),
    fire: (request, sample) => asked({ type: 'fire', request, ...(sample === undefined ? {} : { sample }) }),
    resident: () => asked({ type: 'resident' }),
    end: async () => {
      await asked<Done>({ type: 'close' });
      await end(child);
    },
  };
}

export interface BareProcess {
  /** @returns seconds from the first change to the last file */
  fire(order: BareOrder): Promise<number>;
  end(): Promise<void>;
}

export async function startBare(env: Readonly<Record<string, string>>): Promise<BareProcess> {
  const child = start('wire-bare.process', [], env);
  await answerOf<BareReady>(child);
  return {
    fire: async (order) => (await ask<BareFired>(child, order)).seconds,
    end: () => end(child),
  };
}
