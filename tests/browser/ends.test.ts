// A set that reaches farther at one end: the form shows both ends, each grows and shrinks by itself, and all devices show the same.
import type { Page } from 'playwright-core';
import { describe, expect, it } from 'vitest';
import { freshly, panelForTests, rungNames, type Size, screenAt, wellLaid } from './practice-panel.js';

const SIZES: readonly Size[] = [
  { name: 'phone', width: 390, height: 844, colorScheme: 'light', hasTouch: true },
  { name: 'laptop', width: 1280, height: 800, colorScheme: 'light', hasTouch: false },
];
const [PHONE, LAPTOP] = SIZES as [Size, Size];

const panel = panelForTests();

const asks = (asked: unknown) =>
  fetch(new URL('/api/asked', panel.address), {
    method: 'PUT',
    headers: { 'content-type': 'application/json' },
    body: JSON.stringify(asked),
  });
const reaches = (page: Page) => page.locator('.ends summary');
const press = (page: Page, name: string) => page.getByRole('button', { name, exact: true }).click();
/** The frames of the plan, once it is there. */
async function planned(page: Page): Promise<string> {
  await page.locator('.set[data-planning="planned"]').waitFor({ state: 'attached' });
  return (await rungNames(page)).map((name) => name.replace(/^Frame \d+, (\S+) EV.*/, '$1')).join(' ');
}

describe.each(SIZES)('on a $name', (size) => {
  it('one of -6 to +2 EV says so, and plus and minus move one end alone', async () => {
    const page = await panel.open(size);
    await freshly(page);
    await asks({ from: '-6', to: '+2', step: 1, base: '1/60' });
    await reaches(page).getByText('−6 to +2 EV').waitFor();
    expect(await page.locator('[data-end="darker"] output').textContent()).toBe('−6 EV');
    expect(await page.locator('[data-end="brighter"] output').textContent()).toBe('+2 EV');
    expect(await page.getByLabel('Frames', { exact: true }).textContent()).toBe('9');
    await wellLaid(page);
    await page.screenshot({ path: screenAt(`${size.name}-ends`) });

    await press(page, 'One fewer frame at the brighter end');
    await reaches(page).getByText('−6 to +1 EV').waitFor();
    await press(page, 'One more frame at the darker end');
    await reaches(page).getByText('−7 to +1 EV').waitFor();
    await expect.poll(() => planned(page)).toBe('+1 0 −1 −2 −3 −4 −5 −6 −7');
    await page.getByLabel('Step', { exact: true }).selectOption({ label: '2 EV' });
    await reaches(page).getByText('−7 to +1 EV').waitFor();
    await expect.poll(() => planned(page)).toBe('+1 −1 −3 −5 −7');
  });

  it('one that lies evenly about the base is told by its number, and goes back to that', async () => {
    const page = await panel.open(size);
    await freshly(page);
    await reaches(page).getByText('−4 to +4 EV').waitFor();
    expect(await page.locator('[data-end]').filter({ visible: true }).count()).toBe(0);
    await press(page, 'One more frame');
    await reaches(page).getByText('−4 to +5 EV').waitFor();
    await press(page, 'One fewer frame');
    await reaches(page).click();
    await press(page, 'One more frame at the darker end');
    await reaches(page).getByText('−5 to +4 EV').waitFor();
    await wellLaid(page);
    await press(page, 'Centre on base exposure');
    await reaches(page).getByText('−4 to +5 EV').waitFor();
    expect(await page.getByLabel('Frames', { exact: true }).inputValue()).toBe('10');
  });
});

it('what one device moves the other shows', async () => {
  const phone = await panel.open(PHONE);
  const laptop = await panel.open(LAPTOP);
  await freshly(phone);
  await freshly(laptop);
  await reaches(laptop).click();
  await press(laptop, 'One more frame at the darker end');
  await press(laptop, 'One more frame at the darker end');
  await reaches(phone).getByText('−6 to +4 EV').waitFor();
  await press(phone, 'One fewer frame at the brighter end');
  await reaches(laptop).getByText('−6 to +3 EV').waitFor();
  expect(await planned(laptop)).toBe('+3 +2 +1 0 −1 −2 −3 −4 −5 −6');
});
