// The settings of a body, all at once or a single one. Values, and the test whether a value was taken, are
// the same as over the binding; but a write and its check take three calls for one setting here, and no tree.
import { asEvenrungError, type EvenrungError } from '../../../shared/errors.js';
import { FIRST_LOOK_AGAIN_MS, forgetsAt } from '../library/memory.js';
import { checkOffered, foundOtherwise, isTaken, noSuchSetting, shown } from '../library/offered.js';
import { bodyVanished, changingFailed, NOT_FOUND, RESULT, readingFailed } from '../library/result-codes.js';
import { flattenTree, readLeaf, type TreeSetting } from '../library/settings-tree.js';
import type { Setting } from '../link.js';
import { CallFailure } from './calls.js';
import type { Out, Widget } from './gp.js';
import { ask, type Session } from './session.js';
import { isReadOnly, leafOf, putInto, treeOf } from './widgets.js';

/** The pause between two looks at a setting, until the library asks the body anyway. */
const LOOK_AGAIN_MS = 40;

export class SettingsOfBody {
  private readonly session: Session;
  /** Lets the library hear what the body tells, so that it forgets what it remembers. */
  private readonly hear: (ms: number) => Promise<unknown>;
  /** The most settings that were ever read. */
  private most = 0;
  /** Names that the tree has twice: read alone, the library takes another one of the two than reading the tree does. */
  private twins: ReadonlySet<string> = new Set();

  constructor(session: Session, hear: (ms: number) => Promise<unknown>) {
    this.session = session;
    this.hear = hear;
  }

  /** @throws EvenrungError body-lost, body-busy */
  async readAll(): Promise<Map<string, TreeSetting>> {
    const { gp } = this.session;
    const out: Out<Widget> = [null];
    await this.reading(ask(this.session, gp.gp_camera_get_config, out));
    if (!out[0]) throw bodyVanished();
    try {
      const { sections, twice } = treeOf(gp, out[0]);
      const settings = flattenTree(sections);
      // In plain PTP, settings that the body does not answer for are left out without an error. If the cable
      // is pulled, only those are left that the library remembers.
      if (settings.size * 2 < this.most) throw bodyVanished();
      this.most = Math.max(this.most, settings.size);
      this.twins = twice;
      return settings;
    } finally {
      gp.gp_widget_free(out[0]);
    }
  }

  /**
   * As Link.changeSetting. Writes even a value that is set already, since arming a bracket again depends on
   * it.
   */
  async change(name: string, value: string): Promise<Setting> {
    if (this.most === 0) await this.readAll();
    const { gp } = this.session;
    const widget = await this.mustHave(name);
    let before: TreeSetting | undefined;
    try {
      before = this.twins.has(name) ? await this.readOne(name) : readLeaf(name, leafOf(gp, widget));
      if (before === undefined) throw noSuchSetting(name);
      checkOffered(before, value);
      await this.write(widget, name, value);
    } finally {
      gp.gp_widget_free(widget);
    }
    const after = await this.readBack(before, value);
    if (isTaken(before, after.value, value)) return shown(after);
    throw foundOtherwise(name, value, after.value);
  }

  /** @returns a widget of its own, which the caller frees; undefined if the body has no such setting now */
  async widget(name: string, isAgain = false): Promise<Widget | undefined> {
    const { gp } = this.session;
    const out: Out<Widget> = [null];
    try {
      await ask(this.session, gp.gp_camera_get_single_config, name, out);
    } catch (cause) {
      if (!(cause instanceof CallFailure)) throw cause;
      if (cause.code !== NOT_FOUND) throw readingFailed(cause.code);
      // This is the answer for a setting that does not exist; for one that a body which is gone does not
      // answer for, and then the tree is small, too; and for one whose answer was damaged on its way, which
      // is asked for once more.
      const isThere = (await this.readAll()).has(name);
      return isThere && !isAgain ? this.widget(name, true) : undefined;
    }
    // Under 0x0B there is no error for a name that does not exist.
    return out[0] || undefined;
  }

  /** As `widget`. @throws EvenrungError unknown-setting */
  async mustHave(name: string): Promise<Widget> {
    const widget = await this.widget(name);
    if (widget === undefined) throw noSuchSetting(name);
    return widget;
  }

  private async readOne(name: string): Promise<TreeSetting | undefined> {
    if (this.twins.has(name)) return (await this.readAll()).get(name);
    const { gp } = this.session;
    const widget = await this.widget(name);
    if (widget === undefined) return undefined;
    try {
      return readLeaf(name, leafOf(gp, widget));
    } finally {
      gp.gp_widget_free(widget);
    }
  }

  private async write(widget: Widget, name: string, value: string): Promise<void> {
    const { gp } = this.session;
    try {
      if (isReadOnly(gp, widget)) throw new CallFailure(RESULT.notSupported);
      putInto(gp, widget, value);
      await ask(this.session, gp.gp_camera_set_single_config, name, widget);
    } catch (cause) {
      if (!(cause instanceof CallFailure)) throw cause;
      // This is the library's answer if the body refuses a single write, although the setting may have been
      // moved there before: so it is read back.
      if (cause.code !== NOT_FOUND) throw await this.notTaken(cause, name, value);
    }
  }

  /** A camera that is gone can look like one that refuses; but then it does not tell its settings either. */
  private async notTaken({ code }: CallFailure, name: string, value: string): Promise<EvenrungError> {
    const failed = changingFailed(code, name, value);
    if (failed.code !== 'setting-not-taken') return failed;
    return this.readAll().then(() => failed, asEvenrungError);
  }

  private async readBack(before: TreeSetting, value: string): Promise<TreeSetting> {
    const lookedAt = Date.now();
    let found = await this.mustReadOne(before.name);
    const until = Math.max(forgetsAt(lookedAt), lookedAt + FIRST_LOOK_AGAIN_MS);
    while (!isTaken(before, found.value, value)) {
      const left = until - Date.now();
      await this.hear(Math.min(LOOK_AGAIN_MS, Math.max(0, left)));
      found = await this.mustReadOne(before.name);
      if (left <= 0) break;
    }
    return found;
  }

  /** A setting that was there a moment ago and is not any more: nobody answers for it. */
  private async mustReadOne(name: string): Promise<TreeSetting> {
    const setting = await this.readOne(name);
    if (setting === undefined) throw bodyVanished();
    return setting;
  }

  private async reading(call: Promise<number>): Promise<void> {
    try {
      await call;
    } catch (cause) {
      throw cause instanceof CallFailure ? readingFailed(cause.code) : cause;
    }
  }
}
