// Bundles, and runs, what a soak or a bench does where it stands: what is found beside a source (the camera process, the virtual
// USB port) must be found from the bundle too.
import path from 'node:path';
import { fileURLToPath, pathToFileURL } from 'node:url';
import { build } from 'vite';

/** This module is bundled into dist/tests/soak, or dist/tests/bench. */
const BUNDLES = path.dirname(fileURLToPath(import.meta.url));
const ROOT = path.resolve(BUNDLES, '../../..');

/** @param file a module of the tests, from tests/ on, without its extension @returns the bundle */
export async function bundled(file: string): Promise<string> {
  const name = path.basename(file);
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
      ssr: path.join(ROOT, 'tests', `${file}.ts`),
      outDir: BUNDLES,
      emptyOutDir: false,
      minify: false,
      target: 'node20',
    },
  });
  return path.join(BUNDLES, `${name}.js`);
}

/** @param file as bundled() takes it @returns what it exports, once it has run */
export async function runBundled<T = unknown>(file: string): Promise<T> {
  return import(pathToFileURL(await bundled(file)).href);
}
