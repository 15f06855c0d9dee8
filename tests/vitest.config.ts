import { configDefaults, defineConfig } from 'vitest/config';

/** What measures: nothing else runs beside it. */
const ALONE = ['tests/unit/learn.test.ts', 'tests/unit/speed.test.ts', 'tests/browser/pace.test.ts'];
/** Each of these works at several things at a time. */
const TWO_AT_A_TIME = [
  'tests/faults/**/*.test.ts',
  'tests/resume/**/*.test.ts',
  'tests/wire/fuzz.test.ts',
  'tests/unit/attacks.test.ts',
];
const ALL = ['tests/**/*.test.ts'];

export default defineConfig({
  test: {
    root: '.',
    globalSetup: ['tests/global-set-up.ts'],
    // The exposure is what is looked at, and small pictures are made sooner; where the picture counts, the test asks for a full one.
    env: { EVENRUNG_PRACTICE_PICTURE: 'small' },
    reporters: [['default', { summary: false }], './tests/closing-line.ts'],
    // Whatever starts processes takes its time on a small machine.
    testTimeout: 60_000,
    hookTimeout: 60_000,
    projects: [
      {
        extends: true,
        test: {
          name: 'side by side',
          include: ALL,
          exclude: [...configDefaults.exclude, ...ALONE, ...TWO_AT_A_TIME],
          // Most of a test that starts processes is waiting.
          maxWorkers: 4,
          sequence: { groupOrder: 0 },
        },
      },
      {
        extends: true,
        test: { name: 'two at a time', include: TWO_AT_A_TIME, maxWorkers: 2, sequence: { groupOrder: 1 } },
      },
      {
        extends: true,
        test: { name: 'alone', include: ALONE, maxWorkers: 1, sequence: { groupOrder: 2 } },
      },
    ],
  },
});
