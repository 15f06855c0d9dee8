// `npm run bench -- pace`: the tests that measure, one after the other, and judged.
import { defineConfig } from 'vitest/config';
import { filesWith, TAGS } from './vitest.config.js';

export default defineConfig({
  test: {
    root: '.',
    globalSetup: ['tests/global-set-up.ts'],
    env: { EVENRUNG_PRACTICE_PICTURE: 'small', EVENRUNG_LIGHT: 'off', EVENRUNG_PACE: 'judged' },
    include: filesWith(/\bPACED\b/),
    tags: TAGS,
    reporters: [['default', { summary: false }]],
    testTimeout: 120_000,
    hookTimeout: 60_000,
    maxWorkers: 1,
  },
});
