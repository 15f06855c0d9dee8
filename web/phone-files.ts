// What the build makes beside the panel itself: the manifest and the icons that a phone installs it by, the list of files that its
// worker keeps, and a compressed copy of each file, so that the daemon compresses nothing while a run goes on. It must not know what
// the panel shows.
import { createHash } from 'node:crypto';
import { readdir, readFile, writeFile } from 'node:fs/promises';
import path from 'node:path';
import { promisify } from 'node:util';
import { brotliCompress, gzip, constants as zlib } from 'node:zlib';
import sharp from 'sharp';
import type { Plugin } from 'vite';

export interface Sources {
  /** The ladder sign. */
  readonly sign: string;
  /** Holds the colours of the ground. */
  readonly tokens: string;
}

const NAME = 'Evenrung';

/** Written into the worker in place of these names. */
const FILES = 'PANEL_FILES';
const BUILD = 'PANEL_BUILD';
export const WORKER = 'worker.js';

/** The panel is this page and what lies below `assets/`; the notes are not kept. */
const PAGE = 'index.html';
const NOT_THE_PANEL = /^assets\/notes-/;

export function installable({ sign, tokens }: Sources): Plugin {
  return {
    name: 'evenrung-installable',
    apply: 'build',
    async buildStart() {
      const [drawn, colours] = [await readFile(sign, 'utf8'), await readFile(tokens, 'utf8')];
      for (const { fileName, size, isMaskable } of ICONS) {
        const source = await sharp(Buffer.from(isMaskable ? maskable(drawn) : drawn), { density: 72 * 16 })
          .resize(size, size)
          .png({ compressionLevel: 9, palette: true })
          .toBuffer();
        this.emitFile({ type: 'asset', fileName, source });
      }
      this.emitFile({
        type: 'asset',
        fileName: 'manifest.webmanifest',
        source: `${JSON.stringify(manifest(darkestGround(colours)), null, 2)}\n`,
      });
    },
  };
}

const ICONS = [
  { fileName: 'icon-192.png', size: 192, isMaskable: false },
  { fileName: 'icon-512.png', size: 512, isMaskable: false },
  { fileName: 'icon-maskable-192.png', size: 192, isMaskable: true },
  { fileName: 'icon-maskable-512.png', size: 512, isMaskable: true },
] as const;

/** @param ground is what is seen before anything is drawn: at night nothing bright */
const manifest = (ground: string) => ({
  id: '/',
  name: NAME,
  short_name: NAME,
  description: 'Bracketed sets from a tethered camera',
  lang: 'en',
  start_url: '/',
  scope: '/',
  display: 'standalone',
  theme_color: ground,
  background_color: ground,
  icons: ICONS.map(({ fileName, size, isMaskable }) => ({
    src: `/${fileName}`,
    sizes: `${size}x${size}`,
    type: 'image/png',
    purpose: isMaskable ? 'maskable' : 'any',
  })),
});

/** Whatever shape it is cut to, the ladder stands in the circle that is kept: four fifths of the width. */
function maskable(drawn: string): string {
  const wider = drawn
    .replace('viewBox="0 0 32 32"', 'viewBox="-4 -4 40 40"')
    .replace(/<rect width="32" height="32" rx="\d+"/, '<rect x="-4" y="-4" width="40" height="40"');
  if (!wider.includes('viewBox="-4') || !wider.includes('x="-4"'))
    throw new Error('The sign is not drawn as the build knows it.');
  return wider;
}

function darkestGround(tokens: string): string {
  const grounds = [...tokens.matchAll(/--ground:([^;]*);/g)].flatMap(([, value = '']) =>
    [...value.matchAll(/#[0-9a-f]{6}\b/gi)].map(([colour]) => colour),
  );
  const [darkest] = grounds.sort((one, other) => lightness(one) - lightness(other));
  if (darkest === undefined) throw new Error('There is no colour of the ground among the tokens.');
  return darkest;
}

const lightness = (colour: string) =>
  [1, 3, 5].reduce((sum, at) => sum + Number.parseInt(colour.slice(at, at + 2), 16), 0);

/** The worker is told what the panel consists of; another build is another list, and so another worker. */
export const FIRST_LOOK = 'first-look.js';

export function listForWorker(): Plugin {
  return {
    name: 'evenrung-list-for-worker',
    apply: 'build',
    enforce: 'post',
    generateBundle: {
      order: 'post',
      handler(_options, bundle) {
        const worker = bundle[WORKER];
        if (worker?.type !== 'chunk') throw new Error('The worker was not built.');
        const first = bundle[FIRST_LOOK];
        if (first?.type !== 'asset') throw new Error('The script of the first look was not built.');
        const files = Object.keys(bundle)
          .filter((name) => name.startsWith('assets/') && !NOT_THE_PANEL.test(name))
          .concat(FIRST_LOOK)
          .sort();
        // Its name does not change with what is in it.
        const hash = createHash('sha256').update(files.join('\n')).update(first.source);
        const page = bundle[PAGE];
        if (page?.type !== 'asset') throw new Error('The page was not built.');
        const build = hash.update(page.source).digest('hex').slice(0, 16);
        const written = worker.code
          .replaceAll(FILES, JSON.stringify(files.map((name) => `/${name}`)))
          .replaceAll(BUILD, JSON.stringify(build));
        if (written === worker.code) throw new Error('The worker does not ask for its list.');
        worker.code = written;
      },
    },
  };
}

/** Too small a file gains nothing, and pictures are compressed as they are. */
const SMALLEST_BYTES = 300;
const TEXT = /\.(html|js|css|svg|webmanifest)$/;

const [smallest, zipped] = [promisify(brotliCompress), promisify(gzip)];

export function compressed(): Plugin {
  return {
    name: 'evenrung-compressed',
    apply: 'build',
    async writeBundle({ dir }) {
      const folder = dir ?? '';
      for (const name of await readdir(folder, { recursive: true })) {
        if (!TEXT.test(name)) continue;
        const file = path.join(folder, name);
        const plain = await readFile(file);
        if (plain.length < SMALLEST_BYTES) continue;
        const quality = { [zlib.BROTLI_PARAM_QUALITY]: 11, [zlib.BROTLI_PARAM_SIZE_HINT]: plain.length };
        await writeFile(`${file}.br`, await smallest(plain, { params: quality }));
        await writeFile(`${file}.gz`, await zipped(plain, { level: 9 }));
      }
    },
  };
}
