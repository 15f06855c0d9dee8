// One ExifTool process for the whole program, started when it is first needed. ExifTool is a Perl program: if
// there is no Perl, the error says so. The process never keeps the program alive, and every call has a
// deadline.
import { type ChildProcess, spawn } from 'node:child_process';
import { once } from 'node:events';
import { access, constants, mkdtemp, readFile, rm, stat } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import type { ExifTool } from 'exiftool-vendored';
import { EvenrungError } from '../../../shared/errors.js';

/** A cold start on a slow machine takes seconds; reading takes milliseconds. */
const START_DEADLINE_MS = 15_000;
const CALL_DEADLINE_MS = 15_000;
/** The process is ended after so long without work: sets come minutes or hours apart. */
const IDLE_MS = 30_000;
/** How often it looks whether the program that started it is still there. */
const WATCH_SECONDS = 2;
/** A preview is a JPEG of a few megabytes. */
const LARGEST_PREVIEW_BYTES = 64 * 1024 * 1024;

/** Tags as ExifTool names them, with numbers as numbers; binary ones as `base64:`. */
export type RawTags = Readonly<Record<string, unknown>>;

export interface ExifToolOptions {
  /** The path of Perl; if it is left out, it is looked for. Null: there is none. */
  readonly perl?: () => Promise<string | null>;
  readonly callDeadlineMs?: number;
  /** Another program in ExifTool's place, for tests. */
  readonly program?: string;
}

/** Starts the process at the first call, and again after it has ended. */
export class ExifToolProcess {
  private readonly options: ExifToolOptions;
  private running: Promise<ExifTool> | null = null;
  /** Calls that wait for an answer; they are told if the process does not start. */
  private readonly waiting = new Set<GiveUp>();

  constructor(options: ExifToolOptions = {}) {
    this.options = options;
  }

  /**
   * @param args ExifTool's own arguments, such as `-n` and `-EXIF:ExposureTime`
   * @throws EvenrungError frame-unreadable if there is no Perl, if ExifTool does not know the file, or if
   *   it takes too long
   */
  async read(file: string, args: readonly string[]): Promise<RawTags> {
    return this.ask(file, (tool) => tool.readRaw(file, { readArgs: [...args], useMWG: false }));
  }

  /**
   * By way of a file of its own: as text through the pipe, a preview of ten megabytes takes ten seconds.
   * @returns the JPEG in that tag; null if the file has none
   * @throws EvenrungError frame-unreadable if ExifTool does not answer
   */
  async jpeg(file: string, tag: string): Promise<Buffer | null> {
    const folder = await mkdtemp(path.join(os.tmpdir(), 'evenrung-preview-'));
    try {
      const target = path.join(folder, 'preview.jpg');
      // In the name of a file to write, ExifTool takes a percent sign for the beginning of a code.
      await this.ask(file, (tool) => tool.extractBinaryTag(tag, file, target.replaceAll('%', '%%')));
      if ((await stat(target)).size > LARGEST_PREVIEW_BYTES) return null;
      const jpeg = await readFile(target);
      return jpeg[0] === 0xff && jpeg[1] === 0xd8 ? jpeg : null;
    } catch (cause) {
      if (cause instanceof EvenrungError && cause.details.noTag !== true) throw cause;
      return null;
    } finally {
      await rm(folder, { recursive: true, force: true });
    }
  }

  /** The process that runs, if any. */
  async pids(): Promise<number[]> {
    return (await this.running?.catch(() => null))?.pids ?? [];
  }

  /** Ends the process; the next call starts another one. */
  async end(): Promise<void> {
    const running = this.running;
    this.running = null;
    await (await running?.catch(() => null))?.end(true);
  }

  private async ask<T>(file: string, work: (tool: ExifTool) => Promise<T>): Promise<T> {
    this.running ??= this.start();
    const running = this.running;
    try {
      const tool = await running;
      return await this.inTime(work(tool));
    } catch (cause) {
      // After a failure that is the file's fault, the process stays in use; if it does not start or answer,
      // the next call starts another one.
      if (cause instanceof NoAnswer || cause instanceof EvenrungError) await this.drop(running);
      throw cause instanceof EvenrungError ? cause : unreadable(file, cause);
    }
  }

  private async inTime<T>(work: Promise<T>): Promise<T> {
    let giveUp: GiveUp = () => undefined;
    const noAnswer = new Promise<never>((_, reject) => {
      giveUp = reject;
    });
    const timer = setTimeout(
      () => giveUp(new NoAnswer('the reader of raw files does not answer')),
      this.deadlineMs,
    );
    this.waiting.add(giveUp);
    try {
      return await Promise.race([work, noAnswer]);
    } finally {
      clearTimeout(timer);
      this.waiting.delete(giveUp);
    }
  }

  /** For one call as a whole: the start, the call before it in the queue, and itself. */
  private get deadlineMs(): number {
    return 2 * (this.options.callDeadlineMs ?? CALL_DEADLINE_MS);
  }

  private async drop(running: Promise<ExifTool>): Promise<void> {
    if (this.running === running) this.running = null;
    await (await running.catch(() => null))?.end(false).catch(() => undefined);
  }

  private async start(): Promise<ExifTool> {
    const { perl = findPerl, callDeadlineMs = CALL_DEADLINE_MS, program } = this.options;
    const needsPerl = process.platform !== 'win32' && program === undefined;
    const interpreter = needsPerl ? await perl() : null;
    if (needsPerl && interpreter === null) {
      throw new EvenrungError(
        'frame-unreadable',
        'Raw files of this kind need Perl, which is not on this computer: install the package `perl`, or set the camera to JPEG.',
        { perl: false },
      );
    }
    const { ExifTool, exiftoolPath, DefaultExiftoolArgs } = await import('exiftool-vendored');
    const script = program ?? (await exiftoolPath());
    const tool = new ExifTool({
      // The library's own way to start the process would end the whole program if it fails.
      processFactory: () =>
        interpreter === null
          ? started(script, DefaultExiftoolArgs)
          : started(interpreter, [...underWatch(script), ...DefaultExiftoolArgs]),
      maxProcs: 1,
      spawnTimeoutMillis: Math.max(START_DEADLINE_MS, callDeadlineMs),
      taskTimeoutMillis: callDeadlineMs,
      taskRetries: 0,
      maxIdleMsPerProcess: IDLE_MS,
      unrefStreams: true,
      checkPerl: false,
    });
    tool.on('startError', (cause) => {
      const error = new NoAnswer(`the reader of raw files does not start (${cause.message})`);
      for (const giveUp of this.waiting) giveUp(error);
    });
    return tool;
  }
}

type GiveUp = (cause: NoAnswer) => void;

/** The one process that the program uses. Whoever ends the program ends it, too. */
export const exifTool = new ExifToolProcess();

/** ExifTool neither answers nor says what is wrong with the file. */
class NoAnswer extends Error {}

/**
 * ExifTool waits for more input even after its input has ended: left to itself, it outlives a program that was killed, and keeps
 * looking. So it looks for its parent as well.
 * @returns arguments for Perl that run the script
 */
export function underWatch(script: string): string[] {
  const look = `exit 0 if getppid != $parent; alarm ${WATCH_SECONDS}`;
  const watch = `my $parent = getppid; $SIG{ALRM} = sub { ${look} }; alarm ${WATCH_SECONDS};`;
  return ['-e', `${watch} $0 = shift; defined(do $0) or die $@ || $!`, script];
}

async function started(program: string, args: readonly string[]): Promise<ChildProcess> {
  const child = spawn(program, args, { stdio: 'pipe', env: { LANG: 'C' } });
  // Throws if the process cannot be started; what happens to it later, the library notices itself.
  await once(child, 'spawn');
  return child;
}

async function findPerl(): Promise<string | null> {
  const folders = ['/usr/bin', ...(process.env.PATH ?? '').split(path.delimiter)];
  for (const folder of folders.filter((name) => path.isAbsolute(name))) {
    try {
      await access(path.join(folder, 'perl'), constants.X_OK);
      return path.join(folder, 'perl');
    } catch {
      // The next one.
    }
  }
  return null;
}

function unreadable(file: string, cause: unknown): EvenrungError {
  const words = (cause instanceof Error ? cause.message : String(cause)).replaceAll(
    file,
    path.basename(file),
  );
  return new EvenrungError(
    'frame-unreadable',
    `The file that came back cannot be read: ${words.split('\n')[0]?.slice(0, 200)}.`,
    // ExifTool's way to say that there is no such tag: nothing was written.
    /^0 output files/m.test(words) ? { noTag: true } : {},
  );
}
