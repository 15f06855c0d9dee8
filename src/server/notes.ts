// The notes over HTTP: README.md and the pages of hardware-notes/, under /notes/ at the same relative paths
// as in the project, so that the links between them work unchanged. The pages are listed once, at the start,
// and each gets an address of its own: no address can name any other file. Drawings are sent within the pages
// that show them.
import { readdir, readFile } from 'node:fs/promises';
import path from 'node:path';
import type { FastifyInstance } from 'fastify';
import { EvenrungError } from '../../shared/errors.js';

/** Every address below this is a note. */
export const NOTES = '/notes/';

const FOLDER = 'hardware-notes';
const FIRST = `${FOLDER}/README.md`;
const PAGE = /^[A-Za-z0-9-]+\.md$/;
const DRAWING = /^[A-Za-z0-9-]+\.svg$/;
/** The page that the panel's build leaves as a frame for notes. */
const FRAME = 'notes.html';

export interface NotesOptions {
  /** The folder that holds README.md and hardware-notes/. */
  readonly notes: string;
  /** The folder of the built panel. */
  readonly panel: string;
}

export async function addNotes(app: FastifyInstance, { notes, panel }: NotesOptions): Promise<void> {
  const pages = new Set(await pagesIn(notes));
  for (const page of pages) {
    app.get(`${NOTES}${page}`, async (_request, reply) => {
      // Loaded only when somebody reads a note, so that the daemon starts without it.
      const { framed, rendered } = await import('./note-html.js');
      const [frame, source, drawings] = await Promise.all([
        readText(path.join(panel, FRAME)),
        readText(path.join(notes, page)),
        drawingsIn(notes),
      ]);
      const isPage = (address: string) => address.startsWith(NOTES) && pages.has(address.slice(NOTES.length));
      const drawingAt = (address: string) => drawings.get(address);
      const html = framed(frame, rendered(source, { address: `${NOTES}${page}`, isPage, drawingAt }));
      return reply.type('text/html; charset=utf-8').header('cache-control', 'no-cache').send(html);
    });
  }
  if (!pages.has(FIRST)) return;
  // README.md is the page that is shown for a folder elsewhere, too.
  for (const address of [NOTES, `${NOTES}${FOLDER}/`])
    app.get(address, async (_request, reply) => reply.redirect(`${NOTES}${FIRST}`));
}

/** @returns paths from the top of the project; none if there are no notes */
async function pagesIn(notes: string): Promise<string[]> {
  const top = (await filesIn(notes, PAGE)).filter((name) => name === 'README.md');
  const below = await filesIn(path.join(notes, FOLDER), PAGE);
  return [...top, ...below.map((name) => `${FOLDER}/${name}`)];
}

/** @returns the SVG of each drawing, by its address */
async function drawingsIn(notes: string): Promise<ReadonlyMap<string, string>> {
  const folder = path.join(notes, FOLDER);
  const names = await filesIn(folder, DRAWING);
  const found = names.map(
    async (name) => [`${NOTES}${FOLDER}/${name}`, await readText(path.join(folder, name))] as const,
  );
  return new Map(await Promise.all(found));
}

async function filesIn(folder: string, named: RegExp): Promise<string[]> {
  const entries = await readdir(folder, { withFileTypes: true }).catch(() => []);
  return entries.filter((entry) => entry.isFile() && named.test(entry.name)).map(({ name }) => name);
}

/** A file that has vanished since the start is not a page any more. */
const readText = (file: string): Promise<string> =>
  readFile(file, 'utf8').catch(() => {
    throw new EvenrungError('not-found', 'This page of the notes cannot be read.');
  });
