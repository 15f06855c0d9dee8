// Keeps the computer from going to sleep during a run, by running a tool of the system that does so. It knows
// nothing of runs: the caller says why, and lets go.
import { spawn } from 'node:child_process';
import { once } from 'node:events';
import type { Socket } from 'node:net';
import { MAY_FALL_ASLEEP } from '../../shared/run-notes.js';

export interface StayAwakeOptions {
  readonly platform?: NodeJS.Platform;
  /** Its PATH is where the tool is looked for. */
  readonly env?: NodeJS.ProcessEnv;
  /** Milliseconds that the tool has to show whether it holds; one that is slower is still ended by release. */
  readonly answerWithin?: number;
  /** Takes one sentence if the computer was kept awake and no longer is, although nobody let go. */
  readonly onLost?: (sentence: string) => void;
}

export interface Awake {
  /** One sentence that says what to set by hand; null if the computer is kept awake. */
  readonly reminder: string | null;
  /** Lets the computer sleep again. Never throws; a second call does nothing more. */
  release(): Promise<void>;
}

interface Holder {
  readonly tool: string;
  readonly args: readonly string[];
  /**
   * Whether the tool echoes a line as soon as it holds the computer awake; if not, it counts as holding if it
   * is still running a moment later.
   */
  readonly answers: boolean;
}

type Outcome = 'held' | 'missing' | 'refused' | 'late';

/** Milliseconds. */
const ANSWER_WITHIN = 300;
const FAILS_WITHIN = 150;
const ENDS_WITHIN = 300;

const WHY_NOT: Readonly<Record<Exclude<Outcome, 'held'>, (tool: string) => string>> = {
  missing: (tool) => `${tool} is not installed`,
  refused: () => 'the system refused it',
  late: () => 'the system did not answer',
};

/**
 * Returns within about 300 ms, whether the computer is kept awake or not; never throws. The tool ends with
 * this process, however that ends.
 * @param why a few words for people who ask the system what keeps it awake
 */
export async function stayAwake(why: string, options: StayAwakeOptions = {}): Promise<Awake> {
  const { platform = process.platform } = options;
  const holder = holderFor(platform, why);
  if (holder === undefined)
    return { reminder: byHand('it has no way to do so here'), release: async () => {} };
  try {
    return await hold(holder, options);
  } catch {
    return { reminder: byHand(WHY_NOT.refused(holder.tool)), release: async () => {} };
  }
}

function holderFor(platform: NodeJS.Platform, why: string): Holder | undefined {
  if (platform === 'darwin') {
    // Idle, disk and system sleep, until the process with this id ends.
    return { tool: 'caffeinate', args: ['-i', '-m', '-s', '-w', String(process.pid)], answers: false };
  }
  if (platform !== 'linux') return undefined;
  return {
    tool: 'systemd-inhibit',
    args: [
      // The lid needs a lock of its own, since the lid switch does not heed a lock on sleep (logind.conf(5)),
      // and at night a lid is closed over a bright screen. A user who may lock sleep may lock the lid, too.
      '--what=idle:sleep:handle-lid-switch',
      '--who=Evenrung',
      `--why=${why}`,
      '--mode=block',
      // Runs once the lock is taken (systemd-inhibit(1)), and ends when our end of the pipe closes, which the kernel does
      // even after SIGKILL.
      'cat',
    ],
    answers: true,
  };
}

async function hold(
  { tool, args, answers }: Holder,
  { env = process.env, answerWithin = answers ? ANSWER_WITHIN : FAILS_WITHIN, onLost }: StayAwakeOptions,
): Promise<Awake> {
  // A group of its own: a Ctrl-C at the terminal must not reach it before the camera's settings are put back.
  const child = spawn(tool, args, { env, detached: true, stdio: ['pipe', 'pipe', 'ignore'] });
  // The tool must not keep this process alive.
  child.unref();
  for (const pipe of [child.stdin, child.stdout]) (pipe as Socket | undefined)?.unref();

  let outcome: Outcome | undefined;
  let released: Promise<void> | undefined;
  let ended = false;
  const settled = new Promise<void>((resolve) => {
    const settle = (how: Outcome) => {
      outcome ??= how;
      clearTimeout(timer);
      resolve();
    };
    const timer = setTimeout(() => settle(answers ? 'late' : 'held'), answerWithin);
    child.on('error', (error: NodeJS.ErrnoException) => {
      // Without an id nothing was started; with one, a signal could not be sent.
      if (child.pid !== undefined) return;
      ended = true;
      settle(error.code === 'ENOENT' ? 'missing' : 'refused');
    });
    child.on('exit', () => {
      ended = true;
      if (outcome === 'held' && released === undefined) {
        onLost?.(byHand('the system no longer keeps it awake'));
      }
      settle('refused');
    });
    child.stdout?.on('data', () => settle('held'));
    // Writing to a process that has just ended fails; its end is reported above.
    child.stdin?.on('error', () => {});
    if (answers) child.stdin?.write('held\n');
  });

  const kill = (signal: NodeJS.Signals) => {
    try {
      if (child.pid !== undefined && !ended) process.kill(-child.pid, signal);
    } catch {
      // It has just ended.
    }
  };
  const end = async () => {
    child.ref();
    for (const signal of ['SIGTERM', 'SIGKILL'] as const) {
      if (ended) return;
      kill(signal);
      await once(child, 'exit', { signal: AbortSignal.timeout(ENDS_WITHIN) }).catch(() => undefined);
    }
    child.unref();
  };

  await settled;
  return {
    reminder: outcome === 'held' ? null : byHand(WHY_NOT[outcome ?? 'refused'](tool)),
    release: () => {
      released ??= end();
      return released;
    },
  };
}

const byHand = (why: string) =>
  `${MAY_FALL_ASLEEP} (${why}): turn off automatic sleep, and leave the lid open.`;
