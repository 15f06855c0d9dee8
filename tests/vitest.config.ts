import { readdirSync, readFileSync } from 'node:fs';
import { configDefaults, defineConfig } from 'vitest/config';

/** Each of these works at several things at a time. */
const TWO_AT_A_TIME = [
  'tests/faults/**/*.test.ts',
  'tests/resume/**/*.test.ts',
  'tests/wire/fuzz.test.ts',
  'tests/server/attacks.test.ts',
];
/** @returns the tests in which this is found */
export const filesWith = (text: RegExp): string[] =>
  readdirSync('tests', { recursive: true, encoding: 'utf8' })
    .filter((name) => name.endsWith('.test.ts'))
    .map((name) => `tests/${name}`)
    .filter((file) => text.test(readFileSync(file, 'utf8')));
/** They put other modules in the place of real ones, which the tests after them must not find. */
const WITH_STAND_INS = filesWith(/\bvi\.(?:do)?Mock\(/i);
export const TAGS = [{ name: 'pace', description: 'measures the machine: see tests/pace.ts' }];
const ALL = ['tests/**/*.test.ts'];
// Most of a test that starts processes is waiting.
const SIDE_BY_SIDE = { maxWorkers: 6, sequence: { groupOrder: 0 } };

export default defineConfig({
  test: {
    root: '.',
    globalSetup: ['tests/global-set-up.ts'],
    // The exposure is what is looked at, and small pictures are made sooner; where the picture counts, the test asks for a full one.
    env: { EVENRUNG_PRACTICE_PICTURE: 'small', EVENRUNG_LIGHT: 'off', EVENRUNG_GIVE_WAY: 'no' },
    tags: TAGS,
    reporters: [['default', { summary: false }], './tests/closing-line.ts', './tests/ways-taken.ts'],
    setupFiles: ['tests/ways-seen.ts'],
    // Whatever starts processes takes its time on a small machine.
    testTimeout: 60_000,
    hookTimeout: 60_000,
    expect: { poll: { timeout: 20_000 } },
    projects: [
      {
        extends: true,
        test: {
          name: 'side by side',
          include: ALL,
          exclude: [...configDefaults.exclude, ...TWO_AT_A_TIME, ...WITH_STAND_INS],
          // A process loads what it tests once, not anew for each file.
          isolate: false,
          ...SIDE_BY_SIDE,
        },
      },
      {
        extends: true,
        test: { name: 'with stand-ins', include: WITH_STAND_INS, ...SIDE_BY_SIDE },
      },
      {
        extends: true,
        test: { name: 'two at a time', include: TWO_AT_A_TIME, maxWorkers: 2, sequence: { groupOrder: 1 } },
      },
    ],
  },
});
