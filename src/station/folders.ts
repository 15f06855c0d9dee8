// Where the sets go: makes their folders, and sweeps out files that earlier programs left there and that are
// no frames. It fires nothing.
import path from 'node:path';
import { asEvenrungError } from '../../shared/errors.js';
import type { RunView } from '../../shared/state.js';
import { defaultNaming, type Naming, SetFolder } from '../frames/index.js';
import { type Journal, newestSets } from '../journal/index.js';

export interface SetFoldersOptions {
  /** The folder in which set folders are made. */
  readonly into: string;
  readonly stateFolder: string;
  readonly journal: Journal | undefined;
  readonly naming?: Naming | undefined;
  readonly log: (line: string) => void;
}

/** How many of the last sets are swept: after its end little is written into a set's folder, and soon. */
const SETS_SWEPT = 3;

/** @returns the folders of the sets that were begun last */
const lastFolders = (journal: Journal): string[] =>
  journal.sets({ limit: SETS_SWEPT }).flatMap(({ folder }) => (folder === null ? [] : [folder]));

export class SetFolders {
  private readonly options: SetFoldersOptions;
  private sweeping: Promise<void> | undefined;

  constructor(options: SetFoldersOptions) {
    this.options = options;
  }

  /** The absolute path of the folder in which set folders are made. */
  get into(): string {
    return path.resolve(this.options.into);
  }

  /** @throws EvenrungError folder-not-writable */
  async check(): Promise<void> {
    await SetFolder.check(this.options.into);
  }

  /** @throws EvenrungError folder-not-writable */
  async make(run: string, { ordinal, name, viewpoint }: RunView['set']): Promise<SetFolder> {
    const { into, journal, stateFolder, naming = defaultNaming() } = this.options;
    this.sweepUnused();
    return SetFolder.create(
      into,
      { run, set: ordinal, startedAt: new Date(), name, viewpoint },
      { template: naming.set, keeper: journal === undefined ? null : path.resolve(stateFolder) },
    );
  }

  /** Sweeps out files of earlier programs that are no frames; once, and nobody waits for it. */
  sweepUnused(): void {
    const { into, journal, stateFolder, log } = this.options;
    if (journal === undefined) return;
    const hasSet = (folder: string) => [...newestSets(journal)].some(({ set }) => set?.folder === folder);
    this.sweeping ??= (async () => {
      for (const folder of lastFolders(journal)) await SetFolder.sweepPartial(folder).catch(() => undefined);
      await SetFolder.sweepUnused(into, path.resolve(stateFolder), hasSet);
    })().catch((cause: unknown) =>
      log(`Leftover files in ${into} could not be removed: ${asEvenrungError(cause).message}`),
    );
  }

  async swept(): Promise<void> {
    await this.sweeping;
  }
}
