// What an engine journals, tells, does on its link and writes, as lines that can be compared whole:
// everything that differs from run to run (ids, moments, sums) is removed. A picture is looked at while the
// next frame is fired, so its result may come a little earlier or later: it is placed right after the line on
// which the frame is stored.
import type { Transition } from '../../src/journal/index.js';

const ISO_MOMENT = /\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(?:\.\d+)?Z/g;

/** @returns the text without what differs from run to run */
export function withoutChance(text: string, names: ReadonlyMap<string, string>): string {
  let told = text;
  for (const [name, word] of names) told = told.replaceAll(name, word);
  return told
    .replace(ISO_MOMENT, '<moment>')
    .replace(/\b[0-9a-f]{64}\b/g, '<sum>')
    .replace(/"bytes":\s*\d+/g, '"bytes": 0')
    .replace(/"evenrung-[^"]*"|incoming\.\d+-\d+/g, '<arrival>')
    .replace(/\bset-\d{8}-\d{6}(?:-\d+)?\b/g, '<folder>')
    .replace(/"(at|total|largest|wallAheadMs)":\s*-?\d+/g, '"$1": 0')
    .replace(/"[^"]*\b(?:fall asleep|awake)\b[^"]*",?/g, '')
    .replaceAll(',]', ']')
    .replace(/\d{4}-\d\d-\d\d <hh:mm>|\d{4}-\d\d-\d\d \d\d:\d\d/g, '<day> <hh:mm>')
    .replace(/\d{4}-\d\d-\d\d[ _]\d\d-?\d\d(?:-?\d\d)?/g, '<day and time>')
    .replace(/\b([01]\d|2[0-3]):[0-5]\d\b/g, '<hh:mm>')
    .replace(/\b\d+ (s|min) (after|between)/g, '<n> $1 $2')
    .replace(/\b\d+ bytes\b/g, '<n> bytes')
    .replace(/"clipped":\s*\{[^}]*\}/g, '"clipped": "<shares>"')
    .replace(/"ev":\s*-?[\d.]+/g, '"ev": 0')
    .replace(/\b[\d.]+% of/g, '<share> of')
    .replace(/-?\d+\.\d{3,}(?:e-?\d+)?/g, (number) => String(Number(Number(number).toPrecision(3))));
}

interface Step {
  /** The frame that it is about; null if its place in the order is what counts. */
  readonly frame: number | null;
  readonly from: string | null;
  readonly to: string | null;
  readonly line: string;
}

/** @returns the lines, each outcome of a look right behind its frame's being stored */
export function inOrder(steps: readonly Step[]): string[] {
  const sorted: Step[] = [];
  for (const step of steps) {
    const isOutcome = step.frame !== null && step.from === 'stored';
    const stored = isOutcome
      ? sorted.findLastIndex(({ frame, to }) => frame === step.frame && to === 'stored')
      : -1;
    if (stored < 0) sorted.push(step);
    else sorted.splice(stored + 1, 0, step);
  }
  return sorted.map(({ line }) => line);
}

export const journalled = (transitions: readonly Transition[]): string[] =>
  inOrder(
    transitions.map(({ about, number, from, to, detail }) => ({
      frame: about === 'frame' ? number : null,
      from,
      to,
      line: `${about}${number === null ? '' : ` ${number}`}: ${from ?? '-'} -> ${to}${detail === null ? '' : ` ${JSON.stringify(detail)}`}`,
    })),
  );
