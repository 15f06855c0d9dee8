// A press that is sent twice counts once, since phones repeat requests that got no answer. Any request that
// changes something may carry a key (`Idempotency-Key`, a UUID). Its answer is kept for ten minutes, and the
// same key gets the same answer again. While the first request is still being worked on, the second waits for
// its answer. It knows no route.
import { createHash } from 'node:crypto';
import type { FastifyInstance, FastifyRequest } from 'fastify';
import { EvenrungError } from '../../shared/errors.js';

export const KEY_HEADER = 'idempotency-key';

const KEPT_MS = 10 * 60_000;
/** Nobody presses this often in ten minutes. Beyond it, the oldest answer is dropped. */
const MOST_KEPT = 200;
const UUID = /^[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}$/i;

export interface KeptAnswer {
  readonly status: number;
  readonly type: string;
  readonly payload: string;
}

interface Entry {
  readonly asked: string;
  readonly until: number;
  readonly answer: Promise<KeptAnswer | null>;
  readonly settle: (answer: KeptAnswer | null) => void;
}

/** Answers by visitor and key. */
export class KeptAnswers {
  private readonly now: () => number;
  private readonly visitors = new Map<string, Map<string, Entry>>();

  constructor(now: () => number = () => performance.now()) {
    this.now = now;
  }

  /** How many are kept. */
  get size(): number {
    return [...this.visitors.values()].reduce((sum, { size }) => sum + size, 0);
  }

  /**
   * @param asked the content of the request, so that a different request with the same key is noticed
   * @returns `first`: to be done, and then settled whatever happens; `again`: the earlier answer, null if
   *   it could not be kept
   * @throws EvenrungError key-used-otherwise
   */
  take(
    visitor: string,
    key: string,
    asked: string,
  ): { first: (answer: KeptAnswer | null) => void } | { again: Promise<KeptAnswer | null> } {
    this.forgetOld();
    const own = this.visitors.get(visitor) ?? new Map<string, Entry>();
    this.visitors.set(visitor, own);
    const known = own.get(key);
    if (known !== undefined) {
      if (known.asked === asked) return { again: known.answer };
      throw new EvenrungError(
        'key-used-otherwise',
        'This key belongs to another request: make a new one for each press.',
      );
    }
    let settle: Entry['settle'] = () => undefined;
    const answer = new Promise<KeptAnswer | null>((resolve) => {
      settle = resolve;
    });
    own.set(key, { asked, until: this.now() + KEPT_MS, answer, settle });
    for (const [oldest] of own) {
      if (own.size <= MOST_KEPT) break;
      own.delete(oldest);
    }
    return { first: settle };
  }

  private forgetOld(): void {
    const now = this.now();
    for (const [visitor, own] of this.visitors) {
      // All are kept equally long, so the oldest come first.
      for (const [key, { until }] of own) {
        if (until > now) break;
        own.delete(key);
      }
      if (own.size === 0) this.visitors.delete(visitor);
    }
  }
}

/** @param visitorOf whose keys they are; null if nobody can tell, and then no answer is kept */
export function addIdempotency(
  app: FastifyInstance,
  visitorOf: (request: FastifyRequest) => string | null,
  kept = new KeptAnswers(),
): void {
  const first = new WeakMap<FastifyRequest, (answer: KeptAnswer | null) => void>();

  app.addHook('preHandler', async (request, reply) => {
    const key = request.headers[KEY_HEADER];
    if (key === undefined || request.method === 'GET' || request.method === 'HEAD') return;
    if (typeof key !== 'string' || !UUID.test(key))
      throw new EvenrungError('malformed-request', `The key '${String(key).slice(0, 48)}' is not a UUID.`);
    const visitor = visitorOf(request);
    if (visitor === null) return;
    const taken = kept.take(visitor, key.toLowerCase(), askedIn(request));
    if ('first' in taken) {
      first.set(request, taken.first);
      return;
    }
    const answer = await taken.again;
    if (answer === null) throw new EvenrungError('internal', 'The answer to this key could not be kept.');
    return reply.code(answer.status).type(answer.type).send(answer.payload);
  });

  // Runs even if the connection is gone by now: keys exist for that case.
  app.addHook('onSend', async (request, reply, payload) => {
    const settle = first.get(request);
    if (settle === undefined) return;
    first.delete(request);
    const type = String(reply.getHeader('content-type') ?? 'application/json; charset=utf-8');
    const text = typeof payload === 'string' ? payload : Buffer.isBuffer(payload) ? payload.toString() : null;
    settle(text === null ? null : { status: reply.statusCode, type, payload: text });
  });
}

const askedIn = ({ method, url, body }: FastifyRequest): string =>
  createHash('sha256')
    .update(JSON.stringify([method, url, body ?? null]))
    .digest('base64');
