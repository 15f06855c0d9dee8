// The program as the set-up builds it: what tests start as processes.
import { spawn } from 'node:child_process';
import { mkdtempSync, readFileSync, rmSync } from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { fileURLToPath } from 'node:url';

const built = (file: string) => fileURLToPath(new URL(`../dist/${file}`, import.meta.url));

export const MAIN = built('program/main.js');
export const CAMERA_PROCESS = built('program/camera-process.js');
export const LIGHT_PROCESS = built('program/light-process.js');
export const PICTURE_PROCESS = built('program/picture-process.js');
export const PANEL = built('web');

export interface Ended {
  readonly code: number | null;
  readonly stdout: string;
  readonly stderr: string;
}

export interface Started {
  readonly pid: number;
  /** The output so far. */
  readonly said: { stdout: string; stderr: string };
  readonly ended: Promise<Ended>;
  signal(name: NodeJS.Signals): void;
  /** Closes our end of its output. */
  closeOutput(): void;
  /** Waits until the text has been printed. */
  until(text: RegExp): Promise<RegExpExecArray>;
}

// The state and config folders of the person who runs the tests are not touched.
const home = mkdtempSync(path.join(os.tmpdir(), 'evenrung-home-'));
process.on('exit', () => rmSync(home, { recursive: true, force: true }));
const FOLDERS = { XDG_STATE_HOME: path.join(home, 'state'), XDG_CONFIG_HOME: path.join(home, 'config') };

/** Starts `evenrung ...args`. EVENRUNG_PRACTICE_TIMING is `at-once` unless the environment says otherwise. */
export function start(args: readonly string[], env: Readonly<Record<string, string>> = {}): Started {
  const child = spawn(process.execPath, [MAIN, ...args], {
    env: { ...process.env, ...FOLDERS, EVENRUNG_PRACTICE_TIMING: 'at-once', ...env },
    stdio: ['ignore', 'pipe', 'pipe'],
  });
  const said = { stdout: '', stderr: '' };
  const watchers = new Set<() => void>();
  for (const stream of ['stdout', 'stderr'] as const) {
    child[stream].setEncoding('utf8').on('data', (text: string) => {
      said[stream] += text;
      for (const watcher of watchers) watcher();
    });
  }
  const ended = new Promise<Ended>((resolve) => child.on('close', (code) => resolve({ code, ...said })));
  return {
    pid: child.pid ?? -1,
    said,
    ended,
    signal: (name) => child.kill(name),
    closeOutput: () => child.stdout.destroy(),
    until: (text) =>
      new Promise((resolve, reject) => {
        const look = () => {
          const found = text.exec(said.stdout) ?? text.exec(said.stderr);
          if (found === null) return;
          watchers.delete(look);
          resolve(found);
        };
        watchers.add(look);
        void ended.then(({ code }) =>
          reject(new Error(`It ended with ${code}, and never said ${text}: ${said.stderr}`)),
        );
        look();
      }),
  };
}

/** Runs `evenrung ...args` to its end. */
export const run = (args: readonly string[], env: Readonly<Record<string, string>> = {}): Promise<Ended> =>
  start(args, env).ended;

/** @returns whether a process is there; one that has ended and only waits to be noticed is not */
export function isAlive(pid: number): boolean {
  try {
    const state = readFileSync(`/proc/${pid}/stat`, 'utf8')
      .replace(/^.*\) /s, '')
      .charAt(0);
    return state !== 'Z' && state !== 'X';
  } catch {
    return false;
  }
}
