// `npm run quick` and `npm run watch`: the pure tests. Nothing is built before them, and no file has a
// process of its own.
import { defineConfig } from 'vitest/config';
import { TAGS } from './vitest.config.js';

export default defineConfig({
  test: {
    root: '.',
    include: ['tests/pure/**/*.test.ts'],
    env: { EVENRUNG_PRACTICE_PICTURE: 'small', EVENRUNG_LIGHT: 'off' },
    reporters: [['default', { summary: false }], './tests/closing-line.ts'],
    tags: TAGS,
    isolate: false,
    maxWorkers: 2,
    // A machine that is busy with other things takes its time.
    testTimeout: 60_000,
    // They are read by tests, not imported.
    forceRerunTriggers: ['README.md', 'hardware-notes/**', 'web/src/style/**', 'web/*.html', 'web/tokens.md'],
  },
});
