// What one set does, kept in the journal before anybody is told of it: the run tells, and this knows which entry that is. Where
// there is no journal, nothing is kept.
import { asEvenrungError, type EvenrungError } from '../../../shared/errors.js';
import type { FrameState, FrameView, Happening } from '../../../shared/state.js';
import type { PixelSize } from '../../frames/index.js';
import type { Aside, Extended, FrameFile, Journal, LeftOut, Made, Stray } from '../../journal/index.js';
import type { TakenUp } from '../again/taken-up.js';

/** What a set has to know after a crash beyond its frames. */
export interface SetMemo {
  /** In aperture priority: Tv in EV of the base that the first frame stands for. */
  readonly meteredTv: number | null;
  /** Millimetres that the lens stood at for the first frame. */
  readonly lensAt: number | null;
  /** Of the first frame that could be measured, in pixels. */
  readonly size?: PixelSize | null;
  /** Only where the body makes two files of each frame: of the first file of each kind, in pixels. */
  readonly sizes?: Readonly<Record<string, PixelSize>>;
  /** By what its frames are named: the template, and what the set was called when it began. */
  readonly named?: {
    readonly template: string;
    readonly name: string | null;
    readonly viewpoint: string | null;
  };
  /** Numbers of the frames that it is being extended by: what is not made of them leaves it at its end. */
  readonly added?: readonly number[];
  /** Whether its pictures are judged, and what they tell lies not in its folder yet, or not as it is now. Left out, nothing is owed. */
  readonly owesProof?: boolean;
  /** Where it was taken up again after its end. */
  readonly takenUp?: TakenUp | null;
}

/** Each call comes back when it is on disk. @throws EvenrungError storing-failed: then it must not be done */
export interface Keeper {
  happening(happening: Happening, file?: FrameFile): void;
  /** Other marks of a verified frame; also after the end of the set. */
  marked(frame: FrameView): void;
  aside(aside: Aside): void;
  stray(stray: Stray): void;
  /** The file of a stray has come after all. */
  strayCame(stray: Stray): void;
  /** The camera told of a file that it made; nothing of it is here yet. */
  made(made: Made): void;
  /** All of it is here, and was taken in or set aside. @param arrived as `Made` has it */
  fetched(arrived: string): void;
  memo(memo: SetMemo): void;
  extended(extended: Extended): void;
  leftOut(leftOut: LeftOut): void;
  /** Several calls of this keeper as one: all of them are on disk when it comes back, or none is. */
  together(work: () => void): void;
  /** Calls of this keeper about what has happened already: what cannot be kept now is kept before whatever comes next. */
  keepOrLater(work: () => void): void;
  /** @returns why something still waits to be kept; null where nothing does */
  catchUp(): EvenrungError | null;
}

/** Whether it tells of what has happened. Anything else tells of what is about to be done, and must not be where it is not kept. */
export function hasHappened(happening: Happening): boolean {
  switch (happening.type) {
    case 'frame':
      return RESULTS.has(happening.frame.state);
    case 'pass':
      return happening.state === 'done';
    default:
      return happening.type === 'note' || happening.type === 'trouble' || happening.type === 'light';
  }
}

const RESULTS: ReadonlySet<FrameState> = new Set(['stored', 'verified', 'rejected']);

export const KEEPS_NOTHING: Keeper = {
  happening: () => {},
  marked: () => {},
  aside: () => {},
  stray: () => {},
  strayCame: () => {},
  made: () => {},
  fetched: () => {},
  memo: () => {},
  extended: () => {},
  leftOut: () => {},
  together: (work) => work(),
  keepOrLater: (work) => work(),
  catchUp: () => null,
};

/** @param set that was begun in the journal */
export function keeperOf(journal: Journal, set: string): Keeper {
  return {
    happening: (happening, file) => {
      switch (happening.type) {
        case 'run':
          journal.changeBase(set, happening.run.base);
          return;
        case 'run-state': {
          const { state, sentence, error, folder, endedAt } = happening;
          journal.setChanged(set, state, endedAt === null ? {} : { sentence, error, folder, endedAt });
          return;
        }
        case 'pass':
          journal.passChanged(set, happening.pass, happening.state);
          return;
        case 'frame':
          journal.frameChanged(set, happening.frame, file);
          return;
        case 'trouble':
          journal.troubleChanged(set, happening.trouble);
          return;
        case 'light':
          journal.lightChanged(set, happening.light);
          return;
        case 'note':
          journal.addNote(set, happening.note);
          return;
        default:
          return;
      }
    },
    marked: (frame) => journal.marksChanged(set, frame),
    aside: (aside) => journal.addAside(set, aside),
    stray: (stray) => journal.addStray(set, stray),
    strayCame: (stray) => journal.removeStray(set, stray),
    made: (made) => journal.addMade(set, made),
    fetched: (arrived) => journal.madeFetched(set, arrived),
    memo: (memo) => journal.rememberForSet(set, memo),
    extended: (extended) => journal.extendSet(set, extended),
    leftOut: (leftOut) => journal.leaveOut(set, leftOut),
    together: (work) => journal.together(work),
    keepOrLater: (work) => void journal.keepOrLater(work),
    catchUp: () => {
      try {
        journal.catchUp();
        return null;
      } catch (cause) {
        return asEvenrungError(cause);
      }
    },
  };
}
