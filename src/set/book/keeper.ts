// Keeps what one set does in the journal before anybody is told of it: the set tells what happens, and the
// keeper knows which entry of the journal that is. If there is no journal, nothing is kept.
import { asEvenrungError, type EvenrungError } from '../../../shared/errors.js';
import type { FrameState, FrameView, Happening } from '../../../shared/state.js';
import type { PixelSize } from '../../frames/index.js';
import type { Aside, Extended, FrameFile, Journal, LeftOut, Made, Stray } from '../../journal/index.js';
import type { TakenUp } from '../again/taken-up.js';

/** What a set has to know after a crash, apart from its frames. */
export interface SetMemo {
  /** In aperture priority: Tv in EV of the base, as the first frame showed it. */
  readonly meteredTv: number | null;
  /** Focal length of the first frame, in mm. */
  readonly lensAt: number | null;
  /** Size in pixels of the first frame that could be measured. */
  readonly size?: PixelSize | null;
  /** Size in pixels of the first file of each kind; only if the body makes two files of each frame. */
  readonly sizes?: Readonly<Record<string, PixelSize>>;
  /** What its frame files are named by: the template, and the name that the set had when it began. */
  readonly named?: {
    readonly template: string;
    readonly name: string | null;
    readonly viewpoint: string | null;
  };
  /** Numbers of the frames that the set is being extended by; those that are not made leave it at its end. */
  readonly added?: readonly number[];
  /** Whether its pictures are judged, and the proof is not in its folder yet, or not as it is now. If left out, nothing is owed. */
  readonly owesProof?: boolean;
  /** Only if the set was taken up again after its end. */
  readonly takenUp?: TakenUp | null;
}

/**
 * Each call returns once its entry is on disk.
 * @throws EvenrungError storing-failed: then the step must not be taken
 */
export interface Keeper {
  happening(happening: Happening, file?: FrameFile): void;
  /** New marks of a verified frame; also after the end of the set. */
  marked(frame: FrameView): void;
  aside(aside: Aside): void;
  stray(stray: Stray): void;
  /** The missing file of a stray has come after all. */
  strayCame(stray: Stray): void;
  /** The camera told of a file that it made; none of it is here yet. */
  made(made: Made): void;
  /**
   * All of a file is here, and was taken in or set aside.
   * @param arrived as in `Made`
   */
  fetched(arrived: string): void;
  memo(memo: SetMemo): void;
  extended(extended: Extended): void;
  leftOut(leftOut: LeftOut): void;
  /**
   * Makes several calls of this keeper one transaction: either all of them are on disk when this returns, or
   * none is.
   */
  together(work: () => void): void;
  /**
   * For calls about something that has happened already: if they cannot be kept now, they are kept before the
   * next entry.
   */
  keepOrLater(work: () => void): void;
  /** @returns why something still waits to be kept; null if nothing does */
  catchUp(): EvenrungError | null;
}

/**
 * Whether this tells of something that has happened. Otherwise it tells of a step that is still to come,
 * which must not be taken if it cannot be kept.
 */
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

/** @param set a set that the journal knows already */
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
