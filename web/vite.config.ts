// Builds the panel, its worker, and the page that the daemon puts its notes into. Their files must need nothing but this server: no
// inline scripts, no data URLs, no other hosts, so that the strictest content policy fits.
import { fileURLToPath } from 'node:url';
import { build, defineConfig, type Plugin } from 'vite';
import { compressed, FIRST_LOOK, installable, listForWorker, WORKER } from './phone-files.js';

const here = (relative: string) => fileURLToPath(new URL(relative, import.meta.url));

/**
 * src/first-look.ts, in one piece: a plain script that the page waits for, so that it has its look before anything is painted. A
 * module would come after the first paint.
 */
const firstLook: Plugin = {
  name: 'first-look',
  async generateBundle() {
    const built = await build({
      configFile: false,
      publicDir: false,
      logLevel: 'warn',
      build: {
        write: false,
        target: 'es2022',
        rolldownOptions: { input: here('src/first-look.ts'), output: { format: 'iife' } },
      },
    });
    const outputs = (Array.isArray(built) ? built : [built]).flatMap((each) =>
      'output' in each ? each.output : [],
    );
    const [script, ...others] = outputs;
    if (script?.type !== 'chunk' || others.length > 0) throw new Error('The first look is one script.');
    this.emitFile({ type: 'asset', fileName: FIRST_LOOK, source: script.code });
  },
};

export default defineConfig({
  root: here('.'),
  base: '/',
  publicDir: false,
  plugins: [
    firstLook,
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
