// Runs on a schedule in the panel: their fields, what the daemon foresees of them, three sets that are really made, the time line,
// what is left, and the alarm. What the practice body cannot bring about (hundreds of sets, a night, a battery that runs down) is
// put into the stream on its way to the page.
import { readdir, readFile } from 'node:fs/promises';
import path from 'node:path';
import type { Page } from 'playwright-core';
import { describe, expect, it } from 'vitest';
import { setRecordSchema } from '../../shared/set-record.js';
import type { ScheduleView } from '../../shared/state.js';
import type { Watch, WatchMark } from '../../shared/watch.js';
import { dusk, withDusk } from './dusk.js';
import {
  ask,
  freshly,
  hold,
  NARROW,
  panelForTests,
  rungNames,
  SIZES,
  screenAt,
  trigger,
  wellLaid,
} from './practice-panel.js';

const [PHONE, LAPTOP] = SIZES;

const panel = panelForTests({ EVENRUNG_PRACTICE_TIMING: 'at-once' });

const field = (page: Page, label: string) => page.getByLabel(label, { exact: true });
const caution = (page: Page) => page.getByRole('list', { name: 'Caution' });
const figures = (page: Page) => page.locator('.figures');
const marks = (page: Page, went: string) => page.locator(`.slots [data-went="${went}"]`);

/** Opens the fold and asks for a schedule. */
async function again(page: Page): Promise<void> {
  await page.getByText('One set, no repeat').click();
  await field(page, 'Repeat the set').check();
}

/** @returns what the page asks of this address */
function sentTo(page: Page, address: string): unknown[] {
  const sent: unknown[] = [];
  page.on('request', (request) => {
    if (new URL(request.url()).pathname === address) sent.push(request.postDataJSON());
  });
  return sent;
}

describe('what is asked for', () => {
  it('says what it takes; an error stands beside its field, with the shortest interval to take', async () => {
    const page = await panel.open(PHONE);
    await freshly(page);
    await ask(page, 9, '1 EV', '1');
    await again(page);
    await field(page, 'Sets').fill('60');
    await figures(page).waitFor();
    await expect.poll(() => figures(page).textContent()).toMatch(/Shutter actuations540$/);
    await page
      .getByRole('button', { name: /^Press and hold to fire 60 sets 9 frames every 5 min, until about/ })
      .waitFor();
    await wellLaid(page);

    // The exposures alone take 32 s.
    await field(page, 'Every').fill('10');
    await field(page, 'Unit of the interval').selectOption('seconds');
    const wrong = page.locator('.schedule .refusal[data-field="every"]');
    await wrong.waitFor();
    expect(await field(page, 'Every').getAttribute('aria-invalid')).toBe('true');
    expect(await field(page, 'Sets').getAttribute('aria-invalid')).toBeNull();
    const [above, at] = [await field(page, 'Every').boundingBox(), await wrong.boundingBox()];
    expect((at?.y ?? 0) - (above?.y ?? 0)).toBeLessThan(80);
    expect(await trigger(page).count()).toBe(0);
    await wellLaid(page);
    await page.screenshot({ path: screenAt('phone-schedule-wrong'), fullPage: true });
    await wrong.getByRole('button', { name: /^Every \d+ s$/ }).click();
    await wrong.waitFor({ state: 'detached' });
    expect(Number(await field(page, 'Every').inputValue())).toBeGreaterThanOrEqual(32);
    await trigger(page).waitFor();

    await field(page, 'Sets').fill('');
    await page.locator('.refusal[data-field="count"]').getByText('Enter the number of sets').waitFor();
    panel.forgetComplaints();
  });

  it('by the sun: the place is asked for, taken from the device, kept; sunrise is cautioned of and can be kept out', async () => {
    const page = await panel.open(PHONE);
    await page.context().grantPermissions(['geolocation']);
    await page.context().setGeolocation({ latitude: 47.45678, longitude: -8.5 });
    const asked = sentTo(page, '/api/schedule');
    await freshly(page);
    await ask(page, 3, '1 EV', '1/60');
    await again(page);
    await field(page, 'Every').fill('1');
    await field(page, 'Unit of the interval').selectOption('hours');
    await field(page, 'Sets').fill('24');
    await field(page, 'Start').selectOption('Sunset');
    await field(page, 'Minutes').fill('15');
    await page.locator('.refusal[data-field="place"]').waitFor();
    await page.getByRole('button', { name: "Use this device's location" }).click();
    await caution(page).waitFor();
    expect(await field(page, 'Latitude (N)').inputValue()).toBe('47.4568');
    expect(asked.at(-1)).toMatchObject({
      schedule: {
        every: 3600,
        count: 24,
        start: 'sunset+15min',
        place: { latitude: 47.4568, longitude: -8.5 },
      },
    });
    expect(await caution(page).textContent()).toMatch(/crosses sunrise/);
    await wellLaid(page);
    await page.screenshot({ path: screenAt('phone-schedule-sunrise'), fullPage: true });
    await caution(page).getByRole('button', { name: 'Stop before sunrise' }).click();
    await caution(page).waitFor({ state: 'detached' });
    expect(await field(page, 'Finish').inputValue()).toBe('sunrise');
    expect(asked.at(-1)).toMatchObject({ schedule: { until: 'sunrise-20min' } });
    await trigger(page).waitFor();

    // Phones load a page anew as they like: nothing is to be filled in again.
    await page.reload();
    await page.getByText('Repeat every 1 hour').click();
    expect(await field(page, 'Latitude (N)').inputValue()).toBe('47.4568');
    expect(await field(page, 'Minutes').first().inputValue()).toBe('15');
    expect(await field(page, 'Finish').inputValue()).toBe('sunrise');
    await trigger(page).waitFor();
    expect(await trigger(page).textContent()).toMatch(/\d sets/);
    panel.forgetComplaints();
  });

  it('a browser that may not tell its position says so, and is not asked before a click', async () => {
    const page = await panel.open(LAPTOP, async (opened) => {
      await opened.addInitScript(() => {
        const counted = window as unknown as { askedForPlace: number };
        counted.askedForPlace = 0;
        const real = navigator.geolocation.getCurrentPosition.bind(navigator.geolocation);
        navigator.geolocation.getCurrentPosition = (...args) => {
          counted.askedForPlace += 1;
          real(...args);
        };
      });
    });
    const askedForPlace = () =>
      page.evaluate(() => (window as unknown as { askedForPlace: number }).askedForPlace);
    await freshly(page);
    await again(page);
    await figures(page).waitFor();
    expect(await askedForPlace()).toBe(0);
    await page.getByRole('button', { name: "Use this device's location" }).click();
    await page.getByText('Location is blocked in this browser').waitFor();
    expect(await askedForPlace()).toBe(1);
    await page.screenshot({ path: screenAt('laptop-schedule') });
  });

  it('light, sleep, overrun and circumstances reach the daemon as they were set', async () => {
    const page = await panel.open(NARROW);
    const asked = sentTo(page, '/api/schedule');
    await freshly(page);
    await ask(page, 3, '1 EV', '1/60');
    await again(page);
    await field(page, 'If a set overruns').selectOption('Start the next set at once');
    await page.getByLabel('Let the camera sleep').check();
    await field(page, 'Base exposure follows the light').check();
    await field(page, 'Slowest shutter').selectOption('4 s');
    const fastest = await field(page, 'Fastest shutter').locator('option').allTextContents();
    expect([fastest[0], fastest[1], fastest.includes('5 s')]).toEqual(['No limit', '4 s', false]);
    await field(page, 'ISO from').fill('100');
    await page.locator('.refusal[data-field="iso"]').waitFor();
    await field(page, 'to').fill('1600');
    await field(page, 'Largest change between sets').selectOption('1/3 EV');
    await page.getByText('Manual mode, no settling time').click();
    await page.getByText('Conditions', { exact: true }).click();
    await field(page, 'File size (MB)').fill('25');
    await expect
      .poll(() => asked.at(-1))
      .toMatchObject({
        schedule: { overrun: 'follow' },
        maySleep: true,
        light: { slowest: '4', isoLeast: 100, isoMost: 1600, mostPerSet: '1/3' },
        conditions: { fileBytes: 25_000_000 },
      });
    // 12 sets of 3 frames of 25 MB.
    await expect.poll(() => figures(page).textContent()).toMatch(/Storage900 MB/);
    await wellLaid(page);
    await page.screenshot({ path: screenAt('narrow-schedule'), fullPage: true });
    await field(page, 'File size (MB)').fill('0');
    await page.getByRole('alert').getByText('size of one file in megabytes').waitFor();
    expect(await field(page, 'File size (MB)').getAttribute('aria-invalid')).toBe('true');
  });
});

describe('a run on a schedule', () => {
  it('three sets are made, named and numbered, and seen on the time line', async () => {
    const page = await panel.open(PHONE);
    await freshly(page);
    await ask(page, 3, '1 EV', '1/60');
    await page.getByText('Name, note, viewpoint').click();
    await field(page, 'Name').fill('Boathouse at dusk');
    await page.getByRole('button', { name: 'Next viewpoint' }).click();
    await page.getByRole('button', { name: 'Next viewpoint' }).click();
    await page.getByText('Boathouse at dusk, viewpoint 2').waitFor();
    await again(page);
    await field(page, 'Every').fill('5');
    await field(page, 'Unit of the interval').selectOption('seconds');
    await field(page, 'Sets').fill('3');
    await hold(page);
    await page
      .locator('#run-heading')
      .getByText(/^Next set in \d\ss$/)
      .waitFor({ timeout: 15_000 });
    expect(await marks(page, 'complete').count()).toBeGreaterThanOrEqual(1);
    expect(await page.locator('.slots [data-slot]').count()).toBe(3);
    await wellLaid(page);
    await page.screenshot({ path: screenAt('phone-schedule-waiting') });
    await page
      .locator('main[data-view="ended"][data-schedule-state="complete"]')
      .waitFor({ timeout: 30_000 });
    await page.getByText('All 3 sets are complete.').first().waitFor();
    expect(await marks(page, 'complete').count()).toBe(3);
    await page.getByText('Set by set').click();
    expect(await page.getByRole('list', { name: 'Set by set' }).getByRole('listitem').count()).toBe(3);
    await wellLaid(page);

    const folders = (await readdir(panel.sets)).sort();
    const records = await Promise.all(
      folders.map(async (folder) =>
        setRecordSchema.parse(JSON.parse(await readFile(path.join(panel.sets, folder, 'set.json'), 'utf8'))),
      ),
    );
    expect(records.map(({ name, viewpoint, complete }) => ({ name, viewpoint, complete }))).toEqual(
      Array.from({ length: 3 }, () => ({ name: 'Boathouse at dusk', viewpoint: '2', complete: true })),
    );
    // The tripod moves on: name and number are there for the next set.
    await page.getByRole('button', { name: 'New set at viewpoint 3' }).click();
    await page.getByText('Boathouse at dusk, viewpoint 3').waitFor();
    await page.reload();
    await freshly(page);
    await page.getByText('Boathouse at dusk, viewpoint 3').waitFor();
  });

  it('Stop between two sets ends it, and calls nobody', async () => {
    const page = await panel.open(LAPTOP);
    await freshly(page);
    await ask(page, 3, '1 EV', '1/60');
    await again(page);
    await field(page, 'Sets').fill('5');
    await hold(page);
    await page
      .locator('#run-heading')
      .getByText(/^Next set in/)
      .waitFor({ timeout: 15_000 });
    await page.screenshot({ path: screenAt('laptop-schedule-waiting') });
    await page.getByRole('button', { name: 'Stop', exact: true }).click();
    await page.locator('main[data-view="ended"][data-schedule-state="stopped"]').waitFor();
    expect(await marks(page, 'not-made').count()).toBe(4);
    expect(await page.locator('[data-alarm]').getAttribute('data-alarm')).toBe('none');
  });
});

// --- What is put into the stream.

describe.each([NARROW, LAPTOP])('the time line, on a $name', (size) => {
  it.each([
    ['3 sets', { count: 3, passed: 1 }],
    ['500 sets', { count: 500, passed: 333, missed: [100, 101, 102], incomplete: [50] }],
  ] as const)('%s: one mark for each, in order, by shape and height', async (name, scene) => {
    const { page } = await panel.show(size, withDusk(scene));
    const slots = page.locator('.slots [data-slot]');
    await slots.first().waitFor();
    expect(await slots.evaluateAll((all) => all.map((one) => Number(one.getAttribute('data-slot'))))).toEqual(
      Array.from({ length: scene.count }, (_, slot) => slot),
    );
    const missed = 'missed' in scene ? scene.missed.length : 0;
    const incomplete = 'incomplete' in scene ? scene.incomplete.length : 0;
    expect(await marks(page, 'missed').count()).toBe(missed);
    expect(await marks(page, 'incomplete').count()).toBe(incomplete);
    expect(await marks(page, 'to-come').count()).toBe(scene.count - scene.passed);
    expect(await marks(page, 'complete').count()).toBe(scene.passed - missed - incomplete);
    const told = await page.locator('.slots').getAttribute('aria-label');
    expect(told).toMatch(new RegExp(`^${scene.passed - missed - incomplete} complete.* to come$`));
    await page
      .locator('#run-heading')
      .getByText(/^Next set in (1\smin\s5\d\ss|2\smin)/)
      .waitFor();
    await wellLaid(page);

    // Each is seen, none is wider than its row; the later of two sets lets in more light and stands higher.
    const boxes = await page.locator('.slots [data-went="complete"] .slot-mark').evaluateAll((all) =>
      all.map((one) => {
        const [mark, row] = [one.getBoundingClientRect(), one.parentElement?.parentElement];
        return {
          width: mark.width,
          height: mark.height,
          level: (row?.getBoundingClientRect().bottom ?? 0) - mark.bottom,
        };
      }),
    );
    expect(Math.min(...boxes.map(({ width }) => width))).toBeGreaterThan(3);
    expect(Math.min(...boxes.map(({ height }) => height))).toBeGreaterThan(3);
    if (scene.count > 3) {
      const [first, last] = [boxes.at(0)?.level ?? 0, boxes.at(-1)?.level ?? 0];
      expect(last).toBeGreaterThan(first + 5);
      await page.getByText('+2 EV since the first set shown').waitFor();
    }
    await page.screenshot({
      path: screenAt(`${size.name}-time-line-${name.replace(' ', '-')}`),
      fullPage: true,
    });
  });
});

it('marks differ in shape, not in colour alone; a set in hand and its slot are told apart from the others', async () => {
  const { page } = await panel.show(
    LAPTOP,
    withDusk({ count: 12, passed: 6, missed: [2], incomplete: [3], firing: true }),
  );
  await marks(page, 'in-hand').waitFor();
  // Without any colour: what is painted still differs.
  const pictures = await Promise.all(
    (['complete', 'incomplete', 'missed', 'in-hand', 'to-come'] as const).map(async (went) => {
      const mark = marks(page, went).first().locator('.slot-mark');
      return mark.evaluate((one) => {
        const { width, height, backgroundImage, borderTopWidth } = getComputedStyle(one);
        return [
          width,
          height,
          backgroundImage.replace(/(rgb|oklab|color)\([^)]*\)/g, ''),
          borderTopWidth,
        ].join(' ');
      });
    }),
  );
  expect(new Set(pictures).size).toBe(pictures.length);
});

const left = (mark: WatchMark): Watch => ({
  disk: {
    mark: 'fine',
    framesLeft: 9000,
    setsLeft: 1000,
    freeBytes: 3e11,
    sentence: 'There is room on the disk.',
  },
  card: { mark, framesLeft: 90, setsLeft: 10, sentence: 'The card has room for 90 more frames.' },
  battery: {
    mark: 'fine',
    framesLeft: null,
    setsLeft: null,
    percent: 80,
    sentence: 'The battery is at 80 %.',
  },
});

describe('what is left', () => {
  it('is one line while it lasts; what runs low stands under it, told apart by its shape', async () => {
    const { page, tell } = await panel.show(PHONE, (state) => ({
      ...withDusk({ count: 60, passed: 6 })(state),
      watch: left('fine'),
    }));
    const card = page.locator('.left');
    await card.getByText('Card 90 frames, 10 sets').waitFor();
    expect(await card.getByText('room for 90 more frames').isVisible()).toBe(false);
    tell({ type: 'watch', watch: left('low') });
    await card.getByText('room for 90 more frames').waitFor();
    expect(await card.getAttribute('data-mark')).toBe('low');
    const shapeOf = () => card.locator('[data-left="card"] svg').innerHTML();
    const low = await shapeOf();
    tell({ type: 'watch', watch: left('too-low') });
    await page.locator('.left[data-mark="too-low"]').waitFor();
    expect(await shapeOf()).not.toBe(low);
    await wellLaid(page);
    await page.screenshot({ path: screenAt('phone-left') });
  });
});

describe('the alarm', () => {
  /**
   * Counts what sounds and trembles, as the browser is told to. Nothing sounds before the page is touched, as browsers have it:
   * what drives this one here counts as a touch, now and then, so the rule is laid over it.
   */
  const listen = async (page: Page) => {
    await page.addInitScript(() => {
      const heard = { sounding: 0, trembles: 0 };
      (window as unknown as { heard: typeof heard }).heard = heard;
      const { start, stop } = AudioBufferSourceNode.prototype;
      AudioBufferSourceNode.prototype.start = function (...args) {
        heard.sounding += 1;
        start.apply(this, args);
      };
      AudioBufferSourceNode.prototype.stop = function (...args) {
        heard.sounding -= 1;
        stop.apply(this, args);
      };
      let isTouched = false;
      addEventListener(
        'pointerdown',
        () => {
          isTouched = true;
        },
        { capture: true },
      );
      window.AudioContext = class extends AudioContext {
        constructor() {
          super();
          if (!isTouched) void super.suspend();
        }
        override get state() {
          return isTouched ? super.state : 'suspended';
        }
        override resume() {
          return isTouched ? super.resume() : new Promise<void>(() => {});
        }
      };
      navigator.vibrate = (pattern) => {
        if (Array.isArray(pattern)) heard.trembles += 1;
        return true;
      };
    });
  };
  const heard = (page: Page) =>
    page.evaluate(() => (window as unknown as { heard: { sounding: number; trembles: number } }).heard);
  const band = (page: Page) => page.locator('[data-alarm] .alarm');
  const halted: ScheduleView = {
    ...(dusk({ count: 60, passed: 6 }).schedule as ScheduleView),
    ...{ state: 'halted', next: null, error: 'body-lost', endedAt: new Date().toISOString() },
    sentence: 'Stopped, because 3 sets in a row failed.',
  };
  const scene = withDusk({ count: 60, passed: 6 });

  it('without leave only the band tells, until it is seen', async () => {
    const { page, tell } = await panel.show(PHONE, scene, listen);
    await page
      .locator('#run-heading')
      .getByText(/^Next set in/)
      .waitFor();
    tell({ type: 'schedule', schedule: halted });
    await band(page).getByText('Stopped, because 3 sets in a row failed.').waitFor();
    await expect.poll(() => page.title()).toMatch(/^! Failed/);
    expect(await heard(page)).toEqual({ sounding: 0, trembles: 0 });
    await wellLaid(page);
    await page.screenshot({ path: screenAt('phone-alarm') });
    await page.getByRole('button', { name: 'Dismiss' }).click();
    await band(page).waitFor({ state: 'detached' });
    await expect.poll(() => page.title()).toBe('Evenrung');
    // What is seen is not called again, and what had halted before this page was opened is not news.
    await page.reload();
    await page.locator('main[data-view="running"]').waitFor();
  });

  it('with leave it sounds and trembles until it is seen; the leave is kept, and a silent browser says so', async () => {
    const { page, tell } = await panel.show(PHONE, scene, listen);
    await page.getByText('Alarm: off on this device').click();
    await field(page, 'Sound an alarm on this device').check();
    await page.locator('.alarm-setting[data-sound="ready"]').waitFor();
    expect((await heard(page)).sounding).toBe(0);
    await page.getByRole('button', { name: 'Try it' }).click();
    await expect.poll(async () => (await heard(page)).sounding).toBe(1);
    await page.getByRole('button', { name: 'Silence' }).click();
    await expect.poll(async () => (await heard(page)).sounding).toBe(0);

    tell({ type: 'schedule', schedule: halted });
    await band(page).waitFor();
    await expect.poll(async () => (await heard(page)).sounding).toBe(1);
    expect((await heard(page)).trembles).toBeGreaterThanOrEqual(2);
    await page.getByRole('button', { name: 'Dismiss' }).click();
    await expect.poll(async () => (await heard(page)).sounding).toBe(0);

    await page.reload();
    await page.locator('.alarm-setting[data-sound="blocked"]').waitFor();
    await page.getByText('Touch the page once to allow sound.').waitFor();
    await page.screenshot({ path: screenAt('phone-alarm-blocked') });
    await page.getByRole('heading', { name: 'Evenrung' }).click();
    await page.locator('.alarm-setting[data-sound="ready"]').waitFor();
  });

  it('a schedule that stops by itself calls; one that somebody stops does not', async () => {
    const { page, tell } = await panel.show(PHONE, scene, listen);
    const stopped = { ...halted, state: 'stopped', error: null } as const;
    tell({ type: 'schedule', schedule: { ...stopped, early: true } });
    await page.locator('[data-alarm="stopped"]').waitFor();
    const other = await panel.show(LAPTOP, scene, listen);
    other.tell({ type: 'schedule', schedule: stopped });
    await other.page.locator('main[data-schedule-state="stopped"]').waitFor();
    expect(await band(other.page).count()).toBe(0);
  });
});

it('a schedule that was cut off is asked about in its own words', async () => {
  const { page } = await panel.show(PHONE, (state) => ({
    ...state,
    run: null,
    unfinished: {
      ...{ run: 'run-of-dusk', startedAt: '2026-06-21T19:36:00.000Z', verified: 4, frames: 9, folder: null },
      ...{ set: null, scheduled: true, sentence: 'A schedule was cut off.' },
    },
  }));
  const card = page.getByRole('region', { name: 'Interrupted schedule' });
  await card.getByRole('button', { name: 'Resume' }).waitFor();
  expect(await trigger(page).count()).toBe(0);
});

it('what is to be known of a frame stands on its rung', async () => {
  const sentence = 'The pixels say that this frame is 1/2 EV off its neighbours.';
  const page = await panel.open(PHONE);
  await freshly(page);
  await ask(page, 3, '1 EV', '1/60');
  await hold(page);
  await page.locator('main[data-view="ended"][data-run-state="complete"]').waitFor();
  const { page: other } = await panel.show(NARROW, (state) => ({
    ...state,
    run: state.run && {
      ...state.run,
      frames: state.run.frames.map((frame) =>
        frame.number === 2 ? { ...frame, marks: [{ code: 'ratio' as const, sentence }] } : frame,
      ),
    },
  }));
  const rung = other.locator('.rung[data-frame="2"]');
  await rung.getByText(sentence).waitFor();
  expect(await rung.locator('.frame-mark svg').count()).toBe(1);
  // What no frame holds stands firmly on the rung, and in words where the set is told of: once.
  await other.locator('.rung[data-frame="1"] .clip [data-side="blown"][data-lost="true"]').waitFor();
  expect(await other.locator('.rung[data-frame="2"] [data-lost="true"]').count()).toBe(0);
  expect(await other.locator('[data-mark="clipped-light"]').count()).toBe(0);
  await other
    .locator('.lost [data-side="blown"]')
    .getByText(/^Highlights still blown out: \d+%/)
    .waitFor();
  await wellLaid(other);
  // On a laptop its sentence stands in few lines, with the button beside it or below.
  const before = page.viewportSize();
  await page.setViewportSize({ width: 1280, height: 800 });
  const lines = () =>
    page
      .locator('.dock .lost span')
      .first()
      .evaluate((words) => {
        const range = document.createRange();
        range.selectNodeContents(words);
        return new Set([...range.getClientRects()].map(({ top }) => Math.round(top))).size;
      });
  await expect.poll(lines).toBeLessThanOrEqual(3);
  await page.screenshot({ path: screenAt('laptop-lost') });
  if (before !== null) await page.setViewportSize(before);
  // The frames that would hold it are a press away: they are fired into the same set, and the others keep their numbers.
  await page.getByRole('button', { name: 'Add a darker and a brighter frame' }).click();
  await expect
    .poll(async () => (await rungNames(page)).at(-1), { timeout: 10_000 })
    .toMatch(/^Frame 4, −2 EV.*verified/);
  expect((await rungNames(page)).at(0)).toMatch(/^Frame 5, \+2 EV/);
  await page.getByText('All 5 frames are verified').first().waitFor();
});
