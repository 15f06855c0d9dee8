// What the panel is made of, and how quietly it comes: what is sent, and that nothing jumps about.
import { readFile } from 'node:fs/promises';
import http from 'node:http';
import path from 'node:path';
import { brotliDecompressSync, gunzipSync } from 'node:zlib';
import { describe, expect, it } from 'vitest';
import { PANEL } from '../built.js';
import { freshly, hold, NARROW, panelForTests, SIZES, trigger } from './practice-panel.js';
import { noteShifts, shiftsOn } from './shifts.js';

const SCRIPTS_WITHIN_BYTES = 80 * 1024;

const panel = panelForTests({ EVENRUNG_PRACTICE_PICTURE: 'full' });

interface Answer {
  readonly headers: http.IncomingHttpHeaders;
  readonly status: number;
  readonly body: Buffer;
}

function get(at: string, headers: Readonly<Record<string, string>>): Promise<Answer> {
  return new Promise((resolve, reject) => {
    http
      .get(new URL(at, panel.address), { headers }, (answer) => {
        const parts: Buffer[] = [];
        answer.on('data', (part: Buffer) => parts.push(part));
        answer.on('end', () =>
          resolve({ headers: answer.headers, status: answer.statusCode ?? 0, body: Buffer.concat(parts) }),
        );
      })
      .on('error', reject);
  });
}

/** Of the page as it is built. */
async function filesOfPage(): Promise<{ scripts: string[]; all: string[] }> {
  const page = await readFile(path.join(PANEL, 'index.html'), 'utf8');
  const all = [...page.matchAll(/(?:src|href)="(\/assets\/[^"]+)"/g)].map(([, file = '']) => file);
  return { scripts: all.filter((file) => file.endsWith('.js')), all };
}

describe('what is sent', () => {
  it.each([
    ['br', brotliDecompressSync],
    ['gzip', gunzipSync],
  ] as const)('compressed as %s, as the browser asks', async (encoding, opened) => {
    const { scripts, all } = await filesOfPage();
    expect(scripts.length).toBeGreaterThan(0);
    let bytes = 0;
    for (const file of ['/', ...all.filter((name) => /\.(js|css)$/.test(name))]) {
      const [packed, plain] = [await get(file, { 'accept-encoding': encoding }), await get(file, {})];
      expect(packed.headers).toMatchObject({ 'content-encoding': encoding, vary: 'accept-encoding' });
      expect(plain.headers['content-encoding']).toBeUndefined();
      expect(plain.headers.vary).toBe('accept-encoding');
      expect(packed.headers['content-type']).toBe(plain.headers['content-type']);
      expect(opened(packed.body).equals(plain.body)).toBe(true);
      // Each body has a name of its own, and is not sent again to whoever has it.
      expect(packed.headers.etag).not.toBe(plain.headers.etag);
      const again = await get(file, {
        'accept-encoding': encoding,
        'if-none-match': packed.headers.etag ?? '',
      });
      expect([again.status, again.body.length]).toEqual([304, 0]);
      if (scripts.includes(file)) bytes += packed.body.length;
    }
    console.log(`scripts as ${encoding}: ${bytes} bytes`);
    expect(bytes).toBeLessThan(SCRIPTS_WITHIN_BYTES);
  });

  it('what has a name of its own is kept for good, the page is asked for each time', async () => {
    const { all } = await filesOfPage();
    for (const file of all)
      expect((await get(file, {})).headers['cache-control']).toBe('public, max-age=31536000, immutable');
    for (const file of ['/', '/worker.js', '/manifest.webmanifest'])
      expect((await get(file, {})).headers['cache-control']).toBe('no-cache');
  });
});

describe.each([
  ...SIZES.map((size) => ({ ...size, at: '' })),
  { ...SIZES[0], name: 'phone, all fields', at: '#form' },
  { ...NARROW, at: '' },
])('nothing jumps about on a $name', ({ at, ...size }) => {
  it('where the plan takes longer than is waited for', async () => {
    const page = await panel.open(
      size,
      async (opened) => {
        await noteShifts(opened);
        await opened.route('**/api/plan', async (route) => {
          await new Promise((resolve) => setTimeout(resolve, 2300));
          await route.continue();
        });
      },
      at,
    );
    await freshly(page);
    await trigger(page).waitFor();
    await page.waitForTimeout(1200);
    expect(await shiftsOn(page)).toEqual([]);
  });

  it('from loading to asking, and through a whole run', async () => {
    const page = await panel.open(size, noteShifts, at);
    await freshly(page);
    await trigger(page).waitFor();
    await page.waitForTimeout(1200);
    expect(await shiftsOn(page)).toEqual([]);
    await hold(page);
    await page.locator('main[data-view="ended"][data-run-state="complete"]').waitFor({ timeout: 40_000 });
    await page.waitForTimeout(1000);
    expect(await shiftsOn(page)).toEqual([]);
  });
});
