// Builds the panel, its worker, and the page that the daemon puts its notes into. Their files must need nothing but this server: no
// inline scripts, no data URLs, no other hosts, so that the strictest content policy fits.
import { fileURLToPath } from 'node:url';
import { defineConfig } from 'vite';
import { compressed, installable, listForWorker, WORKER } from './phone-files.js';

const here = (relative: string) => fileURLToPath(new URL(relative, import.meta.url));

export default defineConfig({
  root: here('.'),
  base: '/',
  publicDir: false,
  plugins: [
    installable({ sign: here('src/style/ladder.svg'), tokens: here('src/style/tokens.css') }),
    listForWorker(),
    compressed(),
  ],
  build: {
    outDir: here('../dist/web'),
    emptyOutDir: true,
    assetsInlineLimit: 0,
    modulePreload: { polyfill: false },
    target: 'es2022',
    rolldownOptions: {
      input: {
        index: here('index.html'),
        notes: here('notes.html'),
        worker: here('worker/worker.ts'),
      },
      output: {
        // A worker is found by its name, and has the whole panel below it.
        entryFileNames: ({ name }) => (name === 'worker' ? WORKER : 'assets/[name]-[hash].js'),
      },
    },
  },
});
