// A set of which a file never came, on its page: that it may lie in the camera, the control that looks for it there, and what comes of it.
// The set was fired before the daemon began, on a body in this process whose cable was pulled.
import { mkdtemp, rm } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { PracticeBody } from '../../src/camera/practice/model.js';
import { exifTool } from '../../src/frames/index.js';
import { Journal } from '../../src/journal/index.js';
import { PulledLink } from '../harness/links.js';
import { openStation } from '../harness/station.js';
import { PracticePanel, type Size, screenAt, wellLaid } from './practice-panel.js';

const SIZES: readonly Size[] = [
  { name: 'phone', width: 390, height: 844, colorScheme: 'dark', hasTouch: true },
  { name: 'laptop', width: 1280, height: 800, colorScheme: 'light', hasTouch: false },
];
const QUICK = { change: 0, changePerSetting: 0, releaseLag: 0.01, cycle: 0.02, exposureScale: 0.05 };

let root = '';
let id = '';
let panel: PracticePanel;
beforeAll(async () => {
  root = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
  const stateFolder = path.join(root, 'state', 'evenrung');
  const journal = await Journal.open(stateFolder);
  const link = new PulledLink(new PracticeBody({ timing: QUICK, picture: 'full' }), 'before it is told');
  const { station, events } = await openStation(root, link, { journal, stateFolder, patienceMs: 50 });
  await station.start({ frames: 5, step: 1, base: '1/60', name: 'Boathouse at dusk' });
  await station.settled();
  id = events.state.run?.set.id ?? '';
  await station.close();
  journal.close();
  await exifTool.end();
  panel = await PracticePanel.start({ XDG_STATE_HOME: path.join(root, 'state') });
}, 60_000);
afterAll(async () => {
  await panel?.end();
  await rm(root, { recursive: true, force: true });
});

describe.each(SIZES)('at $name size', (size) => {
  it('the page of the set offers to look in the camera; what is not there is said, and nothing is fired', async () => {
    const page = await panel.open(size, undefined, `#sets/${id}`);
    const look = page.getByRole('button', { name: 'Look in the camera', exact: true });
    await look.waitFor();
    await page.getByText('One file never arrived. It may still be in the camera.').waitFor();
    await wellLaid(page);
    await page.screenshot({ path: screenAt(`fetch-missing-${size.name}`), fullPage: true });
    await look.click();
    // The panel shows the run, and no set page any more.
    await page.locator('.kept-set').waitFor({ state: 'detached' });
    await page
      .getByText(/The camera has no file of frame \d\./)
      .first()
      .waitFor();
    await wellLaid(page);
    await page.screenshot({ path: screenAt(`fetch-missing-ended-${size.name}`), fullPage: true });
    expect(await panel.closePages()).toEqual([]);
  });
});
