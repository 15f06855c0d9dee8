// `npm run soak -- mutants`: those of tests/pure that are about the rooms that it changes, and take no second.
import { defineConfig } from 'vitest/config';
import { TAGS } from './vitest.config.js';

const ABOUT = [
  'assign',
  'assign-decisions',
  'bulb',
  'dialects',
  'ev',
  'exposure',
  'exposure-edges',
  'file-sizes',
  'frames',
  'from-before',
  'judge',
  'judgements',
  'light-ratios',
  'marks',
  'readings',
  'two-files',
];

export default defineConfig({
  test: {
    root: '.',
    include: ABOUT.map((name) => `tests/pure/${name}.test.ts`),
    env: { EVENRUNG_PRACTICE_PICTURE: 'small', EVENRUNG_LIGHT: 'off' },
    tags: TAGS,
    testTimeout: 60_000,
  },
});
