// What `npm run soak -- mutants` changes, and the changes that nobody needs to notice, each with the reason.

export const ENOUGH_PERCENT = 85;

/** Globs: a room that is not there yet, or not any more, changes nothing. */
export const MUTATED: readonly string[] = [
  'src/exposure/**/*.ts',
  'src/frames/judge/judge.ts',
  'src/frames/judge/ratios.ts',
  'src/set/from-before.ts',
  'src/set/marks.ts',
  'src/set/assign.ts',
  'src/set/late.ts',
  'src/set/judgements.ts',
];

/** @property line a part of the line that was changed */
export const LEFT: readonly { readonly file: string; readonly line: string; readonly why: string }[] = [];
