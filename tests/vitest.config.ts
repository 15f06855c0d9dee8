import { defineConfig } from 'vitest/config';

export default defineConfig({
  test: {
    root: '.',
    include: ['tests/**/*.test.ts'],
    globalSetup: ['tests/global-set-up.ts'],
    reporters: [['default', { summary: false }], './tests/closing-line.ts'],
    // Whatever starts processes takes its time on a small machine.
    testTimeout: 30_000,
    hookTimeout: 30_000,
    // Most of a test that starts processes is waiting.
    maxWorkers: 2,
  },
});
