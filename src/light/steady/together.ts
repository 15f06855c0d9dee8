// What the comparisons of neighbours amount to for the whole set: which frames lie beside the others, which
// are softer, in which of them something moved, and which of them are worth firing again. Pure.
import { type LightMark, pixels } from './marks.js';

/** A frame as it was compared with the one nearest in exposure. */
export interface ComparedFrame {
  readonly number: number;
  /** Null if it was compared with none. */
  readonly steadiness: {
    readonly against: number;
    /** Pixels of the picture. */
    readonly shift: { readonly right: number; readonly down: number };
    readonly blur: number;
  } | null;
  /** The marks from this comparison alone: only differences beyond the error of measurement. */
  readonly marks: readonly LightMark[];
}

export interface Together {
  readonly marks: readonly LightMark[];
  /** Numbers of frames, ascending. */
  readonly again: readonly number[];
}

/**
 * Frames that are fired again will lie where the camera is at the end. So the frames that were fired last are
 * the ones that the others should lie on, unless only the very last one lies elsewhere.
 * @param frames in any order
 * @param firedLast numbers of the frames in the order in which they were fired, the last one last
 */
export function together(frames: readonly ComparedFrame[], firedLast: readonly number[]): Together {
  const moved = apartFrom(groupsOf(frames, 'camera-moved', shiftOf), (group) => standing(group, firedLast));
  const soft = softer(groupsOf(frames, 'less-sharp', blurOf));
  const marks: LightMark[] = [
    ...moved.map(({ number, away }) => ({
      ...{ code: 'camera-moved' as const, number },
      sentence: `The camera moved: this picture is shifted by ${pixels(Math.hypot(...away))} against most of the others.`,
    })),
    ...soft.map(({ number, by }) => ({
      ...{ code: 'less-sharp' as const, number },
      sentence: `It is softer than the sharpest frames, by a blur of ${pixels(by)}: check the focus, and that nothing shakes the camera.`,
    })),
    ...frames.flatMap((frame) => frame.marks.filter(({ code }) => code === 'subject-moved')),
  ];
  return { marks, again: worthFiringAgain(marks, frames.length) };
}

/** Something that moves in most of the frames will move in those that are fired again. */
function worthFiringAgain(marks: readonly LightMark[], frames: number): number[] {
  const of = (code: LightMark['code']) => marks.flatMap((mark) => (mark.code === code ? [mark.number] : []));
  const subject = of('subject-moved');
  const isPassing = subject.length * 2 < frames;
  const again = [...of('camera-moved'), ...of('less-sharp'), ...(isPassing ? subject : [])];
  return [...new Set(again)].sort((a, b) => a - b);
}

// --- groups of frames between which nothing was found

interface Group {
  readonly numbers: number[];
  /** Counted from the first frame of all. */
  readonly at: Vector;
}

type Vector = readonly [number, number];
const NOWHERE: Vector = [0, 0];
const shiftOf = ({ shift }: NonNullable<ComparedFrame['steadiness']>): Vector => [shift.right, shift.down];
/** Blurs add up as their squares do. */
const blurOf = ({ blur }: NonNullable<ComparedFrame['steadiness']>): Vector => [
  Math.sign(blur) * blur ** 2,
  0,
];

/**
 * Only marked shifts count, so that errors of measurement do not add up from frame to frame.
 * @returns groups of frames that lie on each other; frames that nothing ties to the others are in none
 */
function groupsOf(
  frames: readonly ComparedFrame[],
  code: LightMark['code'],
  measure: (found: NonNullable<ComparedFrame['steadiness']>) => Vector,
): Group[] {
  const found: Vector[] = [];
  const links = new Map<number, { readonly to: number; readonly by: Vector }[]>();
  const link = (from: number, to: number, by: Vector) =>
    links.set(from, [...(links.get(from) ?? []), { to, by }]);
  for (const { number, steadiness, marks } of frames) {
    if (steadiness === null) continue;
    const isFound = marks.some((mark) => mark.code === code);
    const [right, down] = isFound ? measure(steadiness) : NOWHERE;
    if (isFound) found.push([right, down]);
    link(steadiness.against, number, [right, down]);
    link(number, steadiness.against, [-right, -down]);
  }
  const [first] = links.keys();
  const at = new Map<number, Vector>(first === undefined ? [] : [[first, NOWHERE]]);
  for (const [number, from] of at)
    for (const { to, by } of links.get(number) ?? [])
      if (!at.has(to)) at.set(to, [from[0] + by[0], from[1] + by[1]]);
  const near = Math.min(...found.map((by) => Math.hypot(...by)), Number.POSITIVE_INFINITY) / 2;
  const groups: Group[] = [];
  for (const [number, place] of at) {
    // A camera that came back counts as being where it was before, as near as can be told.
    const group = groups.find(({ at: there }) => Math.hypot(there[0] - place[0], there[1] - place[1]) < near);
    if (group === undefined) groups.push({ numbers: [number], at: place });
    else group.numbers.push(number);
  }
  return groups;
}

/** @returns the group that the others are held against */
function standing(groups: readonly Group[], firedLast: readonly number[]): Group | undefined {
  const last = firedLast.findLast((number) => groups.some(({ numbers }) => numbers.includes(number)));
  const latest = groups.find(({ numbers }) => last !== undefined && numbers.includes(last));
  if (latest !== undefined && latest.numbers.length > 1) return latest;
  return groups.toSorted((a, b) => b.numbers.length - a.numbers.length)[0];
}

function apartFrom(
  groups: readonly Group[],
  choose: (groups: readonly Group[]) => Group | undefined,
): { readonly number: number; readonly away: Vector }[] {
  const there = choose(groups);
  if (there === undefined) return [];
  return groups.flatMap(({ numbers, at }) =>
    at === there.at
      ? []
      : numbers.map((number) => ({ number, away: [at[0] - there.at[0], at[1] - there.at[1]] as const })),
  );
}

function softer(groups: readonly Group[]): { readonly number: number; readonly by: number }[] {
  const sharpest = Math.min(...groups.map(({ at }) => at[0]));
  return groups.flatMap(({ numbers, at }) =>
    at[0] === sharpest ? [] : numbers.map((number) => ({ number, by: Math.sqrt(at[0] - sharpest) })),
  );
}
