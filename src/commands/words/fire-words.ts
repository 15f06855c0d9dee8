// Standard output while a set is fired: as lines for a person, or as events for a program.

import { cautionsIn } from '../../../shared/cautions.js';
import { NOT_MISSED } from '../../../shared/clipping.js';
import { afterHappening, ENDED, NOTHING_YET } from '../../../shared/fold.js';
import type { CoverageView, LightView } from '../../../shared/light.js';
import type { FrameView, FrameViewMark, NumberedEvent, RunView } from '../../../shared/state.js';
import { evInWords, fromEv } from '../../exposure/index.js';
import { counted } from '../options/options.js';
import { ANSWERS_AGAIN, GOES_ON, HELD, moreAbout, wrapped } from '../process.js';
import { isLive, LiveBar, type Terminal } from './live-bar.js';
import { ScheduleTeller } from './schedule-words.js';

const movedWords = (ev: number | null): string =>
  ev === null ? '' : `, but the light changed: ${ev > 0 ? '+' : ''}${ev.toFixed(2)} EV`;

const sentencesOf = (marks: readonly FrameViewMark[]): string[] =>
  marks.filter(({ code }) => code !== 'base-moved').map(({ sentence }) => sentence);

export function printJson(event: NumberedEvent): void {
  process.stdout.write(`${JSON.stringify(event)}\n`);
}

/** Words that differ if it is not a new set that is fired. */
export interface OtherWords {
  /** What is going to be made. */
  readonly begins: (run: RunView) => string;
  /** What is said when frames are made with the bracket off. */
  readonly singly: string;
}

/** The rest of a delay. */
function delayWords(beginsAt: string | null): string {
  const seconds = beginsAt === null ? 0 : Math.ceil((Date.parse(beginsAt) - Date.now()) / 1000);
  return seconds <= 0 ? '' : `, beginning in ${seconds} s`;
}

/** If the plan was chosen for its spread, the line says how long that is. */
function releaseWords({ release, passes, estimate: { spreadSeconds } }: RunView['plan']): string {
  if (release === 'frame') return '';
  const spread = spreadSeconds === null ? '' : ` with a spread of ${spreadSeconds.toFixed(1)} s`;
  return `${passes.length === 1 ? '' : ', each'} from one release${spread}`;
}

const OF_NEW_SET: OtherWords = {
  begins: ({ plan, frames, beginsAt }) =>
    `${counted(frames.length, 'frame', 'frames')} in ${counted(plan.passes.length, 'pass', 'passes')}${releaseWords(plan)}, about ${Math.ceil(plan.estimate.seconds)} s${delayWords(beginsAt)}`,
  singly: 'Reshooting missing frames one at a time',
};

/** Prints events as lines. */
export interface WordsPrinter {
  (event: NumberedEvent): void;
  /** A line that belongs to no event: the live bar is removed for it, until the next event. */
  readonly say: (line: string) => void;
}

/**
 * Lines on what a person wants to follow: the body, each pass, the fate of each frame, the end. At a
 * terminal, the live bar is below them while a set is fired.
 */
export function wordsPrinter(
  words: OtherWords = OF_NEW_SET,
  terminal: Terminal = process.stdout,
): WordsPrinter {
  if (!isLive(terminal)) {
    const say = (line: string) => void terminal.write(`${line}\n`);
    return Object.assign(linesPrinter(words, say), { say });
  }
  const bar = new LiveBar(terminal);
  const print = linesPrinter(words, (line) => bar.say(line));
  let state = NOTHING_YET;
  const printWithBar = (event: NumberedEvent) => {
    state = afterHappening(state, event.happening);
    const isEnd = event.happening.type === 'run-state' && ENDED.has(event.happening.state);
    if (isEnd) bar.end();
    print(event);
    bar.show(state.run);
  };
  return Object.assign(printWithBar, {
    say: (line: string) => {
      bar.end();
      bar.say(line);
    },
  });
}

/**
 * The next pass is armed while the last frames of the one before are still read: its heading waits for them, so that each frame stands
 * under the heading of its own pass.
 */
class PassHeadings {
  private readonly say: (line: string) => void;
  private waiting: { readonly pass: number; readonly heading: string } | null = null;
  /** By its number, the pass of each frame that was fired and not judged yet. */
  private readonly open = new Map<number, number>();

  constructor(say: (line: string) => void) {
    this.say = say;
  }

  /** Something else begins: lines that wait are printed, and nothing is waited for any more. */
  begin(): void {
    this.open.clear();
    this.sayIfDue();
  }

  fires(pass: number, heading: string): void {
    this.waiting = { pass, heading };
    this.sayIfDue();
  }

  /**
   * To be called before anything is said of the frame; what follows on its judgement is said by the next
   * happening.
   */
  frame({ number, pass, state }: FrameView): void {
    const isOpen = state === 'fired' || state === 'stored';
    // A frame of the pass that waits is judged already: whatever is still open of others is not waited for.
    const isJudged = state === 'verified' || state === 'rejected';
    if (isJudged && this.waiting?.pass === pass) this.open.clear();
    this.sayIfDue();
    if (isOpen) this.open.set(number, pass);
    else this.open.delete(number);
  }

  private sayIfDue(): void {
    const { waiting } = this;
    if (waiting === null || [...this.open.values()].some((pass) => pass !== waiting.pass)) return;
    this.waiting = null;
    this.say(waiting.heading);
  }
}

const lacksAtEnds = ({ isInStep, highlights, shadows }: CoverageView): boolean =>
  isInStep && Math.max(highlights.share, shadows.share) > NOT_MISSED;

/** So many characters of an id are enough to tell sets apart. */
const SHORT = 8;

/** What the pictures of a set tell together is said once, at its end, and again if more came after it. */
class LightTeller {
  private readonly say: (line: string) => void;
  private latest: LightView | null = null;
  private said = '';
  private hasEnded = false;
  private set = '';

  constructor(say: (line: string) => void) {
    this.say = say;
  }

  begin(set: string): void {
    this.set = set;
    this.latest = null;
    this.said = '';
    this.hasEnded = false;
  }

  judged(light: LightView): void {
    this.latest = light;
    if (this.hasEnded) this.tell(light);
  }

  end(): void {
    this.hasEnded = true;
    if (this.latest !== null) this.tell(this.latest);
  }

  private tell({ sentence, coverage, again, proof }: LightView): void {
    if (sentence !== this.said) {
      for (const line of wrapped(sentence, '')) this.say(line);
      if (coverage !== null && lacksAtEnds(coverage))
        this.say(`  If the camera has not moved: evenrung sets extend ${this.set.slice(0, SHORT)}`);
    }
    this.said = sentence;
    if (proof !== null && again.length > 0)
      this.say(
        `  To reshoot frames that moved or are soft: evenrung sets reshoot ${this.set.slice(0, SHORT)} --frames ${again.join(',')}`,
      );
    if (proof !== null && !proof.isMade) for (const line of wrapped(proof.sentence, '')) this.say(line);
  }
}

function linesPrinter(words: OtherWords, say: (line: string) => void): (event: NumberedEvent) => void {
  let introduced = false;
  let passes = 0;
  let begun = '';
  let isHeld = false;
  /** Sentences about each frame that is verified. */
  const told = new Map<number, readonly string[]>();
  /** Frames whose file came. */
  const came = new Set<number>();
  /** Cautions that were said. */
  const cautioned = new Set<string>();
  const light = new LightTeller(say);
  const teller = new ScheduleTeller({ isForeseen: true });
  const headings = new PassHeadings(say);
  return ({ happening }) => {
    for (const { line } of teller.linesOf(happening)) say(line);
    switch (happening.type) {
      case 'body':
        // This is told again whenever something about the body changes.
        if (happening.body.state !== 'ready' || introduced) return;
        introduced = true;
        if (happening.body.note !== null) say(happening.body.note);
        if (happening.body.body.link === 'practice')
          say('Practice camera: nothing is photographed, the scene is invented.');
        else say(`Body: ${happening.body.body.model}`);
        return;
      case 'run': {
        passes = happening.run.plan.passes.length;
        if (happening.run.set.id === begun) return;
        begun = happening.run.set.id;
        light.begin(begun);
        told.clear();
        came.clear();
        for (const { number, state, marks } of happening.run.frames)
          if (state === 'verified') told.set(number, sentencesOf(marks));
        headings.begin();
        say(words.begins(happening.run));
        // Nothing is fired before it was said. Of a schedule it was said with the schedule.
        for (const caution of cautionsIn(happening.run.plan.warnings).filter((one) => !cautioned.has(one)))
          for (const line of wrapped(`caution: ${caution}`, '  ')) say(line);
        return;
      }
      case 'schedule':
        for (const { sentence } of happening.schedule?.cautions ?? []) cautioned.add(sentence);
        return;
      case 'pass':
        if (happening.state === 'firing')
          headings.fires(happening.pass, `Pass ${happening.pass} of ${passes}`);
        return;
      case 'frame': {
        const { frame } = happening;
        headings.frame(frame);
        const name = `  frame ${String(frame.number).padStart(2)}  ${evInWords(fromEv(frame.offset)).padStart(6)} EV  ${`${frame.shutter} s`.padEnd(9)}`;
        if (frame.state === 'rejected') say(`${name} rejected: ${frame.reason}`);
        if (frame.state === 'stored') came.add(frame.number);
        if (frame.state !== 'verified') return;
        const before = told.get(frame.number);
        if (before === undefined && came.has(frame.number))
          say(`${name} verified${movedWords(frame.baseMoved)}`);
        else if (before === undefined) say(`${name} is as it was before`);
        // More may become known of the frame later.
        const marks = sentencesOf(frame.marks);
        for (const sentence of marks.filter((one) => !before?.includes(one)))
          say(`  frame ${String(frame.number).padStart(2)}  ${sentence}`);
        told.set(frame.number, marks);
        return;
      }
      case 'trouble':
        if (happening.trouble === null) say(ANSWERS_AGAIN);
        else say(`${happening.trouble.sentence} ${happening.trouble.next}`);
        return;
      case 'note':
        say(happening.note);
        return;
      case 'run-state':
        if (happening.state === 'held') say(HELD);
        if (isHeld && (happening.state === 'firing' || happening.state === 'making-up')) say(GOES_ON);
        if (happening.state === 'making-up' && !isHeld) {
          headings.begin();
          say(words.singly);
        }
        isHeld = happening.state === 'held';
        if (!ENDED.has(happening.state)) return;
        headings.begin();
        say(happening.sentence ?? happening.state);
        if (happening.error !== null) say(moreAbout(happening.error));
        if (happening.folder !== null) say(`Set folder: ${happening.folder}`);
        light.end();
        return;
      case 'light':
        light.judged(happening.light);
        return;
    }
  };
}
