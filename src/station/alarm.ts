// Calls for somebody when a run ends early: by a command on this computer, and by a webhook elsewhere. Both
// are given on the command line or in the config, never over the API: a person who reaches the panel must not
// be able to have commands run, or requests sent, from here. Nothing here delays a run or throws into it; a
// failure is a line in the log. It knows nothing of cameras.
import { type ChildProcess, spawn } from 'node:child_process';
import { once, setMaxListeners } from 'node:events';
import type { Socket } from 'node:net';
import { setTimeout as pause } from 'node:timers/promises';
import { asEvenrungError, EvenrungError } from '../../shared/errors.js';
import { environmentOf, type Halt, noticeOf } from './alarm-notice.js';
import { elsewhere, post, wordsOf } from './alarm-post.js';

/** All in milliseconds. */
export interface AlarmTiming {
  /** Time for a command with all that it starts. */
  readonly command: number;
  /** Time for one try of the webhook, from looking its name up to the first line of the answer. */
  readonly tryWithin: number;
  /**
   * The pauses between tries: there is one try more than there are pauses. Each pause is varied by up to a
   * fifth.
   */
  readonly pauses: readonly number[];
  /** The longest such pause once `close` waits. */
  readonly pauseAtEnd: number;
  /** How long `close` waits for everything that is under way. */
  readonly close: number;
}

const TIMING: AlarmTiming = {
  command: 30_000,
  tryWithin: 10_000,
  pauses: [5000, 15_000, 35_000, 65_000],
  pauseAtEnd: 1000,
  close: 5000,
};

export interface AlarmOptions {
  /** A command line for the system's shell, as it would be typed. */
  readonly command?: string | undefined;
  /** An http or https address. */
  readonly webhook?: string | undefined;
  readonly log: (level: 'info' | 'warn', line: string) => void;
  readonly timing?: Partial<AlarmTiming>;
  /** From 0 to 1: keeps many computers that lost the same network from trying at the same moment. */
  readonly random?: () => number;
}

const LONGEST_COMMAND = 8000;
const LONGEST_ADDRESS = 2000;
/** How much of a command's output is kept, in characters. */
const MOST_OUTPUT = 4000;
/** The exit code of a shell that did not find the command (POSIX, Shell Command Language, 2.8.2). */
const NOT_FOUND = 127;
/**
 * Answers after which another try may succeed, in addition to all 5xx: the receiver was too slow, or was
 * asked too often (RFC 9110, RFC 6585).
 */
const TRY_AGAIN: ReadonlySet<number> = new Set([408, 425, 429]);
const SPREAD = 0.2;

export class Alarm {
  private readonly command: string | null;
  private readonly webhook: URL | null;
  private readonly options: AlarmOptions;
  private readonly timing: AlarmTiming;
  private readonly underWay = new Set<Promise<void>>();
  /** Aborts when the end is near: from then on pauses are short. */
  private readonly hurry = new AbortController();
  /** Aborts at the end: whatever is under way is dropped. */
  private readonly cut = new AbortController();
  private closing: Promise<void> | undefined;

  /** @throws EvenrungError alarm-unusable */
  constructor(options: AlarmOptions) {
    this.options = options;
    this.timing = { ...TIMING, ...options.timing };
    this.command = options.command === undefined ? null : usableCommand(options.command);
    this.webhook = options.webhook === undefined ? null : usableAddress(options.webhook);
    // As many listeners as there are alarms under way; each removes its own.
    setMaxListeners(0, this.hurry.signal, this.cut.signal);
  }

  /** Returns at once, and never throws; every call raises another alarm. After `close` it does nothing. */
  raise(halt: Halt): void {
    if (this.closing !== undefined) return;
    const at = new Date();
    const { command, webhook } = this;
    if (command !== null) this.soon(() => this.runCommand(command, halt));
    if (webhook !== null) this.soon(() => this.tell(webhook, JSON.stringify(noticeOf(halt, at))));
  }

  /**
   * Waits for alarms that are under way, 5 s at most; an alarm that is not done by then is dropped, with a
   * line in the log. Never throws; a second call waits for the same end.
   */
  close(): Promise<void> {
    this.closing ??= this.finish();
    return this.closing;
  }

  private async finish(): Promise<void> {
    this.hurry.abort();
    // Nothing else here keeps the process alive, but the caller of `close` waits for this end.
    const timer = setTimeout(() => this.cut.abort(), this.timing.close);
    await Promise.all(this.underWay);
    clearTimeout(timer);
  }

  /** Not within the caller's turn, since starting a process takes milliseconds. */
  private soon(work: () => Promise<void>): void {
    const done = new Promise<void>((resolve) => setImmediate(resolve))
      .then(work)
      .catch((cause: unknown) => this.say('warn', `The alarm failed: ${asEvenrungError(cause).message}`))
      .finally(() => this.underWay.delete(done));
    this.underWay.add(done);
  }

  private say(level: 'info' | 'warn', line: string): void {
    try {
      this.options.log(level, line);
    } catch {
      // If even the log fails, there is nobody left to tell.
    }
  }

  // --- the command

  /**
   * The alarm's text is passed in the environment and never put into the command line: no sentence can become
   * a command.
   */
  private async runCommand(command: string, halt: Halt): Promise<void> {
    // A process group of its own, so that the command can be ended with all that it has started, and a Ctrl-C
    // at the terminal does not reach it.
    const child = spawn(command, {
      shell: true,
      detached: process.platform !== 'win32',
      env: { ...process.env, ...environmentOf(halt) },
      stdio: ['ignore', 'pipe', 'pipe'],
    });
    child.unref();
    // If it cannot be started, `endOf` tells why; a signal that could not be sent does not matter.
    child.on('error', () => undefined);
    const output = new Output();
    for (const pipe of [child.stdout, child.stderr]) {
      (pipe as Socket).unref();
      pipe.setEncoding('utf8').on('data', (text: string) => output.add(text));
      pipe.on('error', () => undefined);
    }
    const outcome = await this.endOf(child);
    for (const line of output.lines()) this.say('info', `The alarm's command says: ${line}`);
    this.say(outcome === null ? 'info' : 'warn', outcome ?? "The alarm's command has ended, exit code 0.");
  }

  /** @returns what went wrong; null if nothing did */
  private async endOf(child: ChildProcess): Promise<string | null> {
    const { command, close } = this.timing;
    const over = new AbortController();
    const timer = setTimeout(() => over.abort(), command).unref();
    const stop = () => over.abort();
    if (this.cut.signal.aborted) stop();
    this.cut.signal.addEventListener('abort', stop);
    try {
      // Rejects if the command could not be started. Its pipes close with the last process that holds them.
      const [code, signal] = await once(child, 'close', { signal: over.signal });
      if (code === 0) return null;
      if (code === NOT_FOUND)
        return "The alarm's command was not found, or found nothing to run: exit code 127.";
      const how = code === null ? `was ended by ${signal}` : `failed: exit code ${code}`;
      return `The alarm's command ${how}.`;
    } catch (cause) {
      if (!over.signal.aborted) return `The alarm's command could not be started: ${wordsOf(cause)}.`;
      endGroup(child);
      const [within, why] = this.cut.signal.aborted ? [close, ', since Evenrung ends'] : [command, ''];
      return `The alarm's command was ended after ${seconds(within)}${why}.`;
    } finally {
      clearTimeout(timer);
      this.cut.signal.removeEventListener('abort', stop);
      // A process that has left the group may still hold the pipes.
      child.stdout?.destroy();
      child.stderr?.destroy();
    }
  }

  // --- the webhook

  private async tell(webhook: URL, body: string): Promise<void> {
    // Only the host is named: the rest of the address is often a secret.
    const where = `The webhook at ${webhook.host}`;
    const { pauses } = this.timing;
    for (let tries = 1; ; tries += 1) {
      const failure = await this.tryOnce(webhook, body);
      if (failure === null) {
        this.say('info', `${where} was told.`);
        return;
      }
      const wait = pauses[tries - 1];
      if (failure.final || wait === undefined || this.cut.signal.aborted) {
        const often = tries === 1 ? '' : ` in ${tries} tries`;
        this.say('warn', `${where} was not told${often}: ${failure.why}.`);
        return;
      }
      this.say('info', `${where} was not told yet: ${failure.why}. Evenrung tries again.`);
      await this.rest(wait);
    }
  }

  /** A pause that ends early if somebody waits for the end. */
  private async rest(usual: number): Promise<void> {
    const { hurry, cut, timing } = this;
    const { random = Math.random } = this.options;
    const spread = usual * (1 + SPREAD * (2 * random() - 1));
    if (!hurry.signal.aborted)
      await pause(spread, undefined, { ref: false, signal: hurry.signal }).catch(() => undefined);
    else
      await pause(Math.min(spread, timing.pauseAtEnd), undefined, { ref: false, signal: cut.signal }).catch(
        () => undefined,
      );
  }

  /** @returns why the try failed, and whether another would fail as well; null if it succeeded */
  private async tryOnce(webhook: URL, body: string): Promise<{ why: string; final: boolean } | null> {
    const { tryWithin } = this.timing;
    const over = new AbortController();
    const stop = () => over.abort();
    const timer = setTimeout(stop, tryWithin).unref();
    if (this.cut.signal.aborted) stop();
    this.cut.signal.addEventListener('abort', stop);
    try {
      const { status, location } = await post(webhook, body, over.signal);
      if (status >= 200 && status < 300) return null;
      if (status >= 300 && status < 400) return { why: elsewhere(status, location, webhook), final: true };
      return { why: `it answered ${status}`, final: status < 500 && !TRY_AGAIN.has(status) };
    } catch (cause) {
      if (this.cut.signal.aborted) return { why: 'Evenrung ends', final: true };
      if (over.signal.aborted) return { why: `no answer within ${seconds(tryWithin)}`, final: false };
      return { why: wordsOf(cause), final: false };
    } finally {
      clearTimeout(timer);
      this.cut.signal.removeEventListener('abort', stop);
    }
  }
}

/**
 * The beginning of a command's output. The rest is read and dropped, so that the command does not wait for a
 * reader.
 */
class Output {
  private text = '';
  private isCut = false;

  add(text: string): void {
    const room = MOST_OUTPUT - this.text.length;
    if (text.length > room) this.isCut = true;
    this.text += text.slice(0, Math.max(0, room));
  }

  /** @returns the lines that are not empty, without characters that would control a terminal */
  lines(): string[] {
    const lines = this.text.split(/[\r\n]+/).map((line) => line.replace(/\p{C}+/gu, ' ').trim());
    return [...lines, this.isCut ? '(and more)' : ''].filter((line) => line !== '');
  }
}

/** Ends a command with all that it has started, as far as that has not left its group. */
function endGroup(child: ChildProcess): void {
  try {
    if (child.pid === undefined) return;
    if (process.platform === 'win32') child.kill('SIGKILL');
    else process.kill(-child.pid, 'SIGKILL');
  } catch {
    // The command has just ended by itself.
  }
}

/** @throws EvenrungError alarm-unusable */
function usableCommand(command: string): string {
  const why =
    command.trim() === ''
      ? 'it is empty'
      : command.length > LONGEST_COMMAND
        ? 'it is too long'
        : command.includes('\0')
          ? 'it holds a character that no command can'
          : null;
  if (why === null) return command;
  throw unusable(`The alarm's command cannot be used, since ${why}: give it as you would type it.`);
}

/** @throws EvenrungError alarm-unusable; its sentence does not repeat the address, which may hold a secret */
function usableAddress(text: string): URL {
  const url = URL.canParse(text) ? new URL(text) : null;
  const isWeb = url?.protocol === 'http:' || url?.protocol === 'https:';
  if (url !== null && isWeb && text.length <= LONGEST_ADDRESS) return url;
  const why =
    url === null
      ? 'it is not a whole address'
      : isWeb
        ? 'it is too long'
        : `it begins with ${url.protocol.slice(0, 40)}`;
  throw unusable(
    `The alarm's web address cannot be used, since ${why}: give one such as https://example.org/path, beginning with http:// or https://.`,
  );
}

const unusable = (sentence: string) => new EvenrungError('alarm-unusable', sentence);
const seconds = (ms: number): string => `${Number((ms / 1000).toFixed(1))} s`;
