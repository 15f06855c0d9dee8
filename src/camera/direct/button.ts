// The release button: pressed over the wire, held, and let go, also by a timer of this process, so that a
// long exposure ends in time even if the daemon is gone.
import { asEvenrungError, EvenrungError } from '../../../shared/errors.js';
import { checkOffered } from '../library/offered.js';
import { NOT_FOUND, pressingFailed, RESULT } from '../library/result-codes.js';
import { readLeaf } from '../library/settings-tree.js';
import { LOST, type PressOptions, type SettingChange } from '../link.js';
import { CallFailure } from './calls.js';
import type { Widget } from './gp.js';
import { ask, type Session } from './session.js';
import type { SettingsOfBody } from './settings.js';
import { leafOf, putInto } from './widgets.js';

/** How long a body may need to take a press: 2 s of looking for focus, and some more. */
const PRESSING_MS = 5000;
/** Between two tries to let a button go that a busy body does not hear of. */
const TRY_AGAIN_MS = 50;
/** How long letting go is tried while the body says that it is busy. */
const BUSY_MS = 10_000;

/**
 * Under 0x11 the library presses, and up to 2.5.30 then also writes the same as a value, which bodies refuse. Either way it says in the
 * end that it has not found the setting; only if the body took the press, it has complained of the refused value before (config.c,
 * _set_config, of 2.5.27 to 2.5.34). A press that the body refused counts as busy: why it did is lost.
 */
const TEXTS_OF_ONE_PRESSED = 2;

/** Under 0x0B, if the body took the press, and was too busy to hear that it is over (library.c, trigger of 2.5.30 and 2.5.34). */
const LETTING_GO_FAILED = /\bFull-Release failed/;

interface Held {
  readonly up: readonly SettingChange[];
  /** When it goes up by itself, by performance.now(). */
  readonly until: number | null;
  readonly timer: NodeJS.Timeout | undefined;
}

const pause = (milliseconds: number) => new Promise<void>((resolve) => setTimeout(resolve, milliseconds));

export class ReleaseButton {
  private readonly session: Session;
  private readonly settings: SettingsOfBody;
  /** The settings that are the button, from the first press on: writing one is one call. */
  private readonly widgets = new Map<string, Widget>();
  private held: Held | undefined;
  /** While it is being pressed or let go. */
  private under: Promise<void> = Promise.resolve();
  /** By performance.now(): no hold lasts longer as far as is known. */
  private endsAt = 0;

  constructor(session: Session, settings: SettingsOfBody) {
    this.session = session;
    this.settings = settings;
  }

  /** Whether it is down. */
  get isDown(): boolean {
    return this.held !== undefined;
  }

  /** Milliseconds until a button that is held for a time is let go; 0 if none is. */
  get leftMs(): number {
    return Math.max(0, this.endsAt - performance.now());
  }

  /** As Link.press. */
  press(options: PressOptions): Promise<void> {
    return this.oneAtATime(() => this.goDown(options));
  }

  /** As Link.unpress. */
  unpress(): Promise<void> {
    return this.oneAtATime(() => this.goUp());
  }

  /** Waits until the timer has let go of a button that is held for a time. */
  async holdEnds(): Promise<void> {
    await this.under.catch(() => undefined);
    while (this.held?.until != null) {
      await pause(Math.max(TRY_AGAIN_MS, this.leftMs));
      await this.under.catch(() => undefined);
      if (this.held?.until != null && this.leftMs === 0) return;
    }
  }

  free(): void {
    clearTimeout(this.held?.timer);
    for (const widget of this.widgets.values()) this.session.gp.gp_widget_free(widget);
    this.widgets.clear();
  }

  private oneAtATime(what: () => Promise<void>): Promise<void> {
    const done = this.under.then(what, what);
    this.under = done.catch(() => undefined);
    return done;
  }

  private async goDown({ button, holdSeconds, lettingGo }: PressOptions): Promise<void> {
    if (this.held !== undefined) await this.goUp();
    if (button === null) return this.trigger(lettingGo);
    const holdMs = holdSeconds === null ? 0 : holdSeconds * 1000;
    this.endsAt = holdMs === 0 ? 0 : performance.now() + PRESSING_MS + holdMs;
    // All changes are checked before the first is written: an error in the last one must not be found out
    // half-way.
    for (const change of [...button.down, ...button.up]) await this.prepare(change);
    try {
      await this.writeAll(button.down);
    } catch (cause) {
      this.endsAt = 0;
      const failed = asEvenrungError(cause instanceof CallFailure ? pressingFailed(cause.code) : cause);
      // The changes may stand for several positions of the button, of which the body took the first. A button
      // that is held for a time has one position, and a body that is busy may still be holding it for an
      // earlier program.
      const mayBeHalfWay = holdSeconds === null || failed.code !== 'body-busy';
      if (mayBeHalfWay && !LOST.has(failed.code)) await this.writeAll(button.up).catch(() => undefined);
      throw failed;
    }
    const until = holdSeconds === null ? null : performance.now() + holdMs;
    this.endsAt = until ?? 0;
    const timer = until === null ? undefined : setTimeout(() => void this.letGoInTime(), holdMs);
    this.held = { up: button.up, until, timer };
  }

  /** By the library's own release, which presses and lets go. @param up what lets go if the body was too busy for it */
  private async trigger(up: readonly SettingChange[] = []): Promise<void> {
    const { session } = this;
    const textsBefore = session.textsTold();
    try {
      await ask(session, session.gp.gp_camera_trigger_capture);
    } catch (cause) {
      if (!(cause instanceof CallFailure)) throw cause;
      const isPressed = session.textsTold() > textsBefore && LETTING_GO_FAILED.test(session.lastText());
      // The shutter went: pressed again, it would go a second time.
      if (cause.code !== RESULT.cameraBusy || !isPressed) throw pressingFailed(cause.code);
      this.held = { up, until: null, timer: undefined };
    }
  }

  private async letGoInTime(): Promise<void> {
    await this.unpress().catch((cause: unknown) => {
      process.stderr.write(
        `The camera's shutter button could not be released in time: ${cause instanceof Error ? cause.message : cause}\n`,
      );
    });
  }

  private async goUp(): Promise<void> {
    const { held } = this;
    if (held === undefined) return;
    clearTimeout(held.timer);
    const until = performance.now() + BUSY_MS;
    for (;;) {
      try {
        await this.writeAll(held.up);
        break;
      } catch (cause) {
        const failed = cause instanceof CallFailure ? pressingFailed(cause.code) : cause;
        const isBusy = failed instanceof EvenrungError && failed.code === 'body-busy';
        if (isBusy && performance.now() < until) {
          await pause(TRY_AGAIN_MS);
          continue;
        }
        throw failed;
      }
    }
    this.held = undefined;
    this.endsAt = 0;
  }

  private async writeAll(changes: readonly SettingChange[]): Promise<void> {
    for (const change of changes) await this.write(change);
  }

  /** @throws EvenrungError unknown-setting, choice-not-offered */
  private async prepare({ name, value }: SettingChange): Promise<Widget> {
    const { gp } = this.session;
    const widget = this.widgets.get(name) ?? (await this.settings.mustHave(name));
    this.widgets.set(name, widget);
    const setting = readLeaf(name, leafOf(gp, widget));
    if (setting !== undefined) checkOffered(setting, value);
    return widget;
  }

  private async write(change: SettingChange): Promise<void> {
    const { gp } = this.session;
    const widget = await this.prepare(change);
    putInto(gp, widget, change.value);
    const textsBefore = this.session.textsTold();
    try {
      await ask(this.session, gp.gp_camera_set_single_config, change.name, widget);
    } catch (cause) {
      if (!(cause instanceof CallFailure) || cause.code !== NOT_FOUND) throw cause;
      if (this.session.textsTold() - textsBefore < TEXTS_OF_ONE_PRESSED)
        throw new CallFailure(RESULT.cameraBusy);
    }
  }
}
