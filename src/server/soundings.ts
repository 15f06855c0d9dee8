// Soundings over HTTP: begun, stopped, and the small pictures of their test frames. The stream tells how a
// sounding goes.
import type { FastifyInstance } from 'fastify';
import { z } from 'zod';
import { EvenrungError } from '../../shared/errors.js';
import type { Station } from '../station/index.js';
import { expectNothing } from './fields.js';
import { visitorOf } from './visitor.js';

const paramsSchema = z.strictObject({ sounding: z.string(), frame: z.coerce.number().int().min(1) });

export function addSoundings(app: FastifyInstance, { station }: { readonly station: Station }): void {
  app.post('/api/sound', async (request, reply) => {
    const { id } = station.sound(request.body, visitorOf(request).name);
    return reply.code(202).send({ sounding: id });
  });

  app.post('/api/sound/stop', async (request, reply) => {
    expectNothing(request.body);
    station.stopSounding();
    return reply.code(202).send({});
  });

  app.post('/api/sound/put-away', async (request) => {
    expectNothing(request.body);
    station.putSoundingAway();
    return {};
  });

  app.get('/api/sound/:sounding/frames/:frame/thumbnail', async (request, reply) => {
    const { data } = paramsSchema.safeParse(request.params);
    const picture = data === undefined ? null : station.testFrame(data.sounding, data.frame);
    if (picture === null) throw new EvenrungError('not-found', 'There is no picture of this test frame.');
    return reply.type('image/jpeg').header('cache-control', 'private, max-age=3600, immutable').send(picture);
  });
}
