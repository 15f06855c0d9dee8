// The settings that are changed on a body, and which of them still have to be put back. They are kept before
// each change, so that whoever meets the body next knows of them.
import { asEvenrungError, EvenrungError } from '../../shared/errors.js';
import type { Changes, Dialect } from './dialects/index.js';
import { type BodyIdentity, type ChangeOptions, LINK_FAILURES, type Link, type Settings } from './link.js';

/** A setting that was changed: its value as it was found, and the values that were written since. */
export interface Owed {
  readonly found: string;
  /**
   * The values that were written, or are about to be. If the setting has any other value, somebody set it by
   * hand.
   */
  readonly written: readonly string[];
}

/** By name of the setting, in the order of the changes. */
export type Debts = ReadonlyMap<string, Owed>;

/**
 * Called with all settings that still have to be put back, before each change and after any was put back; the
 * caller waits for it.
 */
export type KeepDebts = (identity: BodyIdentity, debts: Debts) => Promise<void>;

/** @returns one sentence for whoever has to put the settings back by hand */
export function notPutBack(debts: Debts): string {
  const list = [...debts].map(([name, { found }]) => `${name} to ${found}`).join(', ');
  return `These settings could not be put back: ${list}. Set them on the camera before your next picture.`;
}

export interface OwedChangesOptions {
  readonly link: Link;
  readonly identity: BodyIdentity;
  readonly keepDebts: KeepDebts;
  /** The settings as they were last read. */
  readonly settings: () => Settings;
  /** Called if a change has failed: nothing is known of the body any more. */
  readonly failed: () => void;
}

export class OwedChanges implements Changes {
  private readonly options: OwedChangesOptions;
  /** Settings that still have to be put back, in the order of the changes. */
  private readonly asFound = new Map<string, Owed>();
  /** Settings that were written, or may have been, since they were last put back. */
  private readonly touched = new Set<string>();
  /** Values that were read back and have not been put in doubt since. */
  private readonly known = new Map<string, string>();

  constructor(options: OwedChangesOptions) {
    this.options = options;
  }

  /** Settings that still have to be put back. */
  get debts(): Debts {
    return new Map([...this.asFound].filter(([name]) => this.touched.has(name)));
  }

  /**
   * Takes over the settings that an earlier meeting with this body could not put back: they are owed from now
   * on.
   */
  async takeOver(debts: Debts): Promise<void> {
    for (const [name, debt] of debts) this.asFound.set(name, debt);
    if (this.forgetCorrected()) await this.keep();
    for (const name of this.asFound.keys()) this.touched.add(name);
  }

  /** Puts every value in doubt until it is read or written again. */
  doubt(): void {
    this.known.clear();
  }

  /** Takes note that the body has this value set. */
  stands(name: string, value: string): void {
    this.known.set(name, value);
  }

  /**
   * Writes nothing if the setting is known to have that value.
   * @throws EvenrungError as Link.changeSetting; state-not-writable
   */
  async changeSetting(name: string, value: string, options?: ChangeOptions): Promise<void> {
    if (this.known.get(name) === value) return;
    await this.owe([[name, value]]);
    try {
      const after = await this.options.link.changeSetting(name, value, options);
      this.known.set(name, after.value);
      this.touched.add(name);
    } catch (cause) {
      this.touched.add(name);
      this.options.failed();
      throw cause;
    }
  }

  /**
   * Keeps the values that are about to be written; if none of them is new, nothing is kept.
   * @throws EvenrungError state-not-writable
   */
  async owe(writes: readonly (readonly [name: string, value: string])[]): Promise<void> {
    let isNew = false;
    for (const [name, value] of writes) {
      const owed = this.asFound.get(name);
      const found = owed?.found ?? this.options.settings().get(name)?.value;
      if (found === undefined || owed?.written.includes(value)) continue;
      this.asFound.set(name, { found, written: [...(owed?.written ?? []), value] });
      isNew = true;
    }
    if (isNew) await this.keep();
  }

  /**
   * A setting that has none of the values that were written was changed by hand since: the photographer's
   * word counts, and it is no longer owed.
   * @returns whether any was dropped
   */
  forgetCorrected(): boolean {
    const before = this.asFound.size;
    for (const [name, { found, written }] of this.asFound) {
      const now = this.options.settings().get(name)?.value;
      if (now === found || (now !== undefined && !written.includes(now))) this.asFound.delete(name);
    }
    return this.asFound.size < before;
  }

  /**
   * Puts every setting back, the last change first. Settings that cannot be put back stay owed, and can be
   * tried again.
   * @returns the names of the settings that were put back, and of those that the body refused
   * @throws EvenrungError body-lost and the like at once
   */
  async putBack(locked: Dialect['locked']): Promise<{ done: string[]; failed: string[] }> {
    const done: string[] = [];
    const failed: string[] = [];
    for (const [name, { found }] of this.inPayingOrder(locked)) {
      try {
        if (this.known.get(name) !== found) await this.writeBack(name, found, locked);
        this.known.set(name, found);
        this.asFound.delete(name);
        if (this.touched.has(name)) done.push(name);
      } catch (cause) {
        if (LINK_FAILURES.has(asEvenrungError(cause).code)) throw cause;
        failed.push(name);
      }
    }
    for (const name of done) this.touched.delete(name);
    return { done, failed };
  }

  /** @throws EvenrungError state-not-writable */
  async keep(): Promise<void> {
    await this.options.keepDebts(this.options.identity, this.asFound);
  }

  /** @throws EvenrungError not-put-back if anything failed */
  mustBePutBack(failed: readonly string[]): void {
    if (failed.length > 0) throw new EvenrungError('not-put-back', notPutBack(this.debts), { failed });
  }

  /**
   * The last change first. But settings that some bodies lock while the bracket is off come before the
   * bracket is switched back.
   */
  private inPayingOrder(locked: Dialect['locked']): [string, Owed][] {
    const reversed = [...this.asFound].reverse();
    const isLocked = ([name]: [string, Owed]) => locked?.names.has(name) === true;
    return [...reversed.filter(isLocked), ...reversed.filter((debt) => !isLocked(debt))];
  }

  private async writeBack(name: string, found: string, locked: Dialect['locked']): Promise<void> {
    const { link } = this.options;
    try {
      await link.changeSetting(name, found);
    } catch (cause) {
      const mayBeLocked = locked?.names.has(name) && !LINK_FAILURES.has(asEvenrungError(cause).code);
      if (locked === undefined || !mayBeLocked) throw cause;
      await locked.unlock(this);
      await link.changeSetting(name, found);
    }
  }
}
