// Runs what is too long for `npm test`: `npm run bench -- NAME` prints times and ratios, `npm run soak -- NAME` works through
// a long, seeded, bounded loop and exits with 1 where anything was wrong. The script is bundled first, since Node 20 reads no
// TypeScript.
import { existsSync, readdirSync } from 'node:fs';
import path from 'node:path';
import { fileURLToPath, pathToFileURL } from 'node:url';
import { build } from 'vite';

const here = path.dirname(fileURLToPath(import.meta.url));
const [kind = 'bench', name = ''] = process.argv.slice(2);
const entry = path.join(here, `${name}.${kind}.ts`);
if (name === '' || !existsSync(entry)) {
  const names = readdirSync(here).flatMap(
    (file) => new RegExp(`^(.+)\\.${kind}\\.ts$`).exec(file)?.[1] ?? [],
  );
  process.stderr.write(`npm run ${kind} -- NAME, where NAME is one of: ${names.join(', ')}\n`);
  process.exit(2);
}
const outDir = path.resolve(here, '../../dist/tests', kind);
await build({
  configFile: false,
  logLevel: 'warn',
  publicDir: false,
  build: { ssr: entry, outDir, emptyOutDir: false, minify: false, target: 'node20' },
});
await import(pathToFileURL(path.join(outDir, `${name}.${kind}.js`)).href);
