// The document of the API: it tells of every route that the server has, its schemas are those by which the daemon parses, and every
// reference in it leads somewhere.
import { mkdtemp, rm, writeFile } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { Validator } from '@seriousme/openapi-schema-validator';
import pino from 'pino';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { z } from 'zod';
import { NOTHING_YET } from '../../shared/fold.js';
import { happeningSchema } from '../../shared/state.js';
import { type RunningServer, startServer } from '../../src/server/index.js';
import { openApi } from '../../src/server/openapi.js';
import { API_ROUTES } from '../../src/server/routes.js';
import { TestLink } from '../harness/links.js';
import { stationOver } from '../harness/station.js';

let folder = '';
let server: RunningServer;
beforeAll(async () => {
  folder = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
  await writeFile(path.join(folder, 'index.html'), '<title>panel</title>');
  const { station, events } = stationOver(folder, new TestLink());
  const log = pino({ level: 'silent' });
  server = await startServer({ station, events, log, panel: folder, notes: folder, port: 0 });
});
afterAll(async () => {
  await server.close();
  await rm(folder, { recursive: true, force: true });
});

const documentSchema = z.object({
  openapi: z.literal('3.1.0'),
  paths: z.record(
    z.string(),
    z.record(
      z.string(),
      z.looseObject({
        operationId: z.string(),
        responses: z.record(z.string(), z.unknown()),
        parameters: z
          .array(z.looseObject({ name: z.string().optional(), $ref: z.string().optional() }))
          .optional(),
      }),
    ),
  ),
  components: z.looseObject({ schemas: z.record(z.string(), z.record(z.string(), z.unknown())) }),
});

async function served() {
  const answer = await fetch(`${server.address}/api/openapi.json`);
  expect(answer.headers.get('content-type')).toMatch(/^application\/json/);
  return documentSchema.parse(await answer.json());
}

describe('the document', () => {
  it('tells of every route of the server, and of no other', async () => {
    const { paths } = await served();
    const told = Object.entries(paths).flatMap(([at, methods]) =>
      Object.keys(methods).map((method) => `${method.toUpperCase()} ${at}`),
    );
    const there = server.routes
      .filter((route) => /^(?!HEAD |OPTIONS )\w+ \/api\//.test(route))
      .map((route) => route.replace(/:(\w+)/g, '{$1}'));
    // The stream is no route, but what an upgrade leads to.
    expect(told.sort()).toEqual([...there, 'GET /api/stream'].sort());
    expect(there.length).toBeGreaterThan(20);
    const ids = Object.values(paths).flatMap((methods) =>
      Object.values(methods).map((one) => one.operationId),
    );
    expect(new Set(ids).size).toBe(ids.length);
  });

  it('is valid by the schema of OpenAPI 3.1', async () => {
    const document = (await (await fetch(`${server.address}/api/openapi.json`)).json()) as Record<
      string,
      unknown
    >;
    expect(await new Validator().validate(document)).toEqual({ valid: true });
    expect(await new Validator().validate({ ...document, paths: 1 })).toMatchObject({ valid: false });
  });

  it('leads every reference somewhere', async () => {
    const text = JSON.stringify(await (await fetch(`${server.address}/api/openapi.json`)).json());
    const document: unknown = JSON.parse(text);
    const refs = [...text.matchAll(/"\$ref":"#\/([^"]+)"/g)].map(([, at]) => at ?? '');
    expect(refs.length).toBeGreaterThan(50);
    for (const at of new Set(refs)) {
      const found = at
        .split('/')
        .reduce<unknown>((here, name) => (here as Record<string, unknown>)?.[name], document);
      expect([at, typeof found]).toEqual([at, 'object']);
    }
    expect(text).not.toContain('"$id"');
  });

  it('shows requests as they may be written, and the messages of the stream', async () => {
    const { components } = await served();
    const { RunRequest, DaemonMessage, DaemonState, Event } = components.schemas;
    expect(RunRequest).toMatchObject({ required: ['step'], additionalProperties: false });
    expect(Object.keys(RunRequest?.properties ?? {})).toEqual(
      expect.arrayContaining(['delay', 'frames', 'schedule']),
    );
    expect(JSON.stringify(DaemonMessage)).toContain('#/components/schemas/Event');
    expect(DaemonState?.required).toEqual(Object.keys(NOTHING_YET));
    for (const { shape } of happeningSchema.options)
      expect(JSON.stringify(Event)).toContain(JSON.stringify(shape.type.value));
  });

  it('lets whatever changes something carry a key, and nothing else', () => {
    const { paths } = documentSchema.parse(openApi());
    for (const { method, path: at, isPress, needs } of API_ROUTES) {
      const operation = paths[at]?.[method];
      const keyed = operation?.parameters?.some(({ $ref }) => $ref?.endsWith('IdempotencyKey')) ?? false;
      expect([at, keyed]).toEqual([at, isPress === true]);
      // Planning changes what the body is judged for, which a watcher may not; done twice it comes to the same.
      const isPlanning = at === '/api/plan' || at === '/api/schedule' || method === 'put';
      expect([at, needs === 'fire' && !isPlanning]).toEqual([at, isPress === true]);
    }
  });
});

it('health tells whether the daemon answers, and nothing else', async () => {
  const answer = await fetch(`${server.address}/api/health`);
  expect([answer.status, await answer.json()]).toEqual([200, { ok: true }]);
});
