// The release of the practice body: held, let go, one frame after the other; what it tells, and what its buffer and its card do to it.
// The truth is what the shutter did.
import { afterEach, describe, expect, it } from 'vitest';
import {
  AT_ONCE,
  NO_TIME,
  PracticeBody,
  type PracticeEvent,
  type PracticeFile,
  type PracticeOptions,
} from '../../src/camera/practice/model.js';
import { sixths } from '../../src/exposure/index.js';

const EV = 6;
const pause = (ms: number) => new Promise((resolve) => setTimeout(resolve, ms));

interface Heeded {
  readonly body: PracticeBody;
  readonly files: PracticeFile[];
  /** Resolves with the end of so many presses. */
  over(presses?: number): Promise<void>;
  /** Resolves once so many files were told of. */
  told(count: number): Promise<void>;
}

const held: PracticeBody[] = [];

/** A burst that a failed test leaves would go on for ever. */
afterEach(() => {
  for (const body of held.splice(0)) body.letGo();
});

function heeded(options: Partial<PracticeOptions> = {}): Heeded {
  const body = new PracticeBody({ ...AT_ONCE, ...options });
  held.push(body);
  const files: PracticeFile[] = [];
  let over = 0;
  let heard = () => undefined as unknown;
  body.heed((event: PracticeEvent) => {
    if (event.is === 'file') files.push(event.file);
    else over += 1;
    heard();
  });
  const until = async (isSo: () => boolean) => {
    while (!isSo())
      await new Promise<void>((resolve) => {
        heard = resolve;
      });
  };
  return {
    body,
    files,
    over: (presses = 1) => until(() => over >= presses),
    told: (count) => until(() => files.length >= count),
  };
}

const positions = ({ shots }: PracticeBody) => shots.map(({ bracketPosition }) => bracketPosition);
const names = (files: readonly PracticeFile[]) => files.map(({ name }) => name);

describe('a release that is held', () => {
  it('makes one frame where frames do not follow each other', async () => {
    const { body, files, over } = heeded();
    expect(body.press()).toBe('taken');
    expect(body.busy).toBe(true);
    await over();
    expect([body.busy, body.isHeld, files.length]).toEqual([false, true, 1]);
    expect(body.press()).toBe('held');
    body.letGo();
    expect(body.press()).toBe('taken');
    await over(2);
    expect(names(files)).toEqual(['IMG_0001.JPG', 'IMG_0002.JPG']);
  });

  it('goes through the bracket, and stops there', async () => {
    const { body, files, over } = heeded();
    await body.change('drive', 'continuous');
    await body.change('bracketStep', sixths(EV));
    body.press();
    await over();
    expect(positions(body)).toEqual([0, -1, 1]);
    expect(body.shots.map(({ tv }) => tv)).toEqual([36, 42, 30]);
    expect(files).toHaveLength(3);
    body.letGo();
    body.press();
    await over(2);
    expect(positions(body)).toEqual([0, -1, 1, 0, -1, 1]);
  });

  it('goes on until it is let go where there is no bracket, and takes no other release meanwhile', async () => {
    const { body, files, over, told } = heeded({ timing: { ...NO_TIME, cycle: 0.02 } });
    await body.change('drive', 'continuous');
    body.press();
    await told(3);
    expect(body.press()).toBe('busy');
    body.letGo();
    await over();
    expect(files.length).toBeGreaterThanOrEqual(3);
    expect(files).toHaveLength(body.shots.length);
    const made = files.length;
    await pause(60);
    expect(body.shots).toHaveLength(made);
  });

  it('fires the entry of the drive only as long as it is held, from its beginning each time', async () => {
    const { body, over, told } = heeded({ shape: 'drive-entry', timing: { ...NO_TIME, cycle: 0.02 } });
    const entry = body.choices.drive.find((one) => typeof one === 'object' && one.press === 'all');
    if (typeof entry !== 'object') throw new Error('The practice body has no such drive.');
    await body.change('drive', entry);
    body.press();
    await over();
    expect(positions(body)).toEqual(entry.pattern);
    body.letGo();
    body.press();
    await told(entry.pattern.length + 1);
    body.letGo();
    await over(2);
    const second = positions(body).slice(entry.pattern.length);
    expect(second.length).toBeLessThan(entry.pattern.length);
    body.press();
    await over(3);
    expect(positions(body).slice(-entry.pattern.length)).toEqual(entry.pattern);
  });

  it('stops by itself after the frames that it was given, and is let go', async () => {
    const { body, files, over } = heeded({ shape: 'pattern' });
    await body.change('drive', 'continuous');
    body.press({ frames: 4 });
    await over();
    expect([files.length, body.isHeld]).toEqual([4, false]);
    await body.change('drive', 'single');
    body.press({ frames: 4 });
    await over(2);
    expect(files).toHaveLength(5);
  });

  it('lags before its first frame only', async () => {
    const { body, over } = heeded({ timing: { ...NO_TIME, releaseLag: 0.3 } });
    await body.change('drive', 'continuous');
    await body.change('bracketStep', sixths(EV));
    const since = performance.now();
    body.press();
    await over();
    expect(performance.now() - since).toBeGreaterThan(295);
    // Less than two lags: the rest is room for a machine that is busy.
    expect(performance.now() - since).toBeLessThan(600);
  });

  it('makes the frame in hand with the settings as they were, and the next one with those as they are', async () => {
    const { body, files, over, told } = heeded({ timing: { ...NO_TIME, cycle: 0.05 } });
    await body.change('drive', 'continuous');
    body.press();
    await told(1);
    await body.change('shutter', sixths(30));
    body.letGo();
    await over();
    expect(body.shots[0]?.tv).toBe(36);
    expect(body.shots[1]?.tv).toBe(36);
    expect(files).toHaveLength(2);
    body.press();
    await told(3);
    body.letGo();
    await over(2);
    expect(body.shots[2]?.tv).toBe(30);
  });

  it('raises the mirror first, if it is to, and says that it is over', async () => {
    const { body, files, over } = heeded();
    await body.change('mirrorLock', 'on');
    body.press();
    await over();
    expect(files).toHaveLength(0);
    body.letGo();
    body.press();
    await over(2);
    expect(files).toHaveLength(1);
  });
});

describe('files', () => {
  it('are two of one frame, under one number, in the order that the body has', async () => {
    for (const [pairOrder, order] of [
      ['raw-first', ['raw', 'jpeg']],
      ['jpeg-first', ['jpeg', 'raw']],
    ] as const) {
      const { body, files, over } = heeded({ pairOrder });
      await body.change('format', 'raw-and-jpeg');
      body.press();
      await over();
      expect(files.map(({ kind }) => kind)).toEqual(order);
      expect(names(files).toSorted()).toEqual(['IMG_0001.DNG', 'IMG_0001.JPG']);
      expect(new Set(files.map(({ frame }) => frame))).toEqual(new Set([1]));
      expect(new Set(files.map(({ takenAt }) => takenAt.getTime())).size).toBe(1);
      expect(body.files).toEqual(files);
      expect(body.framesLeft).toBe(20_000);
      expect(body.shots).toHaveLength(1);
    }
  });

  it('are raw alone, if the body is set so', async () => {
    const body = new PracticeBody(AT_ONCE);
    await body.change('format', 'raw');
    expect(names(await body.release())).toEqual(['IMG_0001.DNG']);
  });

  it('come apart where the second one takes its time', async () => {
    const { body, files, over, told } = heeded({ secondFileLater: 0.1 });
    await body.change('format', 'raw-and-jpeg');
    body.press();
    await told(1);
    const since = performance.now();
    expect(files).toHaveLength(1);
    await over();
    expect(files).toHaveLength(2);
    expect(performance.now() - since).toBeGreaterThan(90);
  });

  it('go into another folder once one is full, and only the latest frames keep their bytes', async () => {
    const { body, files } = heeded({ framesPerFolder: 20 });
    await body.change('format', 'raw-and-jpeg');
    await body.change('target', 'card');
    for (let frame = 0; frame < 41; frame += 1) await body.release();
    expect(files).toHaveLength(0);
    expect(body.files).toHaveLength(64);
    expect(body.files[0]).toMatchObject({ folder: '100EVRNG', name: 'IMG_0010.DNG', frame: 10 });
    expect(body.files.at(-1)).toMatchObject({ folder: '102EVRNG', name: 'IMG_0001.JPG', frame: 41 });
    expect(body.framesLeft).toBe(20_000 - 41);
  });

  it('may be changed, kept back and exchanged by whoever steps in, and the card shows it', async () => {
    const { body, files, over } = heeded({ shape: 'pattern' });
    const short = Buffer.from('short');
    await body.change('drive', 'continuous');
    const out = body.beforeTelling((made) =>
      made[0]?.frame === 1 ? [] : made.map((file) => ({ ...file, content: short })),
    );
    body.press({ frames: 2 });
    await over();
    expect(files.map(({ frame, content }) => [frame, content])).toEqual([[2, short]]);
    expect(body.files.map(({ frame }) => frame)).toEqual([1, 2]);
    expect(body.files[1]?.content).toBe(short);
    out();
    body.press({ frames: 1 });
    await over(2);
    expect(files.at(-1)?.content.length).toBeGreaterThan(1000);
  });
});

describe('bulb', () => {
  it('is open while the release is held, and records how long it was', async () => {
    const { body, files, over } = heeded();
    await body.change('shutter', 'bulb');
    body.press();
    await pause(300);
    expect(body.busy).toBe(true);
    body.letGo();
    await over();
    const { openSeconds = 0, tv } = body.shots[0] ?? {};
    expect(openSeconds).toBeGreaterThan(0.28);
    expect(openSeconds).toBeLessThan(0.6);
    expect(tv).toBe(Math.round(-6 * Math.log2(openSeconds)));
    expect(files).toHaveLength(1);
  });

  it('passes as fast as its exposures do, and is followed by a dark frame', async () => {
    const { body, over } = heeded({ timing: { ...NO_TIME, exposureScale: 0.001 } });
    await body.change('shutter', 'bulb');
    await body.change('noiseReduction', 'on');
    const since = performance.now();
    body.press({ holdSeconds: 200 });
    await over();
    expect(performance.now() - since).toBeGreaterThan(395);
    expect(body.shots[0]?.openSeconds).toBeGreaterThan(190);
    expect(body.shots[0]?.openSeconds).toBeLessThan(300);
    expect(body.isHeld).toBe(false);
  });

  it('takes as long as it was to be, on a body that takes no time', async () => {
    const { body, over } = heeded();
    await body.change('shutter', 'bulb');
    body.press({ holdSeconds: 95 });
    await over();
    expect(body.shots).toEqual([{ tv: -39, bracketPosition: 0, clamped: false, openSeconds: 95 }]);
  });

  it('is not on every body', () => {
    expect(new PracticeBody({ shape: 'none' }).choices.shutter).not.toContain('bulb');
    expect(new PracticeBody({ bulb: false }).choices.shutter).not.toContain('bulb');
    expect(new PracticeBody().choices.shutter[0]).toBe('bulb');
  });
});

describe('buffer and card', () => {
  it('a full buffer has the next frame wait until one is written', async () => {
    const { body, files, over } = heeded({
      shape: 'pattern',
      bufferFrames: 2,
      timing: { ...NO_TIME, write: 0.1 },
    });
    await body.change('drive', 'continuous');
    const ahead: number[] = [];
    body.heed((event) => {
      if (event.is === 'file') ahead.push(body.shots.length - event.file.frame);
    });
    const since = performance.now();
    body.press({ frames: 5, place: 'card' });
    await over();
    expect(performance.now() - since).toBeGreaterThan(490);
    expect(files).toHaveLength(5);
    // Never more than the buffer holds beside the one that has just left it.
    expect(Math.max(...ahead)).toBeLessThanOrEqual(2);
    expect(Math.max(...ahead)).toBeGreaterThan(0);
  });

  it('a frame in memory fills the buffer until its files are fetched', async () => {
    const { body, files, over } = heeded({ bufferFrames: 1 });
    await body.change('format', 'raw-and-jpeg');
    body.press();
    body.letGo();
    await over();
    expect(body.press()).toBe('busy');
    for (const file of files) body.fetched(file);
    expect(body.press()).toBe('taken');
    await over(2);
  });

  it('a burst that waits for room ends when it is let go', async () => {
    const { body, over, told } = heeded({ bufferFrames: 1 });
    await body.change('drive', 'continuous');
    body.press();
    await told(1);
    await pause(30);
    body.letGo();
    await over();
    expect(body.shots).toHaveLength(1);
  });

  it('a full card ends the burst; the next release is refused, unless it goes into the memory', async () => {
    const { body, files, over } = heeded({ cardFrames: 2 });
    await body.change('drive', 'continuous');
    body.press({ place: 'card' });
    await over();
    body.letGo();
    expect([files.length, body.framesLeft]).toEqual([2, 0]);
    expect(body.press({ place: 'card' })).toBe('card-full');
    expect([body.isHeld, body.shots.length]).toEqual([false, 2]);
    expect(body.press({ place: 'memory', frames: 1 })).toBe('taken');
    await over(2);
    expect(files.map(({ place }) => place)).toEqual(['card', 'card', 'memory']);
  });

  it('is busy for a while after a release, if it is to be', async () => {
    const { body, over } = heeded({ busyWhileWriting: 0.1 });
    body.press();
    body.letGo();
    await over();
    expect([body.press(), body.busy, body.underWay]).toEqual(['busy', true, false]);
    await pause(110);
    expect(body.press()).toBe('taken');
    await over(2);
  });

  it('sends nothing while it exposes, if it does not', async () => {
    const timing = { ...NO_TIME, exposureScale: 1 };
    const [waits, refuses] = (['waits', 'refuses'] as const).map((whileExposing) =>
      heeded({ timing, whileExposing }),
    );
    if (waits === undefined || refuses === undefined) throw new Error('There are two.');
    for (const { body } of [waits, refuses]) {
      await body.change('shutter', sixths(12));
      body.press();
    }
    const since = performance.now();
    expect(await refuses.body.maySend()).toBe(false);
    expect(await waits.body.maySend()).toBe(true);
    expect(performance.now() - since).toBeGreaterThan(240);
    await refuses.over();
    expect(await refuses.body.maySend()).toBe(true);
  });
});
