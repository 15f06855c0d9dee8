// What bodies on the virtual USB port do with a release that is held, pairs of files, bulb, and their cards, with the truth taken from
// the body itself. They are reached over the direct way: the real libgphoto2 asks them for all of it. The binding cannot.
import { mkdtemp, readFile } from 'node:fs/promises';
import path from 'node:path';
import { describe, expect, it } from 'vitest';
import type { Button, Heard, Link, MadeFile, SettingChange } from '../../src/camera/link.js';
import { NO_TIME, type PracticeOptions } from '../../src/camera/practice/model.js';
import { readRecorded } from '../../src/frames/index.js';
import { type LinkedBody, withLinkedBody } from './linked-body.js';
import { PATTERN_OPERATION } from './ptp/pattern-face.js';
import type { FaceName } from './ptp/plugged-body.js';

/** The calls that a link has which takes release and fetch apart. */
type Apart = Required<Pick<Link, 'press' | 'unpress' | 'listen' | 'bring' | 'list'>> & Link;

interface Reached extends LinkedBody {
  readonly apart: Apart;
}

const reach = (
  face: FaceName,
  during: (reached: Reached) => Promise<void>,
  options: Partial<PracticeOptions> = {},
): Promise<void> =>
  withLinkedBody(face, (linked) => during({ ...linked, apart: apartOf(linked.link) }), {
    ...options,
    way: 'direct',
  });

function apartOf(link: Link): Apart {
  const { press, unpress, listen, bring, list } = link;
  if (!press || !unpress || !listen || !bring || !list) throw new Error('It does not take them apart.');
  return link as Apart;
}

const button = (down: readonly SettingChange[], up: readonly SettingChange[]): Button => ({ down, up });
const to = (name: string, value: string): SettingChange => ({ name, value });

const BULB = button([to('bulb', 'on')], [to('bulb', 'off')]);

interface Held {
  readonly button: Button | null;
  /** Sets the body up for a bracket of three frames, 1 EV apart, from one release. */
  readonly bracket: readonly SettingChange[];
  /** For frames that follow each other without a bracket. */
  readonly burst: readonly SettingChange[];
  readonly onCard: readonly SettingChange[];
}

const HELD: Readonly<Record<'amount' | 'pattern' | 'drive-entry', Held>> = {
  amount: {
    button: button([to('eosremoterelease', 'Immediate')], [to('eosremoterelease', 'Release Full')]),
    bracket: [to('drivemode', 'Continuous'), to('aeb', '+/- 1')],
    burst: [to('drivemode', 'Continuous')],
    onCard: [to('capturetarget', 'Memory card')],
  },
  pattern: {
    button: null,
    bracket: [
      to('capturemode', 'Burst'),
      to('burstnumber', '9'),
      to('bracketing', 'On'),
      to('aebracketingpattern', '3 images (normal, under and over)'),
      to('aebracketingstep', '1 EV'),
    ],
    burst: [to('capturemode', 'Burst'), to('burstnumber', '4')],
    onCard: [to('capturetarget', 'Memory card')],
  },
  'drive-entry': {
    button: button(
      [to('autofocus', 'on'), to('capture', 'on')],
      [to('capture', 'off'), to('autofocus', 'off')],
    ),
    bracket: [to('capturemode', 'Bracketing C 1.0 Steps 3 Pictures')],
    burst: [to('capturemode', 'Burst')],
    onCard: [],
  },
};
const HOLDING = Object.keys(HELD) as (keyof typeof HELD)[];

async function setUp(link: Link, changes: readonly SettingChange[]): Promise<void> {
  for (const { name, value } of changes) await link.changeSetting(name, value);
}

const press = ({ apart }: Reached, held: Button | null, exposureSeconds = 0.1) =>
  apart.press({ button: held, holdSeconds: null, exposureSeconds });

const LONG_MS = 20_000;

/** Listens until so many files were told of, and in any case for the end of the release where `over` says so. */
async function hear({ apart }: Reached, files: number, over = false): Promise<MadeFile[]> {
  const made: MadeFile[] = [];
  let isOver = false;
  const until = performance.now() + LONG_MS;
  while (made.length < files || (over && !isOver)) {
    if (performance.now() > until) throw new Error(`${made.length} of ${files} files were told of.`);
    const heard: Heard = await apart.listen(200);
    made.push(...heard.made);
    isOver ||= heard.isOver;
  }
  return made;
}

/** @returns what came of a file, fetched in pieces */
async function bring({ apart, into }: Reached, file: MadeFile, most = 20_000): Promise<string> {
  const folder = await mkdtemp(path.join(into, 'brought-'));
  const target = path.join(folder, file.name);
  for (let from = 0, isEnd = false; !isEnd; ) {
    const piece = await apart.bring({ file, to: target, from, most });
    from += piece.bytes;
    isEnd = piece.isEnd;
  }
  return target;
}

async function bytesOf(reached: Reached, files: readonly MadeFile[]): Promise<Buffer[]> {
  const all: Buffer[] = [];
  for (const file of files) all.push(await readFile(await bring(reached, file)));
  return all;
}

const positions = ({ body }: Reached) => body.shots.map(({ bracketPosition }) => bracketPosition);
const PACED = { timing: { ...NO_TIME, releaseLag: 0.05, cycle: 0.1 } };

describe.concurrent.each(HOLDING)('%s: a held release', (face) => {
  const { button: held, bracket, burst, onCard } = HELD[face];
  // Under 0x11 it is the library that makes the end up, and between two frames too: while the button is held it is not told.
  const tellsItsEnd = face !== 'drive-entry';

  it('makes the whole bracket, and every file of it is told of and comes whole', () =>
    reach(
      face,
      async (reached) => {
        const { apart, body } = reached;
        await setUp(apart, [...onCard, ...bracket]);
        await press(reached, held);
        const made = await hear(reached, 3, tellsItsEnd);
        await apart.unpress();
        expect(positions(reached)).toEqual([0, -1, 1]);
        expect(await bytesOf(reached, made)).toEqual(body.files.map(({ content }) => content));
        // The next one begins at its first frame.
        await press(reached, held);
        await hear(reached, 3, tellsItsEnd);
        await apart.unpress();
        expect(positions(reached)).toEqual([0, -1, 1, 0, -1, 1]);
      },
      PACED,
    ));

  it('makes pairs, both told of, under one number', () =>
    reach(
      face,
      async (reached) => {
        const { apart, body } = reached;
        await body.change('format', 'raw-and-jpeg');
        await setUp(apart, [...onCard, ...bracket]);
        await press(reached, held);
        const made = await hear(reached, 6, tellsItsEnd);
        await apart.unpress();
        expect(made.map(({ bytes }) => bytes)).toEqual(body.files.map(({ content }) => content.length));
        const kinds = body.files.map(({ kind }) => kind);
        expect(kinds).toEqual(['raw', 'jpeg', 'raw', 'jpeg', 'raw', 'jpeg']);
        expect(await bytesOf(reached, made)).toEqual(body.files.map(({ content }) => content));
        if (onCard.length === 0) return;
        expect(made.map(({ name }) => name)).toEqual(body.files.map(({ name }) => name));
      },
      PACED,
    ));

  it('goes on without a bracket until it is let go, or as long as the burst is', () =>
    reach(
      face,
      async (reached) => {
        const { apart, body } = reached;
        await setUp(apart, [...onCard, ...burst]);
        await press(reached, held);
        const made = await hear(reached, 4);
        await apart.unpress();
        await expect.poll(() => body.underWay).toBe(false);
        made.push(...(await hear(reached, body.shots.length - made.length)));
        expect(made).toHaveLength(body.shots.length);
        if (face === 'pattern') expect(body.shots).toHaveLength(4);
      },
      PACED,
    ));

  it('opens the shutter for as long as bulb is on, and the file records it', () =>
    reach(face, async (reached) => {
      const { apart, body } = reached;
      await setUp(apart, [...onCard, to('shutterspeed', face === 'amount' ? 'bulb' : 'Bulb')]);
      const since = performance.now();
      await press(reached, BULB);
      await new Promise((resolve) => setTimeout(resolve, 1200));
      expect(body.busy).toBe(true);
      await apart.unpress();
      const [file] = await hear(reached, 1, true);
      if (file === undefined) throw new Error('No file was told of.');
      const { openSeconds = 0 } = body.shots[0] ?? {};
      expect(openSeconds).toBeGreaterThan(1.1);
      expect(openSeconds).toBeLessThan((performance.now() - since) / 1000);
      const { exposureTime } = await readRecorded(await bring(reached, file));
      expect(exposureTime).toBeCloseTo(openSeconds, 3);
    }));

  it('waits, or is refused, while the body is busy', () =>
    reach(face, async (reached) => {
      const { apart, body, responder } = reached;
      await setUp(apart, onCard);
      // By hand, until it is let go by hand.
      const { shutter } = body.state;
      await body.change('shutter', 'bulb');
      body.press({ place: 'card' });
      await body.change('shutter', shutter);
      if (face === 'pattern') {
        const pressed = press(reached, held);
        // The library asks until the body is ready.
        await expect.poll(() => responder.count(PATTERN_OPERATION.isReady)).toBeGreaterThan(2);
        body.letGo();
        await pressed;
      } else {
        await expect(press(reached, held)).rejects.toMatchObject({
          code: 'body-busy',
          details: { released: false },
        });
        await apart.unpress();
        body.letGo();
        await expect.poll(() => body.busy).toBe(false);
        await press(reached, held);
      }
      await hear(reached, 2);
      expect(body.shots).toHaveLength(2);
    }));
});

describe.concurrent.each(['amount', 'pattern', 'standard'] as const)('%s: a card', (face) => {
  const held = face === 'standard' ? null : HELD[face].button;
  const onCard = face === 'standard' ? [] : HELD[face].onCard;

  it('that is full ends what is under way and refuses what comes after', () =>
    reach(
      face,
      async (reached) => {
        const { apart, body } = reached;
        await setUp(apart, onCard);
        if (face !== 'standard') await setUp(apart, HELD[face].burst);
        for (let made = 0; made < 2; ) {
          await press(reached, held);
          const files = await hear(reached, 1, true);
          made += files.length;
          await apart.unpress();
        }
        expect(body.shots).toHaveLength(2);
        expect(body.framesLeft).toBe(0);
        await expect(press(reached, held)).rejects.toMatchObject({ code: 'frame-missing' });
        expect(body.shots).toHaveLength(2);
        if (face !== 'standard') expect((await apart.readSettings()).get('availableshots')?.value).toBe('0');
      },
      { cardFrames: 2, ...PACED },
    ));

  it('is listed by whoever connects next, with every file in its folder; what is in memory is not', () =>
    reach(
      face,
      async (reached) => {
        const { apart, body } = reached;
        await body.change('format', 'raw-and-jpeg');
        for (let frame = 0; frame < 5; frame += 1) await body.release({ place: 'card' });
        await body.release({ place: 'memory' });
        const listed = await apart.list();
        const onCardNow = body.files.filter(({ place }) => place === 'card').slice(4);
        expect(
          listed.map(({ folder, name, bytes }) => [folder.split('/').slice(2).join('/'), name, bytes]),
        ).toEqual(onCardNow.map(({ folder, name, content }) => [`DCIM/${folder}`, name, content.length]));
        const wall = (at: Date) =>
          new Date(at.getTime() - at.getTimezoneOffset() * 60_000).toISOString().slice(0, 19);
        expect(listed.map(({ writtenAt }) => writtenAt)).toEqual(
          onCardNow.map(({ takenAt }) => wall(takenAt)),
        );
        expect(await bytesOf(reached, listed)).toEqual(onCardNow.map(({ content }) => content));
        // The first of three folders is none of the newest two.
        expect(onCardNow).toHaveLength(6);
      },
      { framesPerFolder: 2 },
    ));
});

describe.concurrent.each(['amount', 'pattern', 'standard', 'drive-entry'] as const)(
  '%s: a body that sends nothing while it exposes',
  (face) => {
    const held = face === 'standard' ? null : HELD[face].button;
    const onCard = face === 'standard' ? [] : HELD[face].onCard;
    const LONG = { ...NO_TIME, exposureScale: 20 };
    const EXPOSED_S = 20 / 64;

    it('sends once the shutter is closed', () =>
      reach(
        face,
        async (reached) => {
          const { apart, body } = reached;
          await setUp(apart, onCard);
          await press(reached, held);
          const [first] = await hear(reached, 1, true);
          await apart.unpress();
          if (first === undefined) throw new Error('No file was told of.');
          await press(reached, held);
          const since = performance.now();
          const [bytes] = await bytesOf(reached, [first]);
          expect(bytes).toEqual(body.files[0]?.content);
          // Under 0x11 the file has come with what told of it; under 0x0A the library presses until the exposure is over.
          const isHere = face === 'drive-entry' || face === 'pattern';
          if (!isHere) expect(performance.now() - since).toBeGreaterThan(EXPOSED_S * 1000 - 150);
          await hear(reached, 1, true);
          await apart.unpress();
        },
        { whileExposing: 'waits', timing: LONG },
      ));

    it('is busy until then', () =>
      reach(
        face,
        async (reached) => {
          const { apart, body } = reached;
          await setUp(apart, onCard);
          await press(reached, held);
          const [first] = await hear(reached, 1, true);
          await apart.unpress();
          if (first === undefined) throw new Error('No file was told of.');
          // By hand, so that nothing else is said over the wire meanwhile.
          body.press({ place: 'card' });
          const fetching = bytesOf(reached, [first]);
          if (face === 'drive-entry') await fetching;
          else await expect(fetching).rejects.toMatchObject({ code: 'body-busy' });
          await expect.poll(() => body.busy).toBe(false);
          body.letGo();
          expect(await bytesOf(reached, face === 'drive-entry' ? [] : [first])).toHaveLength(
            face === 'drive-entry' ? 0 : 1,
          );
        },
        { whileExposing: 'refuses', timing: { ...LONG, exposureScale: 128 } },
      ));
  },
);

it.concurrent('what a process that is gone was not told of is found on the card by the next one', () =>
  reach(
    'amount',
    async (reached) => {
      const { apart, body, link } = reached;
      await setUp(apart, [...HELD.amount.onCard, ...HELD.amount.bracket]);
      await press(reached, HELD.amount.button);
      link.kill();
      await expect.poll(() => body.shots.length, { timeout: 5000 }).toBe(3);
      const listed = await apart.list();
      expect(await bytesOf(reached, listed)).toEqual(body.files.map(({ content }) => content));
    },
    PACED,
  ));

it.concurrent('a cable that is pulled lets go of what was held', () =>
  reach('amount', async (reached) => {
    const { apart, body, usb } = reached;
    await setUp(apart, [...HELD.amount.onCard, to('shutterspeed', 'bulb')]);
    await press(reached, BULB);
    await usb.unplug();
    await expect.poll(() => body.busy).toBe(false);
    expect(body.shots).toHaveLength(1);
    await usb.plug();
    await expect.poll(() => apart.list().catch(() => [])).toHaveLength(1);
  }));

it.concurrent('pictures in the memory of a body of 0x0B come with what tells of them, and the buffer is free again', () =>
  reach(
    'amount',
    async (reached) => {
      const { apart, body } = reached;
      await body.change('format', 'raw-and-jpeg');
      await setUp(apart, HELD.amount.bracket);
      await press(reached, HELD.amount.button);
      const made = await hear(reached, 6, true);
      await apart.unpress();
      expect(await bytesOf(reached, made)).toEqual(body.files.map(({ content }) => content));
      expect(body.files.map(({ place }) => place)).toEqual(Array.from({ length: 6 }, () => 'memory'));
      expect(await apart.list()).toEqual([]);
    },
    { bufferFrames: 1, ...PACED },
  ));

describe.concurrent('traps', () => {
  it('bulb: a body of 0x0B refuses it unless its shutter is set to it, and one without it does not offer it', async () => {
    await reach('amount', async (reached) => {
      await expect(press(reached, BULB)).rejects.toThrow();
      expect(reached.body.shots).toHaveLength(0);
    });
    await reach('hidden', async ({ apart }) => {
      const settings = await apart.readSettings();
      expect(settings.has('bulb')).toBe(false);
      expect(settings.get('shutterspeed')?.choices).not.toContain('bulb');
    });
  });

  it('bulb in plain PTP: the library offers that of another family, which such a body does not know', () =>
    reach('standard', async (reached) => {
      expect((await reached.apart.readSettings()).has('bulb')).toBe(true);
      await expect(press(reached, BULB)).rejects.toThrow();
      expect(reached.body.shots).toHaveLength(0);
    }));

  it('bulb under 0x0A: the library waits 5 s for the end of it, and then reports a failure although the shutter is closed', () =>
    reach(
      'pattern',
      async (reached) => {
        const { apart, body } = reached;
        await setUp(apart, HELD.pattern.onCard);
        await press(reached, BULB);
        // The library has set it.
        expect(body.state.shutter).toBe('bulb');
        const since = performance.now();
        await apart.unpress().catch(() => undefined);
        expect(performance.now() - since).toBeGreaterThan(4900);
        expect(body.isHeld).toBe(false);
        expect(await hear(reached, 1, true)).toHaveLength(1);
        expect(body.shots[0]?.openSeconds).toBeLessThan(4);
      },
      { timing: { ...NO_TIME, cycle: 7 } },
    ));

  it.each([
    ['drive-entry', 'bulb'],
    ['drive-entry-leaping', -30],
  ] as const)(
    'under 0x11 bulb is offered in any case, and is out of reach where settings are moved: %s',
    async (face, found) => {
      await reach(face, async ({ apart, body }) => {
        const written = apart.changeSetting('shutterspeed', 'Bulb');
        if (found === 'bulb') expect((await written).value).toBe('Bulb');
        else await expect(written).rejects.toMatchObject({ code: 'setting-not-taken' });
        expect(body.state.shutter).toBe(found);
        await apart.changeSetting('shutterspeed', '1/60');
        expect(body.state.shutter).toBe(36);
      });
    },
  );
});
