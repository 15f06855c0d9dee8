// Frames that are fired only to see what files they become: each is read, and thrown away. It measures the
// time that they take, and does not know what they are fired for.
import { rm } from 'node:fs/promises';
import { EvenrungError } from '../../shared/errors.js';
import type { Body } from '../camera/index.js';
import type { BracketShape, ShutterSetting } from '../exposure/index.js';
import { checksumOf, readPicture, readRecorded, recordedTv } from '../frames/index.js';
import { mustBeAsAsked, sameAgain } from './not-learnt.js';

export interface Shot {
  /** Tv in EV that the file recorded. */
  readonly tv: number;
  /** Seconds from the call to the file read, the exposure included. */
  readonly seconds: number;
  /** The same as the link measured it, from the release until the file was here. */
  readonly linkSeconds: number;
}

export class TestFrames {
  private readonly body: Body;
  private readonly folder: string;
  private readonly stopping: () => boolean;
  /**
   * Seconds that frames took in addition to their exposures: until the file was read, and until it was here.
   */
  readonly overheads: { readonly whole: number; readonly link: number }[] = [];
  private count = 0;
  /** Checksums of the files that came. */
  private readonly came = new Set<string>();

  /**
   * @param folder takes the frames, and is left empty
   * @param stopping asked before each frame: whether somebody wants it to end
   */
  constructor(body: Body, folder: string, stopping: () => boolean = () => false) {
    this.body = body;
    this.folder = folder;
    this.stopping = stopping;
  }

  /** How many frames were fired. */
  get fired(): number {
    return this.count;
  }

  async arm(shutter: ShutterSetting, shape: BracketShape | null): Promise<void> {
    this.mustNotStop();
    await this.body.arm({ centre: { by: 'shutter', shutter }, shape });
  }

  /**
   * @param single the setting of the shutter, with the bracket off: then the file must record it
   * @param isShort whether the exposure is short enough to show what a frame takes in addition to it
   * @throws EvenrungError not-learnt if the file cannot be the frame that was just fired
   */
  async shoot(
    exposureSeconds: number,
    { single = null, isShort = true }: { single?: ShutterSetting | null; isShort?: boolean } = {},
  ): Promise<Shot> {
    this.mustNotStop();
    this.count += 1;
    const started = performance.now();
    const fired = await this.body.fire({ into: this.folder, exposureSeconds });
    try {
      const recorded = await readRecorded(fired.path);
      const { exposureTime } = recorded;
      // A run makes a small copy of each frame, so that is part of the time that a frame takes.
      await readPicture(fired.path, 'jpg').catch(() => null);
      const seconds = (performance.now() - started) / 1000;
      const tv = recordedTv(exposureTime);
      if (tv === null || exposureTime === null) {
        throw new EvenrungError(
          'not-learnt',
          "This camera's files do not record their exposure time, so Evenrung cannot learn from them.",
        );
      }
      await this.mustBeNew(fired.path);
      if (single !== null) mustBeAsAsked(recorded, single);
      if (isShort) this.overheads.push({ whole: seconds - exposureTime, link: fired.seconds - exposureTime });
      return { tv, seconds, linkSeconds: fired.seconds };
    } finally {
      await rm(fired.path, { force: true });
      if (fired.partner !== undefined) await rm(fired.partner.path, { force: true });
    }
  }

  /** The times that every file takes are all alike: only its bytes tell that it is the one from before. */
  private async mustBeNew(file: string): Promise<void> {
    const { sha256 } = await checksumOf(file);
    if (this.came.has(sha256)) throw sameAgain();
    this.came.add(sha256);
  }

  private mustNotStop(): void {
    if (this.stopping()) throw new EvenrungError('ending', 'Learning was stopped; nothing was saved.');
  }
}
