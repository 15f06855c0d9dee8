// The files of the built panel over HTTP. The build leaves a compressed copy beside each: nothing is compressed while a run goes on.
import fastifyStatic, { type SetHeadersResponse } from '@fastify/static';
import type { FastifyInstance } from 'fastify';

/** The build puts what they hold into their names. */
const NEVER_CHANGES = /[\\/]assets[\\/][^\\/]+$/;

/** @param folder of the built panel */
export async function addPanel(app: FastifyInstance, folder: string): Promise<void> {
  await app.register(fastifyStatic, {
    root: folder,
    preCompressed: true,
    cacheControl: false,
    setHeaders: tellHowLong,
  });
}

function tellHowLong(reply: SetHeadersResponse, file: string): void {
  // One address has several bodies: whoever keeps one must ask for which it is. Their ETags differ as they do.
  reply.setHeader('vary', 'accept-encoding');
  const isForGood = NEVER_CHANGES.test(file);
  reply.setHeader('cache-control', isForGood ? 'public, max-age=31536000, immutable' : 'no-cache');
}
