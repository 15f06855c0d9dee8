// The live bar of a set that is being fired, at the foot of a terminal: each pass with its frames in firing
// order, how many are verified, and how long it still takes. Lines scroll by above it. If standard output is
// not a terminal, there is none. Everything that it shows comes from the events.
import { styleText } from 'node:util';
import { isSameEv } from '../../../shared/ev.js';
import { ENDED } from '../../../shared/fold.js';
import type { FrameView, RunView } from '../../../shared/state.js';

/** The parts of a terminal that the bar uses. */
export interface Terminal {
  write(text: string): unknown;
  readonly isTTY?: boolean;
  readonly columns?: number;
  hasColors?(): boolean;
}

export interface BarOptions {
  readonly columns: number;
  readonly colours: boolean;
  /** ms since 1970. */
  readonly now: number;
}

const NARROWEST = 20;
/** Of a terminal that does not tell. */
const USUAL = 80;
const REDRAWN_EVERY_MS = 1000;

/** A terminal that cannot go back in its line gets plain lines. */
export const isLive = (terminal: Terminal, env: NodeJS.ProcessEnv = process.env): boolean =>
  terminal.isTTY === true && env.TERM !== 'dumb';

const SIGNS: Readonly<Record<FrameView['state'], string>> = {
  planned: '.',
  armed: '>',
  fired: '>',
  stored: '+',
  verified: '#',
  rejected: 'x',
};
type Colour = 'green' | 'red' | 'yellow' | 'dim' | 'bold';
const COLOURS: Readonly<Record<FrameView['state'], Colour>> = {
  planned: 'dim',
  armed: 'bold',
  fired: 'bold',
  stored: 'green',
  verified: 'green',
  rejected: 'red',
};

/** @returns one line, no wider than the terminal */
export function barLine(run: RunView, { columns, colours, now }: BarOptions): string {
  const paint = (colour: Colour, text: string) => (colours ? styleText(colour, text, UNASKED) : text);
  const verified = run.frames.filter(({ state }) => state === 'verified').length;
  const words = `${verified} of ${run.frames.length}${stateWords(run, now)}`;
  const passes = run.plan.passes.map((pass, index) => ({
    number: index + 1,
    // A frame that only comes along with its pass does not belong to the set.
    frames: pass.frames.flatMap(
      ({ offset, wanted }) =>
        (wanted
          ? run.frames.find((frame) => frame.pass === index + 1 && isSameEv(frame.offset, offset))
          : null) ?? [],
    ),
  }));
  const width = (shown: typeof passes) =>
    shown.reduce((sum, { number, frames }) => sum + String(number).length + frames.length + 3, 0);
  const room = columns - 1 - words.length;
  const fits = width(passes) <= room;
  const inHand =
    passes.find(({ frames }) => frames.some(({ state }) => state !== 'verified')) ?? passes.at(-1);
  const shown = fits ? passes : passes.filter((pass) => pass === inHand && width([pass]) <= room - 10);
  const signs = ({ frames }: (typeof passes)[number]) =>
    frames.map(({ state }) => paint(COLOURS[state], SIGNS[state])).join('');
  const of = fits ? '' : ` of ${passes.length}`;
  const drawn = shown.map((pass) => `${pass.number}${of} ${signs(pass)}  `).join('');
  const text = run.state === 'held' || run.trouble !== null ? paint('yellow', words) : words;
  return drawn === '' ? words.slice(0, columns - 1) : `${drawn}${text}`;
}

/** The stream was looked at already. */
const UNASKED = { validateStream: false } as const;

function stateWords(run: RunView, now: number): string {
  if (run.trouble !== null)
    return run.trouble.doing === 'reconnecting' ? ', camera gone: reconnecting' : ', waiting for the camera';
  const begins = run.beginsAt === null ? 0 : Math.ceil((Date.parse(run.beginsAt) - now) / 1000);
  switch (run.state) {
    case 'preparing':
      return begins > 0 ? `, fires in ${begins} s` : ', getting ready';
    case 'held':
      return ', held';
    case 'putting-back':
      return ', putting the settings back';
    case 'firing':
    case 'making-up': {
      const seconds = Math.ceil(secondsLeft(run));
      const pass = run.passes.findIndex((state) => state === 'arming' || state === 'firing');
      const inPass = pass < 0 ? '' : `, pass ${pass + 1} of ${run.passes.length}`;
      const where = run.state === 'making-up' ? ', reshooting' : inPass;
      return `${where}${seconds <= 0 ? '' : `, about ${seconds} s left`}`;
    }
    default:
      return '';
  }
}

/** The part of the estimate that is not exposures is spread evenly. */
function secondsLeft({ frames, plan }: RunView): number {
  const exposures = frames.reduce((sum, { exposureTime }) => sum + exposureTime, 0);
  const beside = Math.max(0, plan.estimate.seconds - exposures) / Math.max(1, frames.length);
  return frames
    .filter(({ state }) => state !== 'verified' && state !== 'stored')
    .reduce((sum, { exposureTime }) => sum + exposureTime + beside, 0);
}

export class LiveBar {
  private readonly terminal: Terminal;
  private run: RunView | null = null;
  /** The text that is on the screen; empty if there is none. */
  private drawn = '';
  private timer: NodeJS.Timeout | undefined;

  constructor(terminal: Terminal) {
    this.terminal = terminal;
  }

  /** A line goes by above the bar. */
  say(line: string): void {
    this.clear();
    this.terminal.write(`${line}\n`);
    this.draw();
  }

  /** Shows the run as it is now; null if nothing is being fired. */
  show(run: RunView | null): void {
    this.run = run !== null && ENDED.has(run.state) ? null : run;
    if (this.run === null) this.end();
    else {
      this.timer ??= setInterval(() => this.draw(), REDRAWN_EVERY_MS).unref();
      this.draw();
    }
  }

  /** Takes the bar away. */
  end(): void {
    this.run = null;
    clearInterval(this.timer);
    this.timer = undefined;
    this.clear();
  }

  private draw(): void {
    const { run, terminal } = this;
    if (run === null) return;
    const line = barLine(run, {
      columns: Math.max(NARROWEST, terminal.columns || USUAL),
      colours: terminal.hasColors?.() ?? false,
      now: Date.now(),
    });
    if (line === this.drawn) return;
    // The cursor goes back to the beginning: what others write there covers the bar.
    terminal.write(`\r${line}\u001b[K\r`);
    this.drawn = line;
  }

  private clear(): void {
    if (this.drawn !== '') this.terminal.write('\r\u001b[K');
    this.drawn = '';
  }
}
