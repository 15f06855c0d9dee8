// A plan for a person at a terminal of 80 columns: what it takes, a table of passes, and the ladder.
import { evInWords, formatEv, type Sixths } from '../../exposure/index.js';
import type { Pass, Plan, PlannedFrame } from '../../plan/index.js';
import { counted } from '../options/options.js';
import { NO_BREAK, wrapped } from '../process.js';

/** Columns of the ladder for passes, three characters each. */
const MOST_LANES = 14;

/** @returns lines, none longer than 80 characters, ending in a newline */
export function planInWords(plan: Plan): string {
  const notes = [
    ...plan.warnings.map((warning) => warning.message),
    ...(plan.provenLeast
      ? []
      : [
          `A better plan may exist; it would save at most ${plan.gapSeconds.toFixed(1)} s${plan.least === 'spread' ? ' of spread' : ''}.`,
        ]),
  ];
  const parts = [
    summary(plan),
    metered(plan),
    table(plan.passes),
    ladder(plan),
    notes.flatMap((note) => wrapped(`note: ${note}`, '      ')),
  ];
  return `${parts
    .filter((part) => part.length > 0)
    .map((part) => part.join('\n'))
    .join('\n\n')}\n`;
}

function summary({ offsets, passes, base, estimate, release }: Plan): string[] {
  const frames = counted(offsets.length, 'frame', 'frames');
  const inOneRelease = release === 'pass' ? `${passes.length === 1 ? '' : 'each '}from one release, ` : '';
  const head = `${frames} in ${counted(passes.length, 'pass', 'passes')}, ${inOneRelease}base exposure ${base.label} s, about ${Math.ceil(estimate.seconds)} s`;
  const details = [
    counted(estimate.actuations, 'shutter release', 'shutter releases'),
    ...(offsets.length > 1 && estimate.spreadSeconds !== null
      ? [`spread ${seconds(estimate.spreadSeconds)}`]
      : []),
    ...(offsets.length > 1
      ? [`neighbouring frames at most ${seconds(estimate.longestGapSeconds)} apart`]
      : []),
    ...(estimate.bytes === null ? [] : [`${Math.ceil(estimate.bytes / 1e6)} MB`]),
  ];
  return [head, details.join(', ')];
}

/** Where the readings fall that base and frames follow from. */
function metered({ readings }: Plan): string[] {
  if (readings === undefined) return [];
  const { darkest, brightest, room } = readings;
  return [darkest, brightest, room].flatMap(({ sentence }) => wrapped(sentence, '  '));
}

function table(passes: readonly Pass[]): string[] {
  const rows = passes.flatMap((pass, index) => {
    const head = `${String(index + 1).padStart(4)}  ${evInWords(pass.centre).padEnd(7)} ${(pass.shape === null ? '-' : formatEv(pass.shape.step, false)).padEnd(6)} `;
    return wrapped(
      `${head.replaceAll(' ', NO_BREAK)}${pass.frames.map(fired).join(', ')}`,
      ' '.repeat(head.length),
    );
  });
  return ['pass  centre  step   fires, in this order', ...rows];
}

/** A frame in round brackets comes with its pass and was not asked for. */
function fired({ offset, wanted, shutter }: PlannedFrame): string {
  const words = `${evInWords(offset)}: ${shutter.label} s`.replaceAll(' ', NO_BREAK);
  return wanted ? words : `(${words})`;
}

/** Rungs from the brightest at the top to the darkest at the foot; behind each the number of its pass, its centre in brackets. */
function ladder({ passes, offsets }: Plan): string[] {
  const lanes = passes.length <= MOST_LANES;
  const rungs = [...offsets].reverse().map((wanted) => {
    const index = passes.findIndex((pass) => pass.frames.some((frame) => makes(frame, wanted)));
    const frame = passes[index]?.frames.find((candidate) => makes(candidate, wanted));
    const isCentre = frame?.offset === passes[index]?.centre;
    const mark = isCentre ? `[${index + 1}]` : ` ${index + 1} `;
    const time = `${frame?.shutter.label ?? '?'} s`;
    return `  ${ev(wanted).padStart(7)}  |${'='.repeat(10)}|  ${time.padEnd(10)}${' '.repeat(lanes ? index * 3 : 0)}${mark}`.trimEnd();
  });
  return ['EV, brightest at the top           time      pass, [n] at its centre', ...rungs];
}

const makes = (frame: PlannedFrame, offset: Sixths): boolean => frame.wanted && frame.offset === offset;

const ev = (offset: Sixths): string => evInWords(offset);

const seconds = (value: number): string => `${value < 10 ? value.toFixed(1) : Math.ceil(value)} s`;
