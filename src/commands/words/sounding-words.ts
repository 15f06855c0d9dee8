// A sounding for a person at a terminal of 80 columns: each test frame as it is looked at, and in the end the set that is proposed, and why.
import { withMinus } from '../../../shared/ev.js';
import type { Proposal, SoundingView, TestFrame } from '../../../shared/sounding.js';
import { percent } from '../../plan/index.js';
import { counted } from '../options/options.js';
import { wrapped } from '../process.js';

/** Prints the news of a sounding as it goes on. */
export function soundingPrinter(print: (line: string) => void): (view: SoundingView) => void {
  let told = 0;
  let isBegun = false;
  return ({ most, frames }) => {
    if (!isBegun) print(`Evenrung fires at most ${most} test frames, and keeps none of them.`);
    isBegun = true;
    for (const frame of frames.slice(told)) {
      if (frame.lost === null) break;
      print(testFrameInWords(frame));
      told += 1;
    }
  };
}

function testFrameInWords({ number, shutter, lost }: TestFrame): string {
  const time = shutter === null ? '' : `${shutter} s`;
  const words = lost === null ? '' : `${percent(lost.bright)} too bright, ${percent(lost.dark)} too dark`;
  return `  ${String(number).padStart(2)}  ${time.padEnd(10)}  ${words}`;
}

/** @returns lines, none longer than 80 characters but for the command, ending in a newline */
export function proposalInWords(proposal: Proposal): string {
  const { frames, passes, set, span, seconds, darkest, brightest, caution, command } = proposal;
  const base = set.base === undefined ? '' : `, base exposure ${set.base} s`;
  const lines = [
    '',
    `${counted(frames, 'frame', 'frames')} in ${counted(passes, 'pass', 'passes')}${base}, ${withMinus(set.from)} to ${withMinus(set.to)} EV, about ${Math.ceil(seconds)} s`,
    ...(frames === 1 ? [] : [`span ${Number(span.toFixed(2))} EV, a step of ${set.step} EV`]),
    '',
    ...wrapped(darkest.sentence, '  '),
    ...wrapped(brightest.sentence, '  '),
    ...(caution === null ? [] : ['', ...wrapped(`caution: ${caution}`, '         ')]),
    '',
    'To fire it:',
    `  ${command}`,
  ];
  return `${lines.join('\n')}\n`;
}
