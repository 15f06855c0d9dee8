// The process that decodes pictures, as the daemon sees it: no decoder runs in the daemon itself. If the
// process dies or hangs, every open question is asked again, one after another and with nothing else
// meanwhile: a picture over which it then dies once more is itself to blame. The process has as much right to
// the processor as the daemon, since no frame is verified, and no set ends, before its picture has been
// looked at.
import { existsSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import { EvenrungError } from '../../../shared/errors.js';
import { ProcessFell, SideProcess, type SideProcessOptions } from '../../system/index.js';
import type { Answers, Asked, Work } from './protocol.js';

const at = (entry: string) => fileURLToPath(new URL(entry, import.meta.url));
/** Beside the built program; or in the build folder, if the sources are run, as the tests do. */
const BESIDE = at('./picture-process.js');
const BUILT = at('../../../dist/program/picture-process.js');

const OPTIONS: SideProcessOptions = {
  entry: existsSync(BESIDE) ? BESIDE : BUILT,
  name: 'The process that decodes pictures',
  // Frames of 30 s follow each other without another process for each.
  idleMs: 60_000,
  // A picture takes a fifth of a second, or seconds on a small computer.
  deadlineMs: 60_000,
  mostQuestions: 2000,
  // MiB, for the heap and for the part of it that holds new objects: pixels lie outside.
  execArgv: ['--max-old-space-size=256', '--max-semi-space-size=2'],
  // Buffers from this size on are given back to the system as soon as they are let go of, and smaller ones share few places (mallopt(3), glibc).
  env: { MALLOC_MMAP_THRESHOLD_: String(256 * 1024), MALLOC_ARENA_MAX: '2' },
};

/** Nothing is decoded here for a while, whatever the picture: the process for it ends each time. */
export class NothingDecoded extends Error {}

/** So long nobody tries again. */
const RESTS_MS = 60_000;

export class Pictures {
  readonly side: SideProcess<Asked, Answers>;
  /** Until all that was asked again has been answered. */
  private again: Promise<void> | null = null;
  /** By a clock that nobody sets. */
  private restsUntil = Number.NEGATIVE_INFINITY;

  constructor(options: Partial<SideProcessOptions> = {}) {
    this.side = new SideProcess({ ...OPTIONS, ...options });
  }

  /**
   * @throws EvenrungError as the work does; ProcessFell if the process fell over it twice; NothingDecoded if it falls whatever it is asked; Error if it
   *   could not be done
   */
  async ask<Ask extends Asked>(question: Ask): Promise<Work[Ask['ask']]> {
    while (this.again !== null) await this.again;
    try {
      return await this.once(question);
    } catch (cause) {
      if (!(cause instanceof ProcessFell)) throw cause;
      if (!cause.began) return workHere(question);
    }
    return this.alone(() => this.onceMore(question));
  }

  private async onceMore<Ask extends Asked>(question: Ask): Promise<Work[Ask['ask']]> {
    try {
      return await this.once(question);
    } catch (cause) {
      if (!(cause instanceof ProcessFell)) throw cause;
      if (!cause.began) return workHere(question);
      // It is the picture's doing only if the process works without it.
      await this.once({ ask: 'ready' }).catch((fell: unknown) => {
        if (fell instanceof ProcessFell && fell.began) this.rest();
      });
      throw this.isResting ? nothingDecoded() : cause;
    }
  }

  private get isResting(): boolean {
    return performance.now() < this.restsUntil;
  }

  private rest(): void {
    this.restsUntil = performance.now() + RESTS_MS;
  }

  private async once<Ask extends Asked>(question: Ask): Promise<Work[Ask['ask']]> {
    if (this.isResting) throw nothingDecoded();
    const answer: Answers[keyof Answers] = await this.side.ask(question);
    if ('done' in answer) return answer.done as Work[Ask['ask']];
    const { code, message, details } = answer.refused;
    throw new EvenrungError(code, message, details);
  }

  private alone<T>(work: () => Promise<T>): Promise<T> {
    const mine = (this.again ?? Promise.resolve()).then(work);
    const settled: Promise<void> = mine
      .then(
        () => undefined,
        () => undefined,
      )
      .then(() => {
        if (this.again === settled) this.again = null;
      });
    this.again = settled;
    return mine;
  }
}

const nothingDecoded = () => new NothingDecoded(`${OPTIONS.name} ends whatever it is asked`);

/** If the process cannot be begun on a computer, that is no reason to reject a frame. */
async function workHere<Ask extends Asked>(question: Ask): Promise<Work[Ask['ask']]> {
  const { workOn } = await import('./work.js');
  return (await workOn(question)) as Work[Ask['ask']];
}

/** The one that the program uses. */
export const pictures = new Pictures();

/** Begins the process beforehand, so that the first frame is verified no later than the others. Never rejects. */
export async function readyForPictures(): Promise<void> {
  await pictures.ask({ ask: 'ready' }).catch(() => undefined);
}
