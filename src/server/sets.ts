// The sets that were fired, over HTTP: their list, their pictures and files, new names, and frames that are
// made again. Only the journal says which file is handed out, never a request; and no file is handed out that
// is not in the folder of its set.
import { stat } from 'node:fs/promises';
import path from 'node:path';
import type { FastifyInstance, FastifyReply, FastifyRequest } from 'fastify';
import { z } from 'zod';
import { EvenrungError } from '../../shared/errors.js';
import { againSchema, extendSchema, relabelSchema, setsQuerySchema } from '../../shared/kept.js';
import type { FrameView } from '../../shared/state.js';
import { CONTACT_SHEET, COVERAGE_MAP, fileInside, PREVIEW, shownFilesOf } from '../frames/index.js';
import type { JournalReader } from '../journal/index.js';
import type { Station } from '../station/index.js';
import { expectNothing, readFields } from './fields.js';
import { FramePictures, type KeptFile } from './frame-pictures.js';
import { keptSetDetail, keptSets, keptSetView, mustKnow } from './kept-views.js';
import { visitorOf } from './visitor.js';

export interface SetsOptions {
  readonly station: Station;
  /** If it is left out, there are no sets. */
  readonly journal?: JournalReader | undefined;
}

/** Pictures of a set as a whole, by the ends of their addresses. */
const BESIDE_FRAMES = [
  ['contact-sheet', CONTACT_SHEET],
  ['preview', PREVIEW],
  ['coverage', COVERAGE_MAP],
] as const;

const setParamsSchema = z.strictObject({ id: z.string() });
const frameParamsSchema = z.strictObject({ id: z.string(), frame: z.coerce.number().int().min(1) });

/** Checked each time, since a frame that was made again has another picture. */
const CACHED = 'private, no-cache';

export function addSets(app: FastifyInstance, { station, journal }: SetsOptions): void {
  const pictures = new FramePictures();

  app.get('/api/sets', async (request) => {
    const query = readFields(setsQuerySchema, request.query);
    return journal === undefined ? { sets: [], next: null } : keptSets(journal, query);
  });

  app.get('/api/sets/:id', async (request) => keptSetDetail(journal, idIn(request), station));

  app.patch('/api/sets/:id', async (request) => {
    const id = idIn(request);
    await station.relabel(id, readFields(relabelSchema, request.body));
    return keptSetView(journal, id);
  });

  app.post('/api/sets/:id/again', async (request, reply) => {
    const chosen = readFields(againSchema, request.body);
    const run = await station.again(mustKnow(journal, idIn(request)).id, chosen, visitorOf(request).name);
    return reply.code(202).send({ run: run.id });
  });

  app.post('/api/sets/:id/complete', async (request, reply) => {
    expectNothing(request.body);
    const run = await station.complete(mustKnow(journal, idIn(request)).id, visitorOf(request).name);
    return reply.code(202).send({ run: run.id });
  });

  app.post('/api/sets/:id/extend', async (request, reply) => {
    const by = readFields(extendSchema, request.body ?? {});
    const run = await station.extend(mustKnow(journal, idIn(request)).id, by, visitorOf(request).name);
    return reply.code(202).send({ run: run.id });
  });

  app.post('/api/sets/:id/fetch', async (request, reply) => {
    expectNothing(request.body);
    const run = await station.fetch(mustKnow(journal, idIn(request)).id, visitorOf(request).name);
    return reply.code(202).send({ run: run.id });
  });

  for (const [address, file] of BESIDE_FRAMES)
    app.get(`/api/sets/:id/${address}`, async (request, reply) => {
      const { folder } = mustKnow(journal, idIn(request));
      if (folder === null) throw nothingStored();
      return sendWhole(reply, await fileInside(folder, file));
    });

  app.get('/api/sets/:id/frames/:frame/picture', async (request, reply) => {
    const file = await shownFile(journal, request);
    if (isJpeg(file)) return sendWhole(reply, file);
    const kept = await tagged(file);
    return sendMade(request, reply, kept, () => pictures.preview(kept));
  });

  app.get('/api/sets/:id/frames/:frame/thumbnail', async (request, reply) => {
    const kept = await tagged(await shownFile(journal, request));
    return sendMade(request, reply, kept, () => pictures.small(kept));
  });

  app.get('/api/sets/:id/frames/:frame/file', async (request, reply) =>
    sendFile(reply, await ownFile(journal, request)),
  );

  app.get('/api/sets/:id/frames/:frame/partner', async (request, reply) =>
    sendFile(reply, await partnerFile(journal, request)),
  );
}

/** Sends a file to be saved under its own name. */
function sendFile(reply: FastifyReply, file: string): FastifyReply {
  const name = path.basename(file);
  // The library's types leave out `root`.
  const from = { root: path.dirname(file), cacheControl: false };
  return reply.header('cache-control', CACHED).download(name, name, from);
}

/** Sends a file with a tag and a date, or the parts of it that are asked for. */
function sendWhole(reply: FastifyReply, file: string): FastifyReply {
  return reply
    .header('cache-control', CACHED)
    .sendFile(path.basename(file), path.dirname(file), { cacheControl: false });
}

/** A picture that is made from a file is as old as that file. */
async function sendMade(
  request: FastifyRequest,
  reply: FastifyReply,
  { tag }: KeptFile,
  make: () => Promise<Buffer>,
): Promise<FastifyReply> {
  void reply.headers({ 'cache-control': CACHED, etag: tag });
  const known = request.headers['if-none-match']?.split(',').map((one) => one.trim().replace(/^W\//, ''));
  if (known?.includes(tag)) return reply.code(304).send();
  return reply.type('image/jpeg').send(await make());
}

interface FoundFrame {
  readonly view: FrameView;
  readonly folder: string;
}

/** @returns a frame that has a file @throws EvenrungError no-such-set, not-found */
function frameIn(journal: JournalReader | undefined, request: FastifyRequest): FoundFrame {
  const params = frameParamsSchema.safeParse(request.params);
  if (!params.success) throw new EvenrungError('not-found', 'There is no frame of that number.');
  const { id, frame } = params.data;
  const set = mustKnow(journal, id);
  const found = set.frames.find(({ view }) => view.number === frame);
  if (found === undefined) throw new EvenrungError('not-found', `The set has no frame ${frame}.`);
  if (set.folder === null) throw nothingStored();
  if (found.view.file === null)
    throw new EvenrungError('not-found', `Frame ${frame} is missing, or has no file in the set.`);
  return { view: found.view, folder: set.folder };
}

/** @throws EvenrungError no-such-set, not-found */
async function ownFile(journal: JournalReader | undefined, request: FastifyRequest): Promise<string> {
  const { view, folder } = frameIn(journal, request);
  return fileInside(folder, view.file ?? '');
}

/** @throws EvenrungError no-such-set, not-found */
async function partnerFile(journal: JournalReader | undefined, request: FastifyRequest): Promise<string> {
  const { view, folder } = frameIn(journal, request);
  if (view.partner?.state === 'there') return fileInside(folder, view.partner.file);
  throw new EvenrungError('not-found', `Frame ${view.number} has no second file in the set.`);
}

/**
 * The file to show: of two, the JPEG, or the other one if the JPEG is gone.
 * @throws EvenrungError no-such-set, not-found
 */
async function shownFile(journal: JournalReader | undefined, request: FastifyRequest): Promise<string> {
  const { view, folder } = frameIn(journal, request);
  const files = shownFilesOf(view);
  for (const { file } of files) {
    const found = await fileInside(folder, file).catch(() => null);
    if (found !== null) return found;
  }
  return fileInside(folder, files[0]?.file ?? '');
}

async function tagged(file: string): Promise<KeptFile> {
  const { size, mtimeMs } = await stat(file);
  return { path: file, tag: `"${size.toString(16)}-${Math.round(mtimeMs).toString(16)}"` };
}

const isJpeg = (file: string): boolean => /\.jpe?g$/i.test(file);

const idIn = (request: FastifyRequest): string => readFields(setParamsSchema, request.params).id;

const nothingStored = (): EvenrungError =>
  new EvenrungError('not-found', 'This set has no folder: nothing of it was stored.');
