// What the shutter of a virtual body really did, whatever became of the files on their way: runs are compared with it. Also lets a
// test step in as soon as the shutter was released.
import { createHash } from 'node:crypto';
import type { PracticeBody } from '../../src/camera/practice/model.js';
import type { Sixths } from '../../src/exposure/index.js';

export interface BookedShot {
  readonly tv: Sixths;
  /** Milliseconds since 1970 at which the file was there. */
  readonly at: number;
  /** Of the file as the body made it. */
  readonly sha256: string;
}

interface Waiting {
  left: number;
  readonly act: () => void | Promise<void>;
}

export class ShutterBook {
  /** Every one, the first first. */
  readonly shots: BookedShot[] = [];
  private waiting: Waiting[] = [];

  /** Beneath every fault that changes what a release brings: the book is begun before any is made. */
  constructor(body: PracticeBody) {
    body.beforeTelling(async (files, { tv }) => {
      for (const { content } of files) {
        const sha256 = createHash('sha256').update(content).digest('hex');
        this.shots.push({ tv, at: Date.now(), sha256 });
      }
      await this.released();
      return files;
    });
  }

  /** Steps in once, after that many releases from now on, before anybody is told of the last one; at once where it is none. */
  async afterReleases(count: number, act: () => void | Promise<void>): Promise<void> {
    if (count === 0) await act();
    else this.waiting.push({ left: count, act });
  }

  private async released(): Promise<void> {
    for (const one of this.waiting) one.left -= 1;
    const due = this.waiting.filter(({ left }) => left === 0);
    this.waiting = this.waiting.filter(({ left }) => left > 0);
    for (const { act } of due) await act();
  }
}
