// A set of which each frame is two files, in the panel: its page, its frames as large as the screen, and both files to be kept. The set was
// fired before the daemon began, on a body in this process that makes a raw file and a JPEG of each exposure.
import { mkdtemp, readFile, rm } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import type { Page } from 'playwright-core';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { exifTool } from '../../src/frames/index.js';
import { Journal } from '../../src/journal/index.js';
import { cutShort, PairLink } from '../harness/pair-link.js';
import { openStation } from '../harness/station.js';
import { PracticePanel, type Size, screenAt, wellLaid } from './practice-panel.js';

const SIZES: readonly Size[] = [
  { name: 'phone', width: 390, height: 844, colorScheme: 'dark', hasTouch: true },
  { name: 'laptop', width: 1280, height: 800, colorScheme: 'light', hasTouch: false },
];

let root = '';
let id = '';
let folder = '';
let panel: PracticePanel;
beforeAll(async () => {
  root = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
  const stateFolder = path.join(root, 'state', 'evenrung');
  const journal = await Journal.open(stateFolder);
  const link = new PairLink({ shape: 'none', picture: 'full' });
  link.comes = async (count, { raw, jpeg }) => {
    if (count === 2) return raw;
    if (count === 4) await cutShort(jpeg);
    return { ...raw, partner: jpeg };
  };
  const { station } = await openStation(root, link, { journal, stateFolder });
  await station.start({ frames: 5, step: 1, base: '1/60', name: 'Boathouse at dusk' });
  await station.settled();
  [{ id, folder } = { id: '', folder: '' }] = journal
    .sets()
    .map((set) => ({ ...set, folder: set.folder ?? '' }));
  await station.close();
  journal.close();
  await exifTool.end();
  panel = await PracticePanel.start({ XDG_STATE_HOME: path.join(root, 'state') });
}, 60_000);
afterAll(async () => {
  await panel?.end();
  await rm(root, { recursive: true, force: true });
});

const tiles = (page: Page) => page.getByRole('list', { name: 'Frames' }).getByRole('listitem');
const naturalWidth = (page: Page, at: string) =>
  page.locator(at).evaluate((one) => (one as HTMLImageElement).naturalWidth);

describe.each(SIZES)('at $name size', (size) => {
  it('the page of the set shows which files each frame has, and what is missing', async () => {
    const page = await panel.open(size, undefined, `#sets/${id}`);
    await tiles(page).nth(4).waitFor();
    expect(await page.locator('.tile-files').allTextContents()).toEqual(Array(3).fill('DNG and JPG'));
    expect(await tiles(page).nth(1).locator('.tile-files').count()).toBe(0);
    expect(await tiles(page).nth(1).locator('[data-mark="partner-missing"]').textContent()).toContain(
      "Only the raw file of its two files has come. The other one may be on the camera's card.",
    );
    expect(await tiles(page).nth(3).locator('[data-mark="partner-missing"]').textContent()).toContain(
      'The JPEG was set aside.',
    );
    for (const number of [1, 2, 3, 4, 5])
      await expect.poll(() => naturalWidth(page, `.kept-frames [data-frame="${number}"] img`)).toBe(320);
    await wellLaid(page);
    await page.screenshot({ path: screenAt(`two-files-set-${size.name}`), fullPage: true });
    expect(await panel.closePages()).toEqual([]);
  });

  it('a frame is looked at by its JPEG, and both of its files can be had', async () => {
    const page = await panel.open(size, undefined, `#sets/${id}/3`);
    const viewer = page.getByRole('dialog', { name: 'Frame 3 of 5' });
    await viewer.locator('xpath=self::*[@data-loading="there"]').waitFor();
    const had = async (name: string) => {
      const [download] = await Promise.all([
        page.waitForEvent('download'),
        viewer.getByRole('link', { name, exact: true }).click(),
      ]);
      return [download.suggestedFilename(), await readFile(await download.path())] as const;
    };
    for (const [name, file] of [
      ['DNG file', '03_0EV.dng'],
      ['JPG file', '03_0EV.jpg'],
    ] as const) {
      const [called, bytes] = await had(name);
      expect([called, bytes.equals(await readFile(path.join(folder, file)))]).toEqual([file, true]);
    }
    await wellLaid(page);
    await page.screenshot({ path: screenAt(`two-files-viewer-${size.name}`) });
    // Of the frame before there is one.
    await viewer.getByRole('button', { name: 'Darker frame' }).click();
    const before = page.getByRole('dialog', { name: 'Frame 2 of 5' });
    expect(await before.getByRole('link', { name: 'Original', exact: true }).count()).toBe(1);
    expect(await before.getByRole('link', { name: /^(DNG|JPG) file$/ }).count()).toBe(0);
    expect(await panel.closePages()).toEqual([]);
  });
});
