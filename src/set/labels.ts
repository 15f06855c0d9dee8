// The name of a set: the one that somebody gives it, the one in its folder once that is handed over, and the
// one in the names of its frame files, which stay as they were when the set began.
import type { Labels } from '../../shared/labels.js';
import type { RunView } from '../../shared/state.js';
import { defaultNaming, frameStem, type Naming, parseTemplate } from '../frames/index.js';
import type { SetMemo } from './book/keeper.js';
import type { SetFrame } from './set-frame.js';

export type NamedBy = NonNullable<SetMemo['named']>;

export class SetLabels {
  /** By what its frames are named. */
  readonly named: NamedBy;
  private now: RunView['set'];
  /** As its folder says it, from when that is handed over. */
  private handed: RunView['set'] | null = null;
  private isOver = false;
  /** Whether what its frames are named by is kept. */
  private isKept: boolean;

  /**
   * @param named what its frame files were named by when an earlier program began it; if it is left out,
   *   the present name
   */
  constructor(set: RunView['set'], named: NamedBy | undefined, naming: Naming = defaultNaming()) {
    this.now = set;
    const { name, viewpoint } = set;
    this.isKept = named !== undefined;
    this.named = named ?? { template: naming.frame.text, name, viewpoint };
  }

  get set(): RunView['set'] {
    return this.now;
  }
  /** As the record says it. */
  get inFolder(): RunView['set'] {
    return this.handed ?? this.now;
  }

  get isNamedKept(): boolean {
    return this.isKept;
  }

  namedKept(): void {
    this.isKept = true;
  }

  /**
   * Gives the set another name from now on.
   * @returns whether the set folder will carry that name; false if the folder is handed over already
   */
  change(labels: Labels): boolean {
    this.now = { ...this.now, ...labels };
    return !this.isOver;
  }

  /** The folder is being handed over under the present name. */
  handOver(): void {
    this.handed = this.now;
  }

  /** The folder is handed over, or nobody could. */
  handedOver(): void {
    this.isOver = true;
  }

  /** @returns the name of a frame's file, without its extension */
  stemOf({ view: { number, offset, shutter } }: SetFrame, run: string, startedAt: Date): string {
    const { template, name, viewpoint } = this.named;
    return frameStem(
      parseTemplate(template, 'frame'),
      { run, set: this.now.ordinal, startedAt, name, viewpoint },
      { number, offsetEv: offset, shutter },
    );
  }
}
