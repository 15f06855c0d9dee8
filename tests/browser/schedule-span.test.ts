// A span that follows the scene, asked for in the panel of a daemon that judges pictures: what is sent, what it takes, what is refused and where,
// and two sets that are really made.
import { readdir, readFile } from 'node:fs/promises';
import path from 'node:path';
import type { Page } from 'playwright-core';
import { describe, expect, it } from 'vitest';
import { setRecordSchema } from '../../shared/set-record.js';
import { ask, freshly, hold, panelForTests, SIZES, screenAt, trigger, wellLaid } from './practice-panel.js';

const [PHONE] = SIZES;

const panel = panelForTests({
  EVENRUNG_PRACTICE_TIMING: 'at-once',
  EVENRUNG_PRACTICE_PICTURE: 'full',
  EVENRUNG_LIGHT: 'on',
});

const field = (page: Page, label: string) => page.getByLabel(label, { exact: true });
const figures = (page: Page) => page.locator('.figures');

async function records() {
  const folders = await readdir(panel.sets);
  const texts = folders.map((name) => readFile(path.join(panel.sets, name, 'set.json'), 'utf8'));
  return (await Promise.all(texts))
    .map((text) => setRecordSchema.parse(JSON.parse(text)))
    .sort((a, b) => (a.setNumber ?? 0) - (b.setNumber ?? 0));
}

describe('a span that follows the scene', () => {
  it('is asked for with its limits, refused beside its field, and the second set has what the first one lacked', async () => {
    const page = await panel.open(PHONE);
    const asked: unknown[] = [];
    page.on('request', (request) => {
      if (new URL(request.url()).pathname === '/api/schedule') asked.push(request.postDataJSON());
    });
    await freshly(page);
    await ask(page, 5, '1 EV', '1/60');
    await page.getByText('One set, no repeat').click();
    await field(page, 'Repeat the set').check();
    await field(page, 'Every').fill('40');
    await field(page, 'Unit of the interval').selectOption('seconds');
    await field(page, 'Sets').fill('2');
    await figures(page).waitFor();
    await expect.poll(() => figures(page).textContent()).toMatch(/Shutter actuations10$/);

    await field(page, 'Span follows the scene').check();
    // Nine frames twice.
    await expect.poll(() => figures(page).textContent()).toMatch(/Shutter actuations18$/);
    await page.locator('.foreseen').getByText('this counts 9 frames a set').waitFor();
    expect(asked.at(-1)).toMatchObject({ followSpan: {} });

    await field(page, 'Most frames').fill('4');
    await page.locator('.refusal[data-field="mostFrames"]').getByText('The first set has 5 frames').waitFor();
    expect(await field(page, 'Most frames').getAttribute('aria-invalid')).toBe('true');
    expect(await trigger(page).count()).toBe(0);
    await wellLaid(page);
    await page.screenshot({ path: screenAt('phone-schedule-span'), fullPage: true });
    await field(page, 'Most frames').fill('99');
    await page.locator('.refusal[data-field="mostFrames"]').getByText('1 to 61').waitFor();
    await field(page, 'Most frames').fill('9');
    await field(page, 'Fewest frames').fill('3');
    await field(page, 'Largest change, in frames').fill('4');
    await trigger(page).waitFor();
    expect(asked.at(-1)).toMatchObject({ followSpan: { fewestFrames: 3, mostFrames: 9, mostPerSet: 4 } });

    await hold(page);
    await page.locator('main[data-view="ended"][data-run-state="complete"]').waitFor({ timeout: 120_000 });
    const [first, second] = await records();
    expect(first?.frames).toHaveLength(5);
    // The scene at dusk takes eleven frames about what is metered.
    expect(second?.frames).toHaveLength(9);
    expect(second?.notes.join(' ')).toMatch(/frames are added: .* The span is now/);
    panel.forgetComplaints();
  }, 180_000);
});
