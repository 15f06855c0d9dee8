// The link that calls libgphoto2 itself, through the camera process: release and fetch as two things, what a pulled cable or a killed
// process leaves, what becomes of the body with the daemon gone, and a library that is not as expected.
import { execFileSync, fork } from 'node:child_process';
import { once } from 'node:events';
import { cp, mkdtemp, readdir, readFile, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import path from 'node:path';
import { describe, expect, test } from 'vitest';
import { forgetsAt } from '../../src/camera/library/memory.js';
import type { Button, Heard, ListedFile, MadeFile, Piece, PressOptions } from '../../src/camera/link.js';
import { NO_TIME } from '../../src/camera/practice/model.js';
import { SupervisedLink } from '../../src/camera/process/supervised-link.js';
import { CAMERA_PROCESS, isAlive } from '../built.js';
import { type LinkedBody, withLinkedBody } from './linked-body.js';
import { AMOUNT_OPERATION } from './ptp/amount-face.js';
import { OPERATION, RESPONSE } from './ptp/codes.js';
import { FACES, type FaceName } from './ptp/plugged-body.js';

const WITHIN_4_S = { timeout: 4000, interval: 100 };

const withBody = (face: FaceName, during: (linked: LinkedBody) => Promise<void>) =>
  withLinkedBody(face, during, { way: 'direct' });

const PLAIN_RELEASE: PressOptions = { button: null, holdSeconds: null, exposureSeconds: 1 / 60 };

/** Listens until a file is told of. */
async function nextFile({ link }: LinkedBody): Promise<MadeFile> {
  const until = performance.now() + 10_000;
  while (performance.now() < until) {
    const [made] = (await link.listen(500)).made;
    if (made !== undefined) return made;
  }
  throw new Error('The body told of no file.');
}

/** Brings a file in pieces. @returns the pieces */
async function bringAll({ link }: LinkedBody, file: MadeFile, to: string, most: number): Promise<Piece[]> {
  const pieces: Piece[] = [];
  let from = 0;
  for (;;) {
    const piece = await link.bring({ file, to, from, most });
    pieces.push(piece);
    from += piece.bytes;
    if (piece.isEnd) return pieces;
    if (pieces.length > 10_000) throw new Error('The file has no end.');
  }
}

describe.each(FACES)('a release and its files apart (%s)', (face) => {
  test('pressed, heard, brought in pieces: what is on disk is what the body made, and nothing is told twice', () =>
    withBody(face, async (linked) => {
      const { link, body, into } = linked;
      const limits = await link.readLimits();
      expect(limits.apart?.library).toMatch(/^libgphoto2 2\.5\./);
      expect(await link.listen(0)).toEqual({ made: [], isOver: false });
      await link.press(PLAIN_RELEASE);
      const file = await nextFile(linked);
      expect(body.shots).toHaveLength(1);
      const { content } = body.files[0] ?? { content: Buffer.alloc(0) };
      expect(file.bytes).toBe(content.length);
      const to = path.join(into, 'frame');
      const pieces = await bringAll(linked, file, to, 1000);
      expect(pieces.length).toBeGreaterThan(3);
      expect(pieces.slice(0, -1).every(({ bytes, isEnd }) => bytes === 1000 && !isEnd)).toBe(true);
      expect((await readFile(to)).equals(content)).toBe(true);
      // The end comes with the file or after it.
      let heard: Heard = { made: [], isOver: false };
      for (let looks = 0; looks < 20 && !heard.isOver; looks += 1) heard = await link.listen(100);
      expect(heard).toEqual({ made: [], isOver: true });
      expect(await link.listen(0)).toEqual({ made: [], isOver: false });
      // Again, and all at once.
      await link.press(PLAIN_RELEASE);
      const second = await nextFile(linked);
      expect(second.name).not.toBe(file.name);
      const all = await link.bring({ file: second, to, from: 0, most: Number.MAX_SAFE_INTEGER });
      expect(all).toEqual({ bytes: second.bytes, isEnd: true });
      expect((await readFile(to)).equals(body.files[1]?.content ?? Buffer.alloc(0))).toBe(true);
    }));

  test('a file that is not there is told as such, and the body is not lost', () =>
    withBody(face, async (linked) => {
      const { link, into } = linked;
      const to = path.join(into, 'frame');
      await link.press(PLAIN_RELEASE);
      const file = await nextFile(linked);
      for (const wrong of [
        { ...file, name: 'NOTHERE.JPG' },
        { folder: '/store_00020001/DCIM/999NONE', name: 'NOTHERE.JPG', bytes: null },
        { folder: '/nowhere', name: 'NOTHERE.JPG', bytes: 5 },
      ]) {
        await expect(link.bring({ file: wrong, to, from: 0, most: 1000 })).rejects.toMatchObject({
          code: 'file-not-there',
        });
      }
      await bringAll(linked, file, to, 1_000_000);
      expect((await link.readSettings()).has('shutterspeed')).toBe(true);
    }));
});

test('a disk that takes no more: the file stays in the camera, and can be brought elsewhere', () =>
  withBody('standard', async (linked) => {
    const { link, into, body } = linked;
    await link.press(PLAIN_RELEASE);
    const file = await nextFile(linked);
    await expect(link.bring({ file, to: '/dev/full', from: 0, most: 1000 })).rejects.toMatchObject({
      code: 'storing-failed',
      message: expect.stringContaining('the disk is full'),
    });
    await expect(
      link.bring({ file, to: path.join(into, 'gone', 'frame'), from: 0, most: 1000 }),
    ).rejects.toMatchObject({ code: 'storing-failed' });
    // What is carried on must be there.
    await expect(
      link.bring({ file, to: path.join(into, 'frame'), from: 1000, most: 1000 }),
    ).rejects.toMatchObject({ code: 'storing-failed' });
    await bringAll(linked, file, path.join(into, 'frame'), 1000);
    expect((await readFile(path.join(into, 'frame'))).equals(body.files[0]?.content ?? Buffer.alloc(0))).toBe(
      true,
    );
  }));

test('a body that is busy has not been released', () =>
  withBody('amount', async ({ link, body, responder }) => {
    const take = responder.intercept(AMOUNT_OPERATION.press, async () => ({ response: RESPONSE.deviceBusy }));
    await expect(link.press(PLAIN_RELEASE)).rejects.toMatchObject({
      code: 'body-busy',
      details: { released: false },
    });
    take();
    expect(body.shots).toEqual([]);
    await link.press(PLAIN_RELEASE);
    await expect.poll(() => body.shots.length, WITHIN_4_S).toBe(1);
  }));

test('a body that took the press, and was busy when it was let go, has been released: it is not pressed again', () =>
  withBody('amount', async (linked) => {
    const { link, body, responder } = linked;
    const take = responder.intercept(AMOUNT_OPERATION.letGo, async () => ({ response: RESPONSE.deviceBusy }));
    const lettingGo = HELD.button?.up;
    await link.press({ ...PLAIN_RELEASE, lettingGo });
    take();
    await nextFile(linked);
    expect(body.shots).toHaveLength(1);
    await link.press({ ...PLAIN_RELEASE, lettingGo });
    await nextFile(linked);
    expect(body.shots).toHaveLength(2);
  }));

const HELD: PressOptions = {
  button: {
    down: [{ name: 'eosremoterelease', value: 'Immediate' }],
    up: [{ name: 'eosremoterelease', value: 'Release Full' }],
  },
  holdSeconds: null,
  exposureSeconds: 1 / 60,
};

const BULB: Button = { down: [{ name: 'bulb', value: 'on' }], up: [{ name: 'bulb', value: 'off' }] };

test('a button is pressed and let go as it was told to; one that is none is found out before anything is written', () =>
  withBody('amount', async ({ link, responder }) => {
    await expect(
      link.press({
        ...HELD,
        button: { down: HELD.button?.down ?? [], up: [{ name: 'eosremoterelease', value: 'Let it go' }] },
      }),
    ).rejects.toMatchObject({ code: 'choice-not-offered' });
    await expect(
      link.press({ ...HELD, button: { down: [{ name: 'no-such-button', value: 'on' }], up: [] } }),
    ).rejects.toMatchObject({ code: 'unknown-setting' });
    expect(responder.count(AMOUNT_OPERATION.press)).toBe(0);
    // Nothing is held yet.
    await link.unpress();
    expect(responder.count(AMOUNT_OPERATION.letGo)).toBe(0);
    await link.press(HELD);
    expect(responder.count(AMOUNT_OPERATION.press)).toBe(2);
    expect(responder.count(AMOUNT_OPERATION.letGo)).toBe(0);
    await link.unpress();
    expect(responder.count(AMOUNT_OPERATION.letGo)).toBe(1);
    await link.unpress();
    expect(responder.count(AMOUNT_OPERATION.letGo)).toBe(1);
  }));

test('a button whose second position is refused does not stay half pressed', () =>
  withBody('amount', async ({ link, body, responder }) => {
    responder.intercept(AMOUNT_OPERATION.press, async ({ parameters: [position] }, proceed) =>
      position === 1 ? proceed() : { response: RESPONSE.deviceBusy },
    );
    await expect(link.press(HELD)).rejects.toMatchObject({ code: 'body-busy', details: { released: false } });
    expect(body.shots).toEqual([]);
    expect(responder.count(AMOUNT_OPERATION.letGo)).toBe(1);
  }));

test('an end that the library makes up between two frames of a burst is not told while the button is held', () =>
  withLinkedBody(
    'drive-entry',
    async (linked) => {
      const { link } = linked;
      await link.readLimits();
      await link.changeSetting('capturemode', 'Bracketing C 1.0 Steps 3 Pictures');
      const [down, up] = ['on', 'off'].map((value) => [
        { name: 'autofocus', value },
        { name: 'capture', value },
      ]);
      await link.press({ ...HELD, button: { down: down ?? [], up: [...(up ?? [])].reverse() } });
      const heard: Heard[] = [];
      const files = () => heard.flatMap(({ made }) => made);
      const until = performance.now() + 10_000;
      while (files().length < 3 && performance.now() < until) heard.push(await link.listen(100));
      heard.push(await link.listen(300));
      expect(files()).toHaveLength(3);
      expect(heard.some(({ isOver }) => isOver)).toBe(false);
      await link.unpress();
      expect(await link.listen(300)).toEqual({ made: [], isOver: true });
    },
    { way: 'direct', timing: { ...NO_TIME, releaseLag: 0.05, cycle: 0.4 } },
  ));

test('a bulb exposure lasts as long as it was held for, while somebody listens', () =>
  withBody('amount', async (linked) => {
    const { link, body } = linked;
    await link.changeSetting('shutterspeed', 'bulb');
    await link.press({ button: BULB, holdSeconds: 1.5, exposureSeconds: 1.5 });
    await nextFile(linked);
    const { openSeconds = 0 } = body.shots[0] ?? {};
    expect(openSeconds).toBeGreaterThan(1.49);
    expect(openSeconds).toBeLessThan(3);
  }));

test('what is held for a time is let go by itself', () =>
  withBody('amount', async ({ link, responder }) => {
    const times: number[] = [];
    for (const operation of [AMOUNT_OPERATION.press, AMOUNT_OPERATION.letGo]) {
      responder.intercept(operation, (_, proceed) => {
        times.push(performance.now());
        return proceed();
      });
    }
    await link.press({ ...HELD, holdSeconds: 0.7 });
    await expect.poll(() => responder.count(AMOUNT_OPERATION.letGo), WITHIN_4_S).toBe(1);
    const held = (times[2] ?? 0) - (times[1] ?? 0);
    expect(held).toBeGreaterThan(690);
    expect(held).toBeLessThan(3000);
    await link.unpress();
    expect(responder.count(AMOUNT_OPERATION.letGo)).toBe(1);
  }));

describe('with the daemon gone', () => {
  interface Orphan {
    readonly exited: Promise<unknown>;
    readonly pid: number;
    call(method: string, ...args: unknown[]): Promise<unknown>;
    /** Calls, and does not wait. */
    send(method: string, ...args: unknown[]): void;
    leave(): void;
  }
  const withOrphan = (during: (orphan: Orphan, linked: LinkedBody) => Promise<void>) =>
    withBody('amount', async (linked) => {
      const home = await mkdtemp(path.join(tmpdir(), 'evenrung-home-'));
      const camera = fork(CAMERA_PROCESS, ['usb', 'direct'], {
        env: { ...process.env, ...linked.environment, HOME: home },
        serialization: 'advanced',
      });
      const exited = once(camera, 'exit');
      let id = 0;
      const send = (method: string, ...args: unknown[]) => {
        id += 1;
        camera.send({ id, method, args });
      };
      try {
        await during(
          {
            exited,
            pid: camera.pid ?? -1,
            send,
            call: async (method, ...args) => {
              send(method, ...args);
              const [answer] = await once(camera, 'message');
              expect(answer).toMatchObject({ ok: true });
              return answer.value;
            },
            leave: () => camera.disconnect(),
          },
          linked,
        );
      } finally {
        camera.kill('SIGKILL');
        await exited;
        await rm(home, { recursive: true, force: true });
      }
    });

  test('a button that is held goes up, and the body is closed properly', () =>
    withOrphan(async ({ call, leave, exited }, { responder }) => {
      await call('press', HELD);
      expect(responder.count(AMOUNT_OPERATION.letGo)).toBe(0);
      leave();
      await exited;
      expect(responder.count(AMOUNT_OPERATION.letGo)).toBe(1);
      expect(responder.count(OPERATION.closeSession)).toBe(1);
    }));

  test('a bulb exposure is held to its end, longer than a farewell takes; whoever listens is no hindrance, and nothing more is released', () =>
    withOrphan(async ({ call, send, leave, exited }, { responder, body }) => {
      await call('changeSetting', 'shutterspeed', 'bulb');
      await call('press', { button: BULB, holdSeconds: 5, exposureSeconds: 5 });
      send('listen', 600_000);
      send('press', PLAIN_RELEASE);
      leave();
      await exited;
      expect(body.shots).toHaveLength(1);
      expect(body.shots[0]?.openSeconds).toBeGreaterThan(4.95);
      expect(body.shots[0]?.openSeconds).toBeLessThan(8);
      expect(responder.count(OPERATION.closeSession)).toBe(1);
    }));

  test('what is just being pressed for a time is held to its end, too', () =>
    withOrphan(async ({ call, send, leave, exited }, { responder }) => {
      await call('readSettings');
      let pressed = 0;
      responder.intercept(AMOUNT_OPERATION.press, async ({ parameters: [position] }, proceed) => {
        if (position === 1) {
          leave();
          await new Promise((resolve) => setTimeout(resolve, 300));
        } else pressed = performance.now();
        return proceed();
      });
      send('press', { ...HELD, holdSeconds: 3 });
      await exited;
      const [letGo] = responder.transactions.filter(({ request }) => request.code === AMOUNT_OPERATION.letGo);
      expect(letGo).toBeDefined();
      expect(performance.now() - pressed).toBeGreaterThan(2900);
      expect(responder.count(OPERATION.closeSession)).toBe(1);
    }));

  test('a body that hangs does not keep the process', () =>
    withOrphan(async ({ call, send, leave, exited, pid }, { responder }) => {
      await call('readSettings');
      responder.intercept('any', () => new Promise(() => undefined));
      send('readSettings');
      const started = performance.now();
      leave();
      await exited;
      expect(isAlive(pid)).toBe(false);
      expect(performance.now() - started).toBeLessThan(6000);
    }));
});

test('a session is closed with the link, once', () =>
  withBody('standard', async ({ link, responder, usb }) => {
    await link.readSettings();
    expect(usb.connected).toBe(true);
    await link.letGo();
    expect(responder.count(OPERATION.closeSession)).toBe(1);
    expect(usb.connected).toBe(false);
  }));

for (const face of ['amount', 'standard'] as const) {
  /** Asks for pieces until `now` has cut one off. */
  const cutOff = async (linked: LinkedBody, file: MadeFile, to: string, now: () => void): Promise<number> => {
    const { link, responder } = linked;
    await link.bring({ file, to, from: 0, most: 1500 });
    const take = responder.intercept(OPERATION.getPartialObject, (_, proceed) => {
      now();
      return proceed();
    });
    await expect(link.bring({ file, to, from: 1500, most: 1500 })).rejects.toMatchObject({
      code: 'body-lost',
    });
    take();
    return 1500;
  };

  const carriesOn = async ({ link, body }: LinkedBody, file: MadeFile, to: string, from: number) => {
    const { bytes, isEnd } = await link.bring({ file, to, from, most: 10_000_000 });
    expect([bytes, isEnd]).toEqual([(file.bytes ?? 0) - from, true]);
    expect((await readFile(to)).equals(body.files[0]?.content ?? Buffer.alloc(0))).toBe(true);
  };

  test(`the cable pulled in the middle of a file (${face}): another process carries on where it broke off`, () =>
    withBody(face, async (linked) => {
      const { link, into, usb } = linked;
      await link.readSettings();
      if (face === 'amount') await link.changeSetting('capturetarget', 'Memory card');
      await link.press(PLAIN_RELEASE);
      const file = await nextFile(linked);
      const to = path.join(into, 'frame');
      const from = await cutOff(linked, file, to, () => void usb.unplug());
      await usb.plug();
      await carriesOn(linked, file, to, from);
    }));

  test(`the process killed in the middle of a file (${face}): the next one carries on`, () =>
    withBody(face, async (linked) => {
      const { link, into } = linked;
      await link.identify();
      if (face === 'amount') await link.changeSetting('capturetarget', 'Memory card');
      await link.press(PLAIN_RELEASE);
      const file = await nextFile(linked);
      const to = path.join(into, 'frame');
      const { pid = -1 } = link;
      const from = await cutOff(linked, file, to, () => process.kill(pid, 'SIGKILL'));
      await expect.poll(() => isAlive(pid), WITHIN_4_S).toBe(false);
      await carriesOn(linked, file, to, from);
    }));
}

test('files that come whole are on this disk as soon as they are told of: the next process finds them', () =>
  withBody('drive-entry', async (linked) => {
    const { link, into, body } = linked;
    await link.identify();
    const files: MadeFile[] = [];
    // The library itself forgets all but the last.
    for (let frame = 0; frame < 3; frame += 1) {
      await link.press(PLAIN_RELEASE);
      files.push(await nextFile(linked));
    }
    link.kill();
    for (const [index, file] of files.entries()) {
      const to = path.join(into, `frame-${index}`);
      await bringAll(linked, file, to, 5000);
      expect((await readFile(to)).equals(body.files[index]?.content ?? Buffer.alloc(0))).toBe(true);
    }
  }));

test('the card is listed, with names, sizes and the times of the camera, and what lies there can be brought', () =>
  withBody('standard', async (linked) => {
    const { link, into, card } = linked;
    for (let frame = 0; frame < 3; frame += 1) await link.fire({ into, exposureSeconds: 1 / 60 });
    const told = card.pictures.map(({ name, content, takenAt }) => {
      const at = new Date(takenAt.getTime() - takenAt.getTimezoneOffset() * 60_000);
      return { name, bytes: content.length, writtenAt: at.toISOString().slice(0, 19) };
    });
    const listed = await link.list();
    expect(listed.map(({ folder: _, ...file }: ListedFile) => file)).toEqual(told);
    link.kill();
    // Another process, which never heard of them.
    const [first] = await link.list();
    if (first === undefined) throw new Error('The card is empty.');
    const to = path.join(into, 'again');
    await bringAll(linked, first, to, 4096);
    expect((await readFile(to)).equals(card.pictures[0]?.content ?? Buffer.alloc(0))).toBe(true);
  }));

test('what is attached is told without opening it', () =>
  withBody('amount', async ({ link, responder }) => {
    const [attached, ...others] = await link.attached();
    expect(attached?.port).toBe('usb:001,002');
    expect(attached?.model).not.toBe('');
    expect(others).toEqual([]);
    expect(responder.transactions).toEqual([]);
  }));

test("the library's own words go into the log, and not into a sentence", () =>
  withBody('amount', async ({ link, printed, responder }) => {
    await link.readSettings();
    responder.intercept(AMOUNT_OPERATION.press, async () => ({ response: RESPONSE.generalError }));
    const failed = await link.press(PLAIN_RELEASE).then(
      () => 'pressed',
      (cause: Error) => cause.message,
    );
    await expect.poll(() => printed, WITHIN_4_S).toContainEqual(expect.stringMatching(/^### .*Half-Press/));
    expect(failed).not.toMatch(/Half-Press/i);
  }));

test('without the package koffi the sentence says so', async () => {
  // The compiled program in a place from where no package can be found.
  const bare = await mkdtemp(path.join(tmpdir(), 'evenrung-bare-'));
  const link = new SupervisedLink({
    kind: 'usb',
    way: 'direct',
    home: path.join(bare, 'home'),
    log: () => undefined,
    entry: path.join(bare, path.basename(CAMERA_PROCESS)),
  });
  try {
    await writeFile(path.join(bare, 'package.json'), JSON.stringify({ type: 'module' }));
    await cp(path.dirname(CAMERA_PROCESS), bare, { recursive: true });
    for (const call of [() => link.identify(), () => link.attached()]) {
      await expect(call()).rejects.toMatchObject({
        code: 'usb-not-available',
        message: expect.stringContaining('koffi'),
      });
    }
  } finally {
    await link.letGo();
    await rm(bare, { recursive: true, force: true });
  }
});

describe('a library that is not as expected', () => {
  /** A folder before those of the system, with a library of that name in it. */
  const withLibrary = async (make: (file: string) => Promise<void>, cause: RegExp) => {
    const folder = await mkdtemp(path.join(tmpdir(), 'evenrung-library-'));
    const link = new SupervisedLink({
      kind: 'usb',
      way: 'direct',
      home: path.join(folder, 'home'),
      log: () => undefined,
      entry: CAMERA_PROCESS,
      env: { LD_LIBRARY_PATH: folder },
    });
    try {
      await make(path.join(folder, 'libgphoto2.so.6'));
      await expect(link.identify()).rejects.toMatchObject({
        code: 'usb-not-available',
        message: expect.stringMatching(/^Cameras cannot be reached over USB here: .*Install libgphoto2/),
        details: { cause: expect.stringMatching(cause) },
      });
    } finally {
      await link.letGo();
      await rm(folder, { recursive: true, force: true });
    }
  };

  test('one that cannot be loaded', () =>
    withLibrary((file) => writeFile(file, 'no library'), /libgphoto2\.so\.6/));

  test('one that lacks functions', () =>
    withLibrary(async (file) => {
      const source = `${file}.c`;
      await writeFile(source, 'int gp_camera_new(void **camera) { return 0; }\n');
      execFileSync('cc', ['-shared', '-fPIC', '-o', file, source]);
    }, /missing: (?=.*gp_camera_file_read)(?!.*gp_camera_new\b)/));
});

test('a frame that is fired in one call is under a temporary name, with the size that the body told', () =>
  withBody('amount', async ({ link, into, body }) => {
    const fired = await link.fire({ into, exposureSeconds: 1 / 60 });
    expect(path.basename(fired.path)).toMatch(/^incoming\.\w{6}$/);
    expect(fired.saidBytes).toBe(body.files[0]?.content.length);
    expect(await readdir(into)).toHaveLength(1);
  }));

test('a setting whose answer is damaged once is asked for again, and is no setting that the camera does not have', () =>
  withBody('pattern', async ({ link, responder }) => {
    await link.readSettings();
    const forgotten = forgetsAt(Date.now()) - Date.now();
    await new Promise((resolve) => setTimeout(resolve, forgotten + 100));
    let damaged = 0;
    const out = responder.intercept(OPERATION.getPropertyDescription, async () => {
      damaged += 1;
      out();
      return { response: RESPONSE.generalError };
    });
    expect(await link.changeSetting('f-number', 'f/5.6')).toMatchObject({ value: 'f/5.6' });
    expect(damaged).toBe(1);
  }));
