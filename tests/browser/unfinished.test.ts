// A daemon that is killed in the middle of a set: what the panel asks when the next one is there, and that the set is gone on with.
import { readdirSync, renameSync } from 'node:fs';
import path from 'node:path';
import { afterEach, describe, expect, it } from 'vitest';
import { ask, freshly, hold, panelForTests, SIZES, screenAt, verified, wellLaid } from './practice-panel.js';

const panel = panelForTests();
afterEach(() => panel.forgetComplaints());

describe.each(SIZES)('$name', (size) => {
  it.each(['Resume', 'End set'])(
    'a set that was cut off: %s',
    async (choice) => {
      const page = await panel.open(size);
      await freshly(page);
      await ask(page, 9, '1 EV', '1/60');
      await hold(page);
      await verified(page).nth(1).waitFor();
      panel.daemon?.signal('SIGKILL');
      await panel.daemon?.ended;
      await panel.serve(Number(new URL(panel.address).port));
      const card = page.getByRole('region', { name: 'Interrupted set' });
      await card.waitFor();
      expect(await card.textContent()).toMatch(/interrupted after [2-8] of 9 frames/);
      // Nothing else can be asked for before that is settled.
      await page.locator('main[data-body-state="ready"]').waitFor();
      expect(await page.getByRole('button', { name: /^Press and hold to fire/ }).count()).toBe(0);
      await wellLaid(page);
      await page.screenshot({ path: screenAt(`unfinished-${size.name}`), fullPage: true });
      // In the list nothing is under way.
      await page.goto(new URL('#sets', panel.address).href);
      await page
        .locator('.kept-list li')
        .first()
        .getByText(/^Interrupted, \d of 9 frames/)
        .waitFor();
      await page.goto(new URL('#', panel.address).href);
      // Without its folder it cannot be gone on with; as soon as that is back it can.
      const folder = path.join(panel.sets, readdirSync(panel.sets).sort().at(-1) ?? '');
      const comeBack = () => page.evaluate(() => document.dispatchEvent(new Event('visibilitychange')));
      renameSync(folder, `${panel.sets}-away`);
      await comeBack();
      await card.getByText(/is missing: it was moved or deleted/).waitFor();
      expect(await card.getByRole('button', { name: 'Resume' }).isDisabled()).toBe(true);
      renameSync(`${panel.sets}-away`, folder);
      await comeBack();
      await card.getByText(/is missing: it was moved or deleted/).waitFor({ state: 'detached' });
      await card.getByRole('button', { name: choice }).click();
      const ends = choice === 'End set' ? 'stopped' : 'complete';
      await page.locator(`main[data-view="ended"][data-run-state="${ends}"]`).waitFor({ timeout: 20_000 });
      await expect.poll(() => card.count()).toBe(0);
    },
    60_000,
  );
});
