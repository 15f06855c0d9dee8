// Asks the person at the terminal about a run that was cut off. It is only a second question beside the
// panel's: the first answer counts, and nothing here keeps the program from continuing, or from ending.
import { spawnSync } from 'node:child_process';
import { readFileSync } from 'node:fs';
import readline from 'node:readline';
import type { Readable, Writable } from 'node:stream';
import tty from 'node:tty';
import { asEvenrungError } from '../../shared/errors.js';
import { THIS_COMPUTER } from '../set/index.js';
import type { EventLog, Station } from '../station/index.js';

export interface Question {
  readonly station: Pick<Station, 'unfinished' | 'resume' | 'endUnfinished'>;
  readonly events: EventLog;
  /** Settles after the first look for a body: without one, nothing can be resumed. */
  readonly looked: Promise<void>;
}

export interface Terminal {
  readonly input: Readable & { unref?(): unknown };
  readonly output: Writable;
}

const PS_WITHIN_MS = 2000;
const QUESTION = 'Resume it, end it, or decide later? Type resume, end or later:';
/** The second word was the one to type before. */
const RESUME: ReadonlySet<string> = new Set(['resume', 'go']);

/** @returns takes the question back */
export function askInTerminal(question: Question): () => void {
  if (!tty.isatty(0) || !tty.isatty(2) || question.station.unfinished() === null) return () => undefined;
  // A process that reads the terminal from the background is stopped by it.
  if (!isInForeground()) return () => undefined;
  const forget = ask(question, { input: process.stdin, output: process.stderr });
  const look = () => {
    if (!isInForeground()) forget();
  };
  process.on('SIGCONT', look);
  return () => {
    process.off('SIGCONT', look);
    forget();
  };
}

/** @returns takes the question back */
export function ask({ station, events, looked }: Question, { input, output }: Terminal): () => void {
  const say = (line: string) => output.write(`${line}\n`);
  let isOpen = true;
  // Not as a terminal: Ctrl-C stays a signal to the whole program.
  const lines = readline.createInterface({ input, terminal: false });
  input.unref?.();
  // A terminal that is gone asks nothing.
  for (const one of [input, lines]) one.on('error', () => close());
  const unwatch = events.watch(({ happening }) => {
    if (happening.type === 'unfinished' && happening.unfinished === null) close();
  });
  const close = () => {
    if (!isOpen) return;
    isOpen = false;
    unwatch();
    lines.close();
  };
  const answer = async (line: string): Promise<void> => {
    const word = line.trim().toLowerCase();
    if (word === 'later') {
      say('Decide later, in the panel or at the next start.');
      close();
    } else if (RESUME.has(word) || word === 'end') {
      await act(word === 'end' ? 'end' : 'resume');
    } else {
      say(QUESTION);
    }
  };
  const act = async (what: 'resume' | 'end') => {
    try {
      if (what === 'resume') await station.resume({ startedBy: THIS_COMPUTER });
      else await station.endUnfinished();
    } catch (cause) {
      say(asEvenrungError(cause).message);
    }
    if (isOpen && station.unfinished() !== null) say(QUESTION);
  };
  let answering: Promise<void> = Promise.resolve();
  lines.on('line', (line) => {
    answering = answering.then(() => (isOpen ? answer(line) : undefined));
  });
  lines.on('close', close);
  void looked.then(() => {
    if (isOpen) say(QUESTION);
  });
  return close;
}

/** If nobody can tell, the question is not asked. */
function isInForeground(): boolean {
  if (process.platform === 'win32') return true;
  try {
    if (process.platform !== 'linux') {
      const asked = ['-o', 'pgid=,tpgid=', '-p', String(process.pid)];
      const { stdout } = spawnSync('ps', asked, { encoding: 'utf8', timeout: PS_WITHIN_MS });
      const [own, foreground] = stdout.trim().split(/\s+/);
      return own === foreground && foreground !== undefined;
    }
    // After the name in brackets: state, parent, process group, session, terminal, and the terminal's foreground group (proc(5)).
    const fields = readFileSync('/proc/self/stat', 'utf8')
      .replace(/^.*\) /s, '')
      .split(' ');
    return fields[2] === fields[5];
  } catch {
    return false;
  }
}
