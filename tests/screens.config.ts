// `npm run screens`: pictures of every screen of the panel, for somebody to look at.
import { defineConfig } from 'vitest/config';

export default defineConfig({
  test: {
    root: '.',
    globalSetup: ['tests/global-set-up.ts'],
    include: ['tests/browser/take-screens.ts'],
    testTimeout: 120_000,
    hookTimeout: 120_000,
  },
});
