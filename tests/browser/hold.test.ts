// Holding a run and letting it go on, on the panel; and a press whose answer is lost, which counts once.
import { describe, expect, it } from 'vitest';
import { ask, freshly, hold, panelForTests, SIZES, screenAt, verified, wellLaid } from './practice-panel.js';

const panel = panelForTests();

describe.each(SIZES)('on a $name', (size) => {
  it('Hold keeps the next frame back, says so, and Go on fires it', async () => {
    const page = await panel.open(size);
    await freshly(page);
    await ask(page, 9, '1 EV', '1/60');
    await hold(page);
    await page.getByRole('button', { name: 'Pause', exact: true }).click();
    await page.locator('main[data-run-state="held"]').waitFor();
    await page.locator('#run-heading').getByText('Paused', { exact: true }).waitFor();
    await page.getByText('Nothing is fired until someone resumes.').waitFor();
    await expect
      .poll(() => page.locator('[data-announcer]').textContent(), { timeout: 5000 })
      .toMatch(/^Paused\./);
    const before = await verified(page).count();
    await page.waitForTimeout(1500);
    // The frame in hand may still have been looked at.
    expect(await verified(page).count()).toBeLessThanOrEqual(before + 1);
    expect(before).toBeLessThan(9);
    await wellLaid(page);
    await page.screenshot({ path: screenAt(`${size.name}-held`) });
    await page.getByRole('button', { name: 'Resume', exact: true }).click();
    await page.locator('main[data-run-state="complete"]').waitFor({ timeout: 30_000 });
    expect(await verified(page).count()).toBe(9);
  });
});

describe('a press whose answer is lost', () => {
  it('is sent again under its own key, and fires once', async () => {
    const page = await panel.open(SIZES[0]);
    const keys: (string | undefined)[] = [];
    await page.route('**/api/run', async (route) => {
      keys.push(route.request().headers()['idempotency-key']);
      // The daemon gets it, and its answer goes astray.
      if (keys.length < 3) await route.fetch();
      if (keys.length < 3) return route.abort();
      return route.continue();
    });
    await freshly(page);
    await ask(page, 3, '1 EV', '1/60');
    await hold(page);
    await page.locator('main[data-run-state="complete"]').waitFor({ timeout: 30_000 });
    await expect.poll(() => keys.length).toBe(3);
    expect(new Set(keys).size).toBe(1);
    expect(keys[0]).toMatch(/^[0-9a-f]{8}-[0-9a-f]{4}-4[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}$/);
    await page.getByText('All 3 frames are verified.').first().waitFor();
    expect(await page.getByText(/is already being shot/).count()).toBe(0);
    panel.forgetComplaints();
  });
});
