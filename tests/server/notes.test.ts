// The notes over HTTP: every page that there is, and nothing else.
import { mkdir, mkdtemp, readdir, readFile, rm, symlink, writeFile } from 'node:fs/promises';
import http from 'node:http';
import os from 'node:os';
import path from 'node:path';
import { fileURLToPath } from 'node:url';
import Fastify, { type FastifyInstance } from 'fastify';
import pino from 'pino';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { ERRORS, type ErrorCode } from '../../shared/error-codes.js';
import { EvenrungError } from '../../shared/errors.js';
import { anchorOf, PAGES } from '../../shared/pages.js';
import { type RunningServer, startServer } from '../../src/server/index.js';
import { framed, rendered } from '../../src/server/note-html.js';
import { addNotes } from '../../src/server/notes.js';
import type { Station } from '../../src/station/index.js';
import { PANEL } from '../built.js';
import { stationOfProcess } from '../harness/process-station.js';

const TOP = fileURLToPath(new URL('../..', import.meta.url));

let folder = '';
let server: RunningServer;
let station: Station;

beforeAll(async () => {
  folder = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
  const made = stationOfProcess(folder, {}, { choice: 'practice' });
  station = made.station;
  const { events } = made;
  const log = pino({ level: 'silent' });
  server = await startServer({ station, events, log, panel: PANEL, notes: TOP, port: 0 });
});
afterAll(async () => {
  await station.close();
  await server.close();
  await rm(folder, { recursive: true, force: true });
});

interface Answer {
  readonly status: number;
  readonly headers: http.IncomingHttpHeaders;
  readonly body: string;
}

/** Unlike fetch, sends the address as it is written. */
function get(at: string): Promise<Answer> {
  const { hostname, port } = new URL(server.address);
  return new Promise((resolve, reject) => {
    http
      .get({ hostname, port, path: at }, (answer) => {
        let body = '';
        answer.setEncoding('utf8').on('data', (part: string) => {
          body += part;
        });
        answer.on('end', () => resolve({ status: answer.statusCode ?? 0, headers: answer.headers, body }));
      })
      .on('error', reject);
  });
}

const idsIn = (html: string) => [...html.matchAll(/ id="([^"]*)"/g)].map(([, id]) => id ?? '');
const linksIn = (html: string) => [...html.matchAll(/<a href="([^"]*)"/g)].map(([, to]) => to ?? '');

async function pages(): Promise<string[]> {
  const notes = (await readdir(path.join(TOP, 'hardware-notes'))).filter((name) => name.endsWith('.md'));
  return ['README.md', ...notes.map((name) => `hardware-notes/${name}`)];
}

describe('a page', () => {
  it('each one is served as a page of its own, under the policy of the panel', async () => {
    const panel = await get('/');
    for (const page of await pages()) {
      const { status, headers, body } = await get(`/notes/${page}`);
      expect([page, status, headers['content-type']]).toEqual([page, 200, 'text/html; charset=utf-8']);
      expect(headers['content-security-policy']).toBe(panel.headers['content-security-policy']);
      const [, title = ''] = /^# (.+)$/m.exec(await readFile(path.join(TOP, page), 'utf8')) ?? [];
      expect(body).toContain(`<title>${title} - Evenrung</title>`);
      // What makes the note look as the panel does, and nothing inline.
      const scripts = [...body.matchAll(/<script[^>]*>[^<]*/g)].map(([script]) => script);
      expect(scripts).toHaveLength(2);
      for (const script of scripts) expect(script).toMatch(/^<script [^>]*src="\/[^"]+\.js"[^>]*>\s*$/);
      expect(body).not.toMatch(/<style|style=|\son\w+=|\{\{/);
      expect(new Set(idsIn(body)).size).toBe(idsIn(body).length);
    }
  });

  it('has its style sheet from the daemon', async () => {
    const { body } = await get('/notes/README.md');
    const [, sheet = ''] = /<link rel="stylesheet"[^>]* href="([^"]+)"/.exec(body) ?? [];
    expect(await get(sheet)).toMatchObject({
      status: 200,
      headers: { 'content-type': expect.stringMatching(/^text\/css/) },
    });
  });

  it('links from one to another, and to its own sections, lead somewhere', async () => {
    let followed = 0;
    for (const page of await pages()) {
      for (const link of linksIn((await get(`/notes/${page}`)).body)) {
        const { origin, pathname, hash } = new URL(link, `${server.address}/notes/${page}`);
        // The one that the text of the README gives as an example.
        if (origin !== server.address) continue;
        const there = await get(pathname);
        expect([page, link, there.status === 200 || there.status === 302]).toEqual([page, link, true]);
        if (hash !== '') expect(idsIn(there.body)).toContain(hash.slice(1));
        followed += 1;
      }
    }
    expect(followed).toBeGreaterThan(20);
  });

  it('has its drawings in it, with words for whoever does not see them, and nothing that runs', async () => {
    let drawn = 0;
    for (const name of await readdir(path.join(TOP, 'hardware-notes'))) {
      if (!name.endsWith('.svg')) continue;
      const drawing = await readFile(path.join(TOP, 'hardware-notes', name), 'utf8');
      expect(drawing).not.toMatch(/<script|<style|<image|<use|<foreignObject|style=|href|\son\w+=|url\(/i);
      drawn += 1;
      // It is no page of its own.
      expect((await get(`/notes/hardware-notes/${name}`)).status).toBe(404);
    }
    expect(drawn).toBeGreaterThan(0);
    const { body } = await get('/notes/hardware-notes/passes.md');
    expect(body).toMatch(
      /<span class="drawing"><svg role="img" aria-label="Two time lines of nine frames [^"]{60,}"/,
    );
  });

  it('each error leads to a heading', async () => {
    for (const code of Object.keys(ERRORS) as ErrorCode[]) {
      const { page, section } = PAGES[code];
      expect(idsIn((await get(`/notes/${page}`)).body)).toContain(anchorOf(section));
    }
  });

  it.each(['/notes/', '/notes/hardware-notes/'])('%s leads to the list of pages', async (at) => {
    const { status, headers } = await get(at);
    expect([status, headers.location]).toEqual([302, '/notes/hardware-notes/README.md']);
  });
});

describe('whatever is no page', () => {
  it.each([
    '/notes/hardware-notes/nothing.md',
    '/notes/DEVELOPERS.md',
    '/notes/package.json',
    '/notes/hardware-notes',
    '/notes/hardware-notes/when-it-stops',
    '/notes/hardware-notes/WHEN-IT-STOPS.MD',
    '/notes/hardware-notes/../package.json',
    '/notes/../package.json',
    '/notes/../../../../etc/passwd',
    '/notes//etc/passwd',
    '/notes/hardware-notes/..%2f..%2fpackage.json',
    '/notes/%2e%2e/package.json',
    '/notes/%2e%2e%2fpackage.json',
    '/notes/%252e%252e%252fpackage.json',
    '/notes/hardware-notes%2fpasses.md',
    '/notes/hardware-notes%5cpasses.md',
    '/notes/hardware-notes/passes.md%00',
    '/notes/hardware-notes/passes.md%00.html',
    '/notes/hardware-notes/passes%00.md',
    '/notes/hardware-notes/passes.md%2500',
    '/notes/%zz',
  ])('%s: refused, with nothing of a file in it', async (at) => {
    const { status, headers, body } = await get(at);
    expect(status).toBeGreaterThanOrEqual(400);
    expect(status).toBeLessThan(500);
    expect(headers['content-type']).toContain('application/json');
    expect(JSON.parse(body)).toMatchObject({
      error: { code: expect.stringMatching(/^(not-found|malformed-request)$/) },
    });
  });

  it('an unknown page is not found', async () => {
    const { status, body } = await get('/notes/hardware-notes/nothing.md');
    expect(status).toBe(404);
    expect(JSON.parse(body)).toMatchObject({ error: { code: 'not-found' } });
  });
});

describe('a folder of notes', () => {
  let app: FastifyInstance;
  const top = () => path.join(folder, 'top');

  beforeAll(async () => {
    await mkdir(path.join(top(), 'hardware-notes', 'deeper.md'), { recursive: true });
    await writeFile(path.join(top(), 'README.md'), '# A <b> & c\n\n<script>alert(1)</script>\n');
    await writeFile(path.join(top(), 'secret.md'), 'secret');
    await writeFile(path.join(top(), 'hardware-notes', '.hidden.md'), 'secret');
    await symlink(path.join(top(), 'secret.md'), path.join(top(), 'hardware-notes', 'link.md'));
    await writeFile(path.join(top(), 'hardware-notes', 'gone.md'), '# Gone');
    app = Fastify();
    app.setErrorHandler((cause, _request, reply) =>
      reply.code(cause instanceof EvenrungError ? ERRORS[cause.code].status : 500).send(),
    );
    await addNotes(app, { notes: top(), panel: PANEL });
  });
  afterAll(() => app.close());

  it('files of it are served, links out of it and folders are not', async () => {
    const at = async (page: string) => (await app.inject(`/notes/${page}`)).statusCode;
    expect(await at('README.md')).toBe(200);
    for (const page of [
      'secret.md',
      'hardware-notes/link.md',
      'hardware-notes/deeper.md',
      'hardware-notes/.hidden.md',
    ])
      expect([page, await at(page)]).toEqual([page, 404]);
  });

  it('a page that is new since the start is none yet, and one that is gone is none any more', async () => {
    await writeFile(path.join(top(), 'hardware-notes', 'new.md'), '# New');
    expect((await app.inject('/notes/hardware-notes/new.md')).statusCode).toBe(404);
    expect((await app.inject('/notes/hardware-notes/gone.md')).statusCode).toBe(200);
    await rm(path.join(top(), 'hardware-notes', 'gone.md'));
    await expect(app.inject('/notes/hardware-notes/gone.md')).resolves.toMatchObject({ statusCode: 404 });
  });

  it('HTML in a note is text', async () => {
    const { body } = await app.inject('/notes/README.md');
    expect(body).toContain('&lt;script&gt;alert(1)&lt;/script&gt;');
    expect(body).toContain('<title>A &lt;b&gt; &amp; c - Evenrung</title>');
    expect(body).not.toContain('<script>');
  });

  it('where there are none the daemon does without', async () => {
    const bare = Fastify();
    await addNotes(bare, { notes: path.join(folder, 'nowhere'), panel: PANEL });
    expect((await bare.inject('/notes/README.md')).statusCode).toBe(404);
    await bare.close();
  });
});

describe('what a note is made into', () => {
  const page = (source: string) =>
    rendered(source, {
      address: '/notes/hardware-notes/here.md',
      isPage: (address) => address === '/notes/hardware-notes/there.md' || address === '/notes/README.md',
      drawingAt: (address) =>
        address === '/notes/hardware-notes/drawn.svg' ? '<svg viewBox="0 0 1 1"></svg>\n' : undefined,
    }).html;

  it.each([
    ['[a](there.md)', '<p><a href="/notes/hardware-notes/there.md">a</a></p>'],
    ['[a](there.md#so)', '<p><a href="/notes/hardware-notes/there.md#so">a</a></p>'],
    ['[a](../README.md)', '<p><a href="/notes/README.md">a</a></p>'],
    ['[a](../)', '<p><a href="/notes/">a</a></p>'],
    ['[a](gone.md)', '<p>a</p>'],
    ['[a](../../api/state)', '<p>a</p>'],
    ['[a](javascript:alert(1))', '<p>a</p>'],
    ['[a](data:text/html,x)', '<p>a</p>'],
    ['![a](x.png)', '<p>a</p>'],
    ['![a](https://elsewhere.invalid/notes/hardware-notes/drawn.svg)', '<p>a</p>'],
    [
      '![a "b" & c](drawn.svg)',
      '<p><span class="drawing"><svg role="img" aria-label="a &quot;b&quot; &amp; c" viewBox="0 0 1 1"></svg></span></p>',
    ],
    ['a <img src=x onerror=alert(1)>', '<p>a &lt;img src=x onerror=alert(1)&gt;</p>'],
    ['## A, b (c)', '<h2 id="a-b-c">A, b (c)</h2>'],
  ])('%s', (source, html) => {
    expect(page(source).trim()).toBe(html);
  });

  it('stands in its frame whatever signs it has', () => {
    const frame = '<title>{{title}}</title>{{note}}';
    expect(framed(frame, { title: "$& $'", html: '$1 $$' })).toBe('<title>$&amp; $&#39;</title>$1 $$');
  });
});
