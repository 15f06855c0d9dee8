// The files of the built panel over HTTP. The build puts a compressed copy beside each file, so that nothing
// is compressed while a run is under way.
import fastifyStatic, { type SetHeadersResponse } from '@fastify/static';
import type { FastifyInstance } from 'fastify';

/** The build puts a hash of their content into their names. */
const NEVER_CHANGES = /[\\/]assets[\\/][^\\/]+$/;

/** @param folder the folder of the built panel */
export async function addPanel(app: FastifyInstance, folder: string): Promise<void> {
  await app.register(fastifyStatic, {
    root: folder,
    preCompressed: true,
    cacheControl: false,
    setHeaders: tellHowLong,
  });
}

function tellHowLong(reply: SetHeadersResponse, file: string): void {
  // One address has several encodings: a cache must keep them apart. Their ETags differ as well.
  reply.setHeader('vary', 'accept-encoding');
  const isForGood = NEVER_CHANGES.test(file);
  reply.setHeader('cache-control', isForGood ? 'public, max-age=31536000, immutable' : 'no-cache');
}
