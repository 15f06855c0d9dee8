// A camera on USB: the Link that calls libgphoto2 itself. Its calls are typed by hand and can end the process, so it belongs
// into the camera process as the one over the binding does. Unlike that one it takes a release and its files apart, closes a
// body properly, and knows nothing of the fixed waits of the library's own capture.
import { randomBytes } from 'node:crypto';
import { constants } from 'node:fs';
import { access, rm } from 'node:fs/promises';
import path from 'node:path';
import { asEvenrungError, EvenrungError } from '../../../shared/errors.js';
import { type Family, familyOf, isMoved, movesTarget } from '../library/families.js';
import { identityOf, theOne } from '../library/found.js';
import { shown } from '../library/offered.js';
import { WHAT_KEEPS_A_FRAME } from '../library/result-codes.js';
import type {
  BodyIdentity,
  BringOptions,
  FiredFrame,
  FireOptions,
  Heard,
  Link,
  LinkLimits,
  ListedFile,
  MadeFile,
  Piece,
  PressOptions,
  Setting,
  Settings,
} from '../link.js';
import { nothingFired } from '../not-stored.js';
import type { Holding } from '../process/holding.js';
import { ReleaseButton } from './button.js';
import { getToKnowCards, listCards } from './card.js';
import { Ears } from './ears.js';
import { Files } from './files.js';
import { openSession, type Session } from './session.js';
import { SettingsOfBody } from './settings.js';

export { attachedDirectly } from './session.js';

const MiB = 1024 * 1024;

/** Nothing in the library limits an exposure here; bodies are known to count to 15 minutes (config.c and library.c of libgphoto2 2.5.30). */
const LONGEST_SECONDS = 900;
/** From memory, no source: a change is read, written and read back, a setting each. */
const SECONDS_PER_CHANGE = 0.3;
/** A change on a body of 0x11 that reports it 0.3 s late took 0.32 s over the virtual port; it is noticed up to 0.04 s later. */
const SECONDS_PER_LATE_CHANGE = 0.4;
/** Bodies of 0x11 that are moved from setting to setting: a move and its report (tried over the virtual port). */
const SECONDS_PER_MOVE = 0.85;
/** From memory, no source: release lag, the body's cycle, and some 25 MB over the cable, with the lens on manual focus. */
const SECONDS_PER_FRAME = 1.5;
/** From memory, no source: the effective rate of USB 2, for bodies that have nothing faster. */
const BYTES_PER_SECOND = 30 * 1000 * 1000;

/**
 * Two comments in libgphoto2 2.5.30 (camlibs/ptp2/library.c) have it that a body of 0x0B likes pieces of 1 MB and dislikes those of 5 MB.
 * Each piece costs a transaction, and a look for events between two of them a few more.
 */
const PIECE_BYTES: Readonly<Record<Family, number>> = {
  '0x0b': 4 * MiB,
  '0x0a': 8 * MiB,
  '0x11': 8 * MiB,
  other: 8 * MiB,
};
/** Of these the library lists a folder when it hears of the first new file in it. */
const LISTS_LATE: ReadonlySet<Family> = new Set(['0x0a', 'other']);
/** Raw files have their Exif at the front, within this. */
const HEAD_BYTES = 128 * 1024;

/** How late a file may be, in addition to twice its exposure, which noise reduction may take. */
const LATE_FILE_MS = 15_000;
/** How long a body that is busy with the frame before is asked again: nothing has been released by then. */
const BUSY_MS = 2000;
/** Between two questions whether the body is still busy. */
const BUSY_LOOK_MS = 100;

const pause = (milliseconds: number) => new Promise<void>((resolve) => setTimeout(resolve, milliseconds));

/**
 * Finds the camera on USB. The first call opens it.
 * @param port where the camera is; if it is left out, it must be the only one
 * @throws EvenrungError usb-not-available, no-body, several-bodies (with the `ports` in its details)
 */
export async function openDirectLink(port?: string): Promise<DirectLink> {
  return new DirectLink(await openSession((found) => theOne(found, port)));
}

export class DirectLink implements Link, Holding {
  private readonly session: Session;
  private readonly settings: SettingsOfBody;
  private readonly ears: Ears;
  private readonly button: ReleaseButton;
  private readonly files: Files;
  private isClosed = false;

  constructor(session: Session) {
    this.session = session;
    this.files = new Files(session);
    this.ears = new Ears(session, (told) => this.files.rescue(told));
    this.settings = new SettingsOfBody(session, (ms) => this.ears.turn(ms));
    this.button = new ReleaseButton(session, this.settings);
  }

  async identify(): Promise<BodyIdentity> {
    return identityOf(await this.settings.readAll(), this.session.port.model);
  }

  async readLimits(): Promise<LinkLimits> {
    const settings = await this.settings.readAll();
    const family = familyOf(settings);
    const moved = isMoved(settings);
    const pieceBytes = PIECE_BYTES[family];
    this.ears.isEndMadeUp = family === '0x11';
    this.files.setPiece(pieceBytes);
    if (LISTS_LATE.has(family)) await getToKnowCards(this.session);
    return {
      longestSeconds: LONGEST_SECONDS,
      secondsPerChange: family === '0x11' && !moved ? SECONDS_PER_LATE_CHANGE : SECONDS_PER_CHANGE,
      // Whether such a body leaps or walks is not on the wire: that it leaps is found by learning.
      secondsPerSetting: moved ? SECONDS_PER_MOVE : 0,
      secondsPerFrame: SECONDS_PER_FRAME,
      movesTarget: movesTarget(family),
      apart: {
        library: `libgphoto2 ${this.session.gp.version}`,
        pieceBytes,
        // Under 0x11 a file comes whole, with the event that tells of it.
        headBytes: family === '0x11' ? 0 : HEAD_BYTES,
        bytesPerSecond: BYTES_PER_SECOND,
      },
    };
  }

  async readSettings(): Promise<Settings> {
    const settings = await this.settings.readAll();
    return new Map([...settings].map(([name, setting]) => [name, shown(setting)]));
  }

  changeSetting(name: string, value: string): Promise<Setting> {
    return this.settings.change(name, value);
  }

  async fire({ into, exposureSeconds }: FireOptions): Promise<FiredFrame> {
    await access(into, constants.W_OK).catch((cause: unknown) => {
      throw nothingFired(into, cause);
    });
    const started = performance.now();
    const file = await this.fireOne(exposureSeconds);
    const to = path.join(into, `incoming.${randomBytes(3).toString('hex')}`);
    try {
      const { bytes } = await this.files.bring({ file, to, from: 0, most: Number.MAX_SAFE_INTEGER });
      if (bytes === 0) {
        throw new EvenrungError(
          'frame-missing',
          'The camera sent an empty file. The frame may be on its card.',
          {
            released: true,
            file: file.name,
          },
        );
      }
    } catch (cause) {
      await rm(to, { force: true }).catch(() => undefined);
      const { code, message, details } = asEvenrungError(cause);
      if (code !== 'file-not-there') throw cause;
      throw new EvenrungError('frame-missing', message, { ...details, released: true });
    }
    const seconds = (performance.now() - started) / 1000;
    return { path: to, seconds, ...(file.bytes === null ? {} : { saidBytes: file.bytes }) };
  }

  async press(options: PressOptions): Promise<void> {
    await this.ears.beforeRelease();
    await this.pressNow(options);
  }

  unpress(): Promise<void> {
    return this.button.unpress();
  }

  listen(ms: number): Promise<Heard> {
    return this.ears.listen(ms, () => this.button.isDown);
  }

  bring(options: BringOptions): Promise<Piece> {
    return this.files.bring(options);
  }

  async list(): Promise<readonly ListedFile[]> {
    // Files that came and went meanwhile are only known from what the body tells.
    await this.ears.catchUp();
    return listCards(this.session);
  }

  /**
   * A button that is held goes up first. The library gives up its farewell at the first answer that the body
   * is busy. Under 0x0B frames then stay in the body's memory: connecting has moved the capture target there,
   * and only the farewell moves it back.
   */
  async letGo(busyMs = 0): Promise<void> {
    if (this.isClosed) return;
    this.isClosed = true;
    this.ears.close();
    await this.button.unpress().catch(() => undefined);
    const until = performance.now() + busyMs;
    const mayBeBusy = () => this.session.isOpen() && performance.now() < until;
    while (mayBeBusy() && (await this.isBusy())) await pause(BUSY_LOOK_MS);
    this.button.free();
    await this.files.close();
    await this.session.close();
  }

  heldForMs(): number {
    return this.button.leftMs;
  }

  holdEnds(): Promise<void> {
    this.ears.close();
    return this.button.holdEnds();
  }

  private isBusy(): Promise<boolean> {
    return this.settings.readAll().then(
      () => false,
      (cause: unknown) => asEvenrungError(cause).code === 'body-busy',
    );
  }

  private async pressNow(options: PressOptions): Promise<void> {
    // The caller has gone meanwhile, and would not know of this release.
    if (this.ears.isClosed)
      throw new EvenrungError('body-lost', 'This release is no longer waited for.', { released: false });
    await this.button.press(options);
  }

  /**
   * A file that an earlier release made late must not be taken for this one's: until the body takes this
   * release, all files that it tells of are of earlier ones. They are kept for `listen`.
   */
  private async fireOne(exposureSeconds: number): Promise<MadeFile> {
    const putBack: (() => void)[] = [];
    const until = performance.now() + BUSY_MS;
    try {
      for (;;) {
        await this.ears.beforeRelease();
        putBack.unshift(this.ears.setAside());
        try {
          await this.pressNow({ button: null, holdSeconds: null, exposureSeconds });
          break;
        } catch (cause) {
          const { code, details } = asEvenrungError(cause);
          if (code !== 'body-busy' || details.released !== false || performance.now() > until) throw cause;
          await pause(BUSY_LOOK_MS);
        }
      }
      return await this.nextFile(exposureSeconds * 2000 + LATE_FILE_MS);
    } finally {
      for (const back of putBack) back();
    }
  }

  private async nextFile(ms: number): Promise<MadeFile> {
    const until = performance.now() + ms;
    while (performance.now() < until) {
      const { made } = await this.listen(until - performance.now());
      const [first, ...others] = made;
      if (first === undefined) continue;
      this.ears.tellAgain(others);
      return first;
    }
    throw new EvenrungError(
      'frame-missing',
      `The camera was told to fire, but no frame came back. ${WHAT_KEEPS_A_FRAME}`,
      { released: true },
    );
  }
}
