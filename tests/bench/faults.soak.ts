// `npm run soak -- faults`: every cell of the table of faults, and each of the nine frames once with the camera process killed
// and once with the cable pulled. Prints the whole table, also what is left out and why. `npm run soak -- faults hang pulled`
// works through these faults alone.
import path from 'node:path';
import { fileURLToPath, pathToFileURL } from 'node:url';
import { build } from 'vite';

/** This module is bundled into dist/tests/soak. */
const BUNDLES = path.dirname(fileURLToPath(import.meta.url));
const ROOT = path.resolve(BUNDLES, '../../..');
const NAME = 'every-cell';

// Bundled apart: what is found beside a source (the camera process, the virtual USB port) must be found from here too.
await build({
  configFile: false,
  logLevel: 'warn',
  publicDir: false,
  plugins: [
    {
      name: 'where-the-source-is',
      transform: (code, id) =>
        id.startsWith(ROOT) && !id.includes('node_modules') && code.includes('import.meta.url')
          ? code.replaceAll('import.meta.url', JSON.stringify(pathToFileURL(id).href))
          : null,
    },
  ],
  build: {
    ssr: path.join(ROOT, 'tests/faults', `${NAME}.ts`),
    outDir: BUNDLES,
    emptyOutDir: false,
    minify: false,
    target: 'node20',
  },
});
await import(pathToFileURL(path.join(BUNDLES, `${NAME}.js`)).href);
