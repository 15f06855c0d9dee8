// A press that is sent twice counts once: the kept answers by themselves, and over requests.
import Fastify from 'fastify';
import { describe, expect, it } from 'vitest';
import { ERRORS } from '../../shared/error-codes.js';
import { EvenrungError } from '../../shared/errors.js';
import { addIdempotency, KEY_HEADER, KeptAnswers } from '../../src/server/idempotency.js';

const KEY = '7b0c9c1e-9b0e-4a52-8d5e-2f5c1a7b3d11';
const OTHER = '0d6a1f2c-3e4b-4c5d-8e6f-7a8b9c0d1e2f';
const MINUTE = 60_000;
const answer = (payload: string) => ({ status: 202, type: 'application/json', payload });

describe('answers', () => {
  it('are kept by visitor and key, for ten minutes', async () => {
    let now = 0;
    const kept = new KeptAnswers(() => now);
    const taken = kept.take('phone', KEY, 'fire');
    if (!('first' in taken)) throw new Error('It is the first.');
    taken.first(answer('{"run":1}'));
    const again = kept.take('phone', KEY, 'fire');
    expect('again' in again && (await again.again)).toEqual(answer('{"run":1}'));
    expect('first' in kept.take('tablet', KEY, 'fire')).toBe(true);
    now = 10 * MINUTE + 1;
    expect('first' in kept.take('phone', KEY, 'fire')).toBe(true);
    expect(kept.size).toBe(1);
  });

  it('are refused for something else under the same key', () => {
    const kept = new KeptAnswers();
    kept.take('phone', KEY, 'fire');
    expect(() => kept.take('phone', KEY, 'stop')).toThrow(
      expect.objectContaining({ code: 'key-used-otherwise' }),
    );
  });

  it('are bounded: the oldest of the same visitor makes way, and no one else', () => {
    const kept = new KeptAnswers();
    kept.take('tablet', KEY, 'fire');
    for (let number = 0; number < 1000; number += 1) kept.take('phone', `key ${number}`, 'fire');
    expect(kept.size).toBe(201);
    expect('again' in kept.take('tablet', KEY, 'fire')).toBe(true);
    expect('first' in kept.take('phone', 'key 0', 'fire')).toBe(true);
  });
});

function server(visitor: string | null = 'phone') {
  const app = Fastify();
  let fired = 0;
  let release: () => void = () => undefined;
  addIdempotency(app, ({ headers }) => (visitor === null ? null : String(headers['x-visitor'] ?? visitor)));
  app.setErrorHandler((cause, _request, reply) => {
    const error = cause instanceof EvenrungError ? cause : new EvenrungError('internal', String(cause));
    return reply.code(ERRORS[error.code].status).send(error.toWire());
  });
  app.post('/fire', async (_request, reply) => {
    fired += 1;
    return reply.code(202).send({ run: fired });
  });
  app.post('/slow', async () => {
    fired += 1;
    const mine = fired;
    await new Promise<void>((resolve) => {
      release = resolve;
    });
    return { run: mine };
  });
  app.post('/refused', async () => {
    fired += 1;
    throw new EvenrungError('run-under-way', `Refused ${fired}.`);
  });
  const post = (url: string, payload: object = {}, headers: Record<string, string> = { [KEY_HEADER]: KEY }) =>
    app.inject({ method: 'POST', url, payload, headers });
  return { post, fired: () => fired, release: () => release() };
}

describe('over requests', () => {
  it('the same key gets the same answer, and fires once', async () => {
    const { post, fired } = server();
    const [first, second] = [await post('/fire', { frames: 9 }), await post('/fire', { frames: 9 })];
    expect([second.statusCode, second.json(), second.headers['content-type']]).toEqual([
      202,
      { run: 1 },
      first.headers['content-type'],
    ]);
    expect((await post('/fire', { frames: 9 }, { [KEY_HEADER]: KEY.toUpperCase() })).json()).toEqual({
      run: 1,
    });
    expect(fired()).toBe(1);
  });

  it('without a key, with another one, and from another visitor it fires anew', async () => {
    const { post, fired } = server();
    await post('/fire');
    await post('/fire', {}, {});
    await post('/fire', {}, { [KEY_HEADER]: OTHER });
    await post('/fire', {}, { [KEY_HEADER]: KEY, 'x-visitor': 'tablet' });
    expect(fired()).toBe(4);
  });

  it('the same key with another body, or elsewhere, fires nothing', async () => {
    const { post, fired } = server();
    await post('/fire', { frames: 9 });
    for (const other of [await post('/fire', { frames: 7 }), await post('/refused', { frames: 9 })])
      expect([other.statusCode, other.json().error.code]).toEqual([422, 'key-used-otherwise']);
    expect(fired()).toBe(1);
  });

  it('two at once: the second waits for the answer of the first', async () => {
    const { post, fired, release } = server();
    const both = Promise.all([post('/slow'), post('/slow')]);
    while (fired() === 0) await new Promise((resolve) => setImmediate(resolve));
    for (let turn = 0; turn < 20; turn += 1) await new Promise((resolve) => setImmediate(resolve));
    release();
    expect((await both).map((one) => one.json())).toEqual([{ run: 1 }, { run: 1 }]);
    expect(fired()).toBe(1);
  });

  it('what was refused stays refused under its key', async () => {
    const { post, fired } = server();
    await post('/refused');
    const again = await post('/refused');
    expect([again.statusCode, again.json().error.message]).toEqual([409, 'Refused 1.']);
    expect(fired()).toBe(1);
  });

  it.each(['', 'x', `${KEY}x`, KEY.replaceAll('-', '')])("'%s' is no key", async (key) => {
    const { post, fired } = server();
    const refused = await post('/fire', {}, { [KEY_HEADER]: key });
    expect([refused.statusCode, refused.json().error.code]).toEqual([400, 'malformed-request']);
    expect(fired()).toBe(0);
  });

  it('of a stranger no answer is kept', async () => {
    const { post, fired } = server(null);
    await post('/fire');
    await post('/fire');
    expect(fired()).toBe(2);
  });
});
