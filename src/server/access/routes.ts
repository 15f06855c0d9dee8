// Pairing and devices over HTTP. access.ts decides what a code opens; the needs that are stated here decide
// who may ask for what.
import type { FastifyInstance, FastifyRequest } from 'fastify';
import { z } from 'zod';
import {
  type DevicesAnswer,
  type Me,
  newPairingSchema,
  PAIR_FRAGMENT,
  type PairingAnswer,
  pairRequestSchema,
} from '../../../shared/access.js';
import { EvenrungError } from '../../../shared/errors.js';
import { expectNothing, readFields } from '../fields.js';
import type { Access } from './access.js';
import { writtenCookie } from './cookie.js';
import type { Door } from './door.js';
import type { Pairing } from './pairing.js';
import { codeAsPicture } from './qr.js';
import { addressOf } from './throttle.js';

/** The door on the network, once it is open. */
export interface OpenDoor {
  readonly addresses: readonly string[];
  readonly fingerprint: string | null;
}

export interface AccessRoutes {
  /** Null if the daemon listens on this computer only: then nobody is paired. */
  readonly access: Access | null;
  readonly door: Door;
  /** Null if the daemon listens on this computer only. */
  readonly network: () => OpenDoor | null;
}

const idSchema = z.strictObject({ id: z.uuid() });

export function addAccess(app: FastifyInstance, { access, door, network }: AccessRoutes): void {
  // For programs that watch over services; strangers are told nothing else.
  app.get('/api/health', { config: { needs: 'nothing' } }, async () => ({ ok: true }));

  app.get('/api/me', async ({ visitor }): Promise<Me> => {
    const { role, name } = visitor;
    if (role === null) throw new EvenrungError('not-paired', 'This device is not paired.');
    return { role, name, door: door.kind };
  });

  app.post('/api/pair', { config: { needs: 'nothing' } }, async (request, reply) => {
    const asked = readFields(pairRequestSchema, request.body);
    if (access === null) throw noNetwork();
    const { device, token } = await access.pair(asked, addressOf(request.ip), request.visitor.device);
    const me: Me = { role: device.role, name: device.name, door: door.kind };
    return reply.header('set-cookie', writtenCookie(token, door.scheme === 'https')).send(me);
  });

  app.get('/api/devices', { config: { needs: 'here' } }, async (): Promise<DevicesAnswer> => {
    const open = network();
    return {
      devices: access?.list() ?? [],
      network: open === null ? null : { addresses: [...open.addresses], fingerprint: open.fingerprint },
    };
  });

  app.delete('/api/devices/:id', { config: { needs: 'here' } }, async (request) => {
    expectNothing(request.body);
    const id = idIn(request);
    if (access === null) throw noSuchDevice();
    await access.drop(id);
    return {};
  });

  app.post('/api/devices/pairing', { config: { needs: 'here' } }, async (request) => {
    const { role } = readFields(newPairingSchema, request.body);
    const open = network();
    if (open === null || access === null) throw noNetwork();
    return pairingAnswer(access.begin(role), open);
  });

  app.get('/api/devices/pairing/:id/qr.svg', { config: { needs: 'here' } }, async (request, reply) => {
    const open = network();
    if (open === null || access === null) throw noNetwork();
    const { link } = pairingAnswer(access.pairing(idIn(request)), open);
    return reply
      .type('image/svg+xml')
      .header('cache-control', 'no-store')
      .send(await codeAsPicture(link));
  });
}

export function pairingAnswer({ id, secret, role, expiresAt }: Pairing, open: OpenDoor): PairingAnswer {
  const [address = ''] = open.addresses;
  return {
    id,
    address: `${address}/`,
    link: `${address}/${PAIR_FRAGMENT}${secret}`,
    secret,
    role,
    expiresAt: new Date(expiresAt).toISOString(),
    fingerprint: open.fingerprint,
    qr: `/api/devices/pairing/${id}/qr.svg`,
  };
}

const idIn = (request: FastifyRequest): string => {
  const params = idSchema.safeParse(request.params);
  if (!params.success) throw noSuchDevice();
  return params.data.id;
};

const noSuchDevice = (): EvenrungError =>
  new EvenrungError('no-such-device', 'There is no such device or code.');

const noNetwork = (): EvenrungError =>
  new EvenrungError(
    'no-network-door',
    'Evenrung is not on the network, so no phone can be paired. End it, and start it with --lan.',
  );
