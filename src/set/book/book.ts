// The only writer of a set's part of the journal: frames, passes, strays, files set aside, notes and state
// are changed here and nowhere else. Each change is kept in the journal first and told afterwards. The book
// never waits, and decides nothing.
import { ENDED } from '../../../shared/fold.js';
import type { LightView } from '../../../shared/light.js';
import type { WirePlan } from '../../../shared/plan.js';
import type { SetRecord } from '../../../shared/set-record.js';
import type { FrameState, FrameView, Happening, RunState, RunView, Trouble } from '../../../shared/state.js';
import {
  type Aside,
  assertWay,
  FRAME_WAYS,
  type FrameFile,
  type Made,
  RUN_WAYS,
  type StoredMade,
  type Stray,
} from '../../journal/index.js';
import type { Decision, Displaced } from '../assign/assign.js';
import { NO_TIMES, type SetFrame, seen, stray, timesAfter } from '../set-frame.js';
import { hasHappened, type Keeper, type SetMemo } from './keeper.js';
import { type Lacking, lackingIn } from './lacking.js';

type PassState = RunView['passes'][number];

/** The state of the set as an earlier program left it. */
export interface BookBegun {
  readonly state: RunState;
  readonly passes: readonly PassState[];
  readonly asides: readonly Aside[];
  readonly strays: readonly Stray[];
  readonly made: readonly StoredMade[];
  readonly notes: readonly string[];
}

export interface BookOptions {
  /** The id of the run. */
  readonly run: string;
  readonly frames: readonly SetFrame[];
  /** How many passes the plan has. */
  readonly passes: number;
  readonly keeper: Keeper;
  readonly tell: (happening: Happening) => void;
  readonly begun: BookBegun | undefined;
}

/** The parts of a set's view that only its end provides. */
export type EndWords = Partial<Pick<RunView, 'sentence' | 'error' | 'folder' | 'endedAt'>>;

/** When the release of a file was made, and when the file was here. */
export type ArrivalTimes = Pick<FrameFileTimes, 'firedAt' | 'storedAt'>;
type FrameFileTimes = NonNullable<FrameFile['times']>;

export class Book {
  private inSet: readonly SetFrame[];
  /** The state of each pass, in firing order. */
  private readonly passStates: PassState[];
  private readonly setAside: SetRecord['setAside'] = [];
  /** Releases whose file has not come. */
  private readonly owed: SetRecord['strays'] = [];
  /** When bursts were released that may have made one file more than the camera told of. */
  private readonly inDoubt: string[] = [];
  /** Files that the camera told of and that are not here yet, by the name of the file that takes them. */
  private readonly underWay = new Map<string, Made>();
  /** Where in the camera the files lie that it told of. */
  private readonly toldOf = new Set<string>();
  private readonly said: string[] = [];
  private current: RunState;
  private readonly options: BookOptions;

  constructor(options: BookOptions) {
    this.options = options;
    this.inSet = options.frames;
    const { begun } = options;
    this.passStates = Array.from(
      { length: options.passes },
      (_, index) => begun?.passes[index] ?? ('planned' as const),
    );
    this.current = begun?.state ?? 'preparing';
    if (begun === undefined) return;
    this.setAside.push(...begun.asides);
    this.owed.push(...begun.strays);
    this.said.push(...begun.notes);
    for (const made of begun.made) {
      this.toldOf.add(placeOf(made));
      if (!made.fetched) this.underWay.set(made.arrived, made);
    }
  }

  /** The darkest first. */
  get frames(): readonly SetFrame[] {
    return this.inSet;
  }

  /**
   * Notes that a burst brought as many files as it should, but one of them is no frame of it: its last frame
   * may be on the card although nobody was told of it. This is not journalled: after a restart that frame is
   * fired again.
   */
  mayHaveMore(releasedAt: string): void {
    this.inDoubt.push(releasedAt);
  }

  get bursts(): readonly string[] {
    return this.inDoubt;
  }

  get state(): RunState {
    return this.current;
  }
  get passes(): readonly PassState[] {
    return this.passStates;
  }
  get asides(): readonly SetRecord['setAside'][number][] {
    return this.setAside;
  }
  get strays(): readonly Stray[] {
    return this.owed;
  }
  get notes(): readonly string[] {
    return this.said;
  }

  // --- the set

  enter(state: RunState, end: EndWords = {}): void {
    if (state === this.current) return;
    assertWay(RUN_WAYS, this.current, state);
    this.current = state;
    const { run } = this.options;
    const nothing = { sentence: null, error: null, folder: null, endedAt: null };
    this.tell({ type: 'run-state', run, state, ...nothing, ...end });
  }

  /** @param view the set as it stands, with what the caller adds to it */
  tellWhole(view: RunView): void {
    this.tell({ type: 'run', run: view });
  }

  tellTrouble(trouble: Trouble | null): void {
    this.tell({ type: 'trouble', run: this.options.run, trouble });
  }

  /** @param pass counted from 1 */
  passChanged(pass: number, state: PassState): void {
    this.tell({ type: 'pass', run: this.options.run, pass, state });
    this.passStates[pass - 1] = state;
  }

  /** A note from before the set, told together with its beginning. */
  noteBefore(sentence: string): void {
    if (!this.said.includes(sentence)) this.said.push(sentence);
  }

  /**
   * Adds a note: everyone who watches hears it, and the record keeps it. The same note may come up again if
   * the set is fired again; it is said only once.
   */
  note(sentence: string): void {
    if (this.said.includes(sentence)) return;
    this.said.push(sentence);
    this.tell({ type: 'note', run: this.options.run, note: sentence });
  }

  /** Tells what the pictures have shown so far of the light of the set; also after its end. */
  light(set: string, light: LightView): void {
    this.tell({ type: 'light', run: this.options.run, set, light });
  }

  /** Drops notes that held at an earlier end of the set and no longer do. */
  forgetNotes(isOver: (note: string) => boolean): void {
    this.said.splice(0, this.said.length, ...this.said.filter((note) => !isOver(note)));
  }

  /** Keeps what a set has to know after a crash, apart from its frames. */
  remember(memo: SetMemo): void {
    const { keeper } = this.options;
    keeper.keepOrLater(() => keeper.memo(memo));
  }

  // --- frames

  /**
   * Extends the set: either all of the extension is kept, or nothing is changed.
   * @param added the new frames
   * @throws EvenrungError storing-failed
   */
  extended(added: readonly SetFrame[], plan: WirePlan, memo: SetMemo): void {
    const { keeper } = this.options;
    keeper.together(() => {
      keeper.extended({ plan, frames: added.map(({ view }) => view) });
      keeper.memo(memo);
    });
    this.inSet = [...this.inSet, ...added].sort((a, b) => a.view.offset - b.view.offset);
    while (this.passStates.length < plan.passes.length) this.passStates.push('planned');
  }

  /** Takes frames out of the set that were to be added and were not made. */
  leftOut(frames: readonly SetFrame[], plan: WirePlan): void {
    const { keeper } = this.options;
    keeper.keepOrLater(() => keeper.leftOut({ plan, frames: frames.map(({ view }) => view.number) }));
    this.inSet = this.inSet.filter((frame) => !frames.includes(frame));
    this.passStates.splice(plan.passes.length);
  }

  /**
   * Journals these frames as fired in one transaction, before the shutter is touched.
   * @throws EvenrungError storing-failed; then nothing has changed, and the shutter must not be touched
   */
  fired(frames: readonly SetFrame[]): void {
    const { keeper, run, tell } = this.options;
    if (frames.length === 0) return;
    const meant = frames.map((frame) => {
      const attempts = frame.view.attempts + 1;
      const armed = viewAfter(frame.view, 'armed', { attempts, reason: null });
      return { frame, armed, fired: viewAfter(armed, 'fired') };
    });
    const steps = meant.flatMap(({ armed, fired }) =>
      [armed, fired].map((view) => ({ type: 'frame', run, frame: view }) as const),
    );
    keeper.together(() => {
      for (const step of steps) keeper.happening(step);
    });
    for (const step of steps) tell(step);
    for (const { frame, fired } of meant) {
      frame.view = fired;
      frame.times = timesAfter(frame.times, 'armed', 'fired');
    }
  }

  change(frame: SetFrame, state: FrameState, more: Partial<FrameView> = {}, file?: FrameFile): void {
    this.changeWith(frame, state, more, file, undefined);
  }

  /**
   * Replaces the file of a frame that was fired again: the new file counts from now on, and the earlier one
   * is moved aside later. All of that is kept, or nothing.
   * @param asides the earlier files, under the names that they will be moved to
   */
  replaced(
    frame: SetFrame,
    more: Partial<FrameView>,
    file: FrameFile,
    asides: readonly Aside[],
    memo: SetMemo,
  ): void {
    const { keeper } = this.options;
    this.changeWith(frame, 'verified', more, file, () => {
      for (const aside of asides) keeper.aside(aside);
      keeper.memo(memo);
    });
    this.setAside.push(...asides);
  }

  /** Changes the marks of a verified frame, also after the end of the set. */
  mark(frame: SetFrame, marks: FrameView['marks']): void {
    const { keeper, run, tell } = this.options;
    const view = viewAfter(frame.view, 'verified', { marks });
    keeper.keepOrLater(() => keeper.marked(view));
    tell({ type: 'frame', run, frame: view });
    frame.view = view;
  }

  /**
   * Enters the decision about one file that came.
   * @param times of its release and of its arrival
   */
  apply(decision: Decision, times: ArrivalTimes): void {
    if (decision.strayOf !== null) this.strayCame(decision.strayOf);
    if (decision.displaced !== null) this.displace(decision, decision.displaced, times);
    if (decision.is !== 'frame') return;
    const frame = this.frameOf(decision.frame);
    const recorded = seen(decision.recorded);
    if (decision.isExpected) {
      this.change(frame, 'stored', recorded);
      return;
    }
    // Either the body fired another frame than the one it was told to, or this frame was fired earlier and
    // its file comes late.
    const attempts = frame.view.attempts + (decision.isLate ? 0 : 1);
    this.change(
      frame,
      'stored',
      { attempts, reason: null, ...recorded },
      { times: { ...NO_TIMES, ...times } },
    );
  }

  /** The release of this frame brought another file. */
  private displace(decision: Decision, displaced: Displaced, { firedAt }: ArrivalTimes): void {
    const frame = this.frameOf(displaced.frame);
    const { reason, owed } = displaced;
    if (owed !== null) this.stray(stray(frame.view, new Date(firedAt ?? Date.now()), owed));
    // A picture from before says nothing about the frame.
    if (decision.is !== 'from-before') this.change(frame, 'stored');
    const recorded = decision.is === 'no-frame' ? seen(decision.recorded) : {};
    this.change(frame, 'rejected', { reason, ...recorded });
  }

  frameOf(number: number): SetFrame {
    const frame = this.frames.find(({ view }) => view.number === number);
    if (frame === undefined) throw new Error(`The set has no frame ${number}.`);
    return frame;
  }

  // --- files and releases besides the frames

  /** Enters a release whose file has not come. */
  stray(one: Stray): void {
    const { keeper } = this.options;
    this.owed.push(one);
    keeper.keepOrLater(() => keeper.stray(one));
  }

  /**
   * The file has come that an earlier release of this frame was missing. Does nothing if none was missing.
   */
  strayCame(number: number): void {
    const { keeper } = this.options;
    const index = this.owed.findIndex(({ frame }) => frame === number);
    const [one] = index < 0 ? [] : this.owed.splice(index, 1);
    if (one !== undefined) keeper.keepOrLater(() => keeper.strayCame(one));
  }

  /** Enters a file that the camera says it made, before any of it is fetched. */
  made(one: Made): void {
    const { keeper } = this.options;
    this.toldOf.add(placeOf(one));
    this.underWay.set(one.arrived, one);
    keeper.keepOrLater(() => keeper.made(one));
  }

  /** All of a file is here and was taken in or set aside. Does nothing if the camera had not told of it. */
  fetched(arrived: string): void {
    const { keeper } = this.options;
    if (!this.underWay.delete(arrived)) return;
    keeper.keepOrLater(() => keeper.fetched(arrived));
  }

  /** Files that the camera told of and that are not here yet. */
  get madeAndNotFetched(): readonly Made[] {
    return [...this.underWay.values()];
  }

  /** @returns the files that are not here and may be in the camera */
  lacking(): Lacking {
    const made = [...this.underWay.keys()].map(() => ({ fetched: false }));
    return lackingIn({ frames: this.frames.map(({ view }) => view), strays: this.owed, made });
  }

  /** @returns the folders of the camera in which it told of a file with this name */
  foldersOf(name: string): string[] {
    const end = `/${name}`;
    return [...this.toldOf]
      .filter((place) => place.endsWith(end))
      .map((place) => place.slice(0, -end.length));
  }

  /** Whether the camera has told of this file as one that it made for this set. */
  wasToldOf(file: Pick<Made, 'folder' | 'name'>): boolean {
    return this.toldOf.has(placeOf(file));
  }

  /** Enters files of the set folder that belong to no frame; either all of them are kept, or none. */
  aside(...files: readonly Aside[]): void {
    const { keeper } = this.options;
    this.setAside.push(...files);
    keeper.keepOrLater(() => {
      for (const one of files) keeper.aside(one);
    });
  }

  // --- keeping first, telling after

  /** @param also what has to be kept in the same transaction */
  private changeWith(
    frame: SetFrame,
    state: FrameState,
    more: Partial<FrameView>,
    file: FrameFile | undefined,
    also: (() => void) | undefined,
  ): void {
    const before = frame.view.state;
    const view = viewAfter(frame.view, state, more);
    this.tell({ type: 'frame', run: this.options.run, frame: view }, file, also);
    frame.view = view;
    frame.times = file?.times ?? timesAfter(frame.times, before, state);
    frame.checksum = view.file === null ? null : checksumAfter(frame.checksum, file);
  }

  /**
   * A step that is still to come is not taken if it cannot be kept: a shutter that the journal does not know
   * of must not be touched. Something that has happened cannot be undone, and the end of a set cannot be put
   * off: there, settings are put back and the record is written even if nothing can be kept now.
   */
  private tell(happening: Happening, file?: FrameFile, also?: () => void): void {
    const { keeper, tell } = this.options;
    const keep = () => keeper.happening(happening, file);
    const isEnding = this.current === 'putting-back' || ENDED.has(this.current);
    if (also !== undefined)
      keeper.together(() => {
        keep();
        also();
      });
    else if (isEnding || hasHappened(happening)) keeper.keepOrLater(keep);
    else keep();
    tell(happening);
  }
}

const placeOf = ({ folder, name }: Pick<Made, 'folder' | 'name'>): string => `${folder}/${name}`;

/** If nothing is said of the checksum, it stays as it was. */
function checksumAfter(before: SetFrame['checksum'], file: FrameFile | undefined): SetFrame['checksum'] {
  if (file?.sha256 === undefined || file.bytes === undefined) return before;
  const { sha256, bytes } = file;
  return sha256 === null || bytes === null ? null : { sha256, bytes };
}

/** Marks and a partner belong to a file, so a frame that is fired anew has none. */
function viewAfter(before: FrameView, state: FrameState, more: Partial<FrameView> = {}): FrameView {
  assertWay(FRAME_WAYS, before.state, state);
  const { partner, ...own } = before;
  const ofFile =
    state === 'verified'
      ? { marks: own.marks, ...(partner === undefined ? {} : { partner }) }
      : { marks: [] };
  return { ...own, ...ofFile, ...more, state };
}
