// The faults: how each is made on a virtual body. It does not know what is expected of them.
import { chmodSync, readdirSync, renameSync, rmSync, statfsSync } from 'node:fs';
import path from 'node:path';
import { sixths } from '../../shared/ev.js';
import type { PracticeFile, PracticeShot } from '../../src/camera/practice/model.js';
import { fill as fillDisk, fillerIn } from '../harness/small-disk.js';
import { padJpeg } from '../pad-jpeg.js';
import { CONTAINER, type Container } from '../wire/ptp/containers.js';
import type { PtpAnswer, PtpRequest } from '../wire/ptp/responder.js';
import { frameTooMany, outOfOrder } from './burst-faults.js';
import { type Fault, FIRE_DEADLINE_MS, pause, type Struck } from './cell.js';

/** Response codes that nothing else here needs (ISO 15740, clause 11). */
const RESPONSE = { generalError: 0x2002, storeFull: 0x200c, storeReadOnly: 0x200e, deviceBusy: 0x2019 };
/** Reserved by the standard: no body may answer so. */
const UNKNOWN_RESPONSE = 0x2fff;
/** The answer of a body of vendor extension 0x0A that found no focus. */
const OUT_OF_FOCUS = 0xa002;

const CLAIMED = -53;
const NOT_ALLOWED = -7;

/** How long a body is busy. */
export const BUSY_MS = 600;
/** No container but the one with a picture is as long. */
const LONG = 2000;

/** Whether a release follows that it happens to. */
const isFrame = ({ point, isWithin }: Struck): boolean =>
  !isWithin && (typeof point === 'number' || point.includes('frame of'));

/** Whether the transaction opens the shutter. */
function isRelease({ code, parameters, data }: PtpRequest): boolean {
  switch (code) {
    case 0x9128:
      return ((parameters[0] ?? 0) & 2) !== 0;
    case 0x100e:
      return true;
    case 0x9207:
      return data === null || (parameters[0] === 0xd2c2 && data.readUInt16LE(0) === 2);
    default:
      return false;
  }
}

/** Steps in once: at a frame into its release, elsewhere into the next transaction. */
function once(
  cell: Struck,
  step: (proceed: () => Promise<PtpAnswer>) => Promise<PtpAnswer>,
  fits: (request: PtpRequest) => boolean = isFrame(cell) ? isRelease : () => true,
): void {
  const out = cell.wire().responder.intercept('any', (request, proceed) => {
    if (!fits(request)) return proceed();
    out();
    cell.hit();
    return step(proceed);
  });
}

/** At a frame, as soon as its shutter was released; elsewhere, now. */
async function whenReleased(cell: Struck, act: () => void | Promise<void>): Promise<void> {
  if (!isFrame(cell) || cell.plugged === undefined) return act();
  once(cell, async (proceed) => {
    const answer = await proceed();
    await act();
    return answer;
  });
}

const lifts = new WeakMap<Struck, () => void>();
const lift = (cell: Struck): void => lifts.get(cell)?.();

function answering(cell: Struck, response: number, fits: (request: PtpRequest) => boolean): () => void {
  const out = cell.wire().responder.intercept('any', async (request, proceed) => {
    if (!fits(request)) return proceed();
    cell.hit();
    return { response };
  });
  lifts.set(cell, out);
  return out;
}

/** Damages the next container that fits. */
function damage(
  cell: Struck,
  fits: (container: Container, packed: Buffer) => boolean,
  how: (packed: Buffer) => Buffer,
): void {
  const { usb } = cell.wire();
  usb.onTheLine = (packed, container) => {
    if (!fits(container, packed)) return packed;
    usb.onTheLine = (whole) => whole;
    cell.hit();
    return how(packed);
  };
}

const replaced = (packed: Buffer, write: (copy: Buffer) => void): Buffer => {
  const copy = Buffer.from(packed);
  write(copy);
  return copy;
};

/** Private parts of the practice body. */
interface Inside {
  turn: number;
  nextShot(bracket: unknown): PracticeShot;
}
const inside = (cell: Struck): Inside => cell.wire().body as unknown as Inside;

/** The next frame comes out differently from what was asked. */
function nextFrame(
  cell: Struck,
  change: (files: readonly PracticeFile[]) => readonly PracticeFile[] | Promise<readonly PracticeFile[]>,
): void {
  const out = cell.wire().body.beforeTelling((files) => {
    out();
    cell.hit();
    return change(files);
  });
}

/** libgphoto2 fetches files over 1 MB in pieces, shorter ones in one. */
const LONG_FILE_BYTES = 3_000_000;
const SHORT_FILE_BYTES = 800_000;

/** Every file of the body is at least so long. */
const filesOf =
  (bytes: number) =>
  (cell: Struck): void => {
    cell
      .wire()
      .body.beforeTelling((files) =>
        files.map((file) => ({ ...file, content: padJpeg(file.content, bytes) })),
      );
  };

const kill = (cell: Struck, signal: NodeJS.Signals) =>
  whenReleased(cell, () => {
    for (const pid of cell.processes()) {
      process.kill(pid, signal);
      cell.hit();
      cell.isBack();
    }
  });

/** The operations that bring files (ISO 15740, clause 10): whole, and a part from a byte on. */
const FETCHING = { whole: 0x1009, part: 0x101b };
const isFetch = ({ code }: PtpRequest): boolean => code === FETCHING.whole || code === FETCHING.part;
const isRest = ({ code, parameters: [, from = 0] }: PtpRequest): boolean =>
  code === FETCHING.part && from > 0;

/** Kills the camera process as soon as it asks for something that fits. */
function killAt(cell: Struck, fits: (request: PtpRequest) => boolean): void {
  const out = cell.wire().responder.intercept('any', (request, proceed) => {
    if (fits(request)) {
      out();
      for (const pid of cell.processes()) process.kill(pid, 'SIGKILL');
      cell.hit();
      cell.isBack();
    }
    return proceed();
  });
}

/** @returns whether a request is for another file than the first that was asked for */
function ofSecondFile({ name }: Struck): (request: PtpRequest) => boolean {
  const asked = new Set<number | undefined>();
  return (request) => {
    if (!isFetch(request)) return false;
    // Under vendor extension 0x11 what waits in the body's memory has one handle, whichever it is, and comes whole.
    asked.add(name === 'drive-entry' ? asked.size : request.parameters[0]);
    return asked.size > 1;
  };
}

/** The rest of no file comes until the heads of so many are here; then the cable is pulled. */
function pullAtHeads(cell: Struck, count: number): void {
  const heads = new Set<number | undefined>();
  const out = cell.wire().responder.intercept('any', async (request, proceed) => {
    if (isRest(request)) return { response: RESPONSE.deviceBusy };
    const answer = await proceed();
    if (!isFetch(request)) return answer;
    heads.add(request.parameters[0]);
    if (heads.size < count) return answer;
    out();
    setTimeout(() => {
      void pull(cell);
      setTimeout(() => void plugIn(cell), OUT_MS);
    });
    return answer;
  });
}

/** Counts as met with as soon as the body has said that it is busy. */
function seeBusy(cell: Struck): void {
  cell.wire().responder.intercept('any', async (_, proceed) => {
    const answer = await proceed();
    if (answer.response === RESPONSE.deviceBusy) cell.hit();
    return answer;
  });
}

async function pull(cell: Struck): Promise<void> {
  cell.hit();
  await cell.wire().usb.unplug();
}

const OUT_MS = 300;
const serials = new WeakMap<Struck, string | null>();

async function plugIn(cell: Struck): Promise<void> {
  await cell.wire().usb.plug();
  cell.isBack();
}

/** The room that a set keeps for its end takes half of it. */
const SMALL = { of: 'sets', kilobytes: 8192 } as const;
/** Less than a piece of a long file. */
const A_PIECE_BYTES = 300_000;
const FOR_THE_STATE = { of: 'state', kilobytes: 4096 } as const;
/** Takes a set of files that are fetched in pieces. */
const FOR_LONG_FILES = { of: 'sets', kilobytes: 40 * 1024 } as const;

const isSmallDisk = (folder: string): boolean => statfsSync(folder).type === TMPFS;
const TMPFS = 0x01021994;

function fillState({ stateFolder, journal }: Struck): void {
  if (isSmallDisk(stateFolder)) fill(stateFolder);
  // No small disk could be mounted: the journal is not written any more instead.
  else
    (journal as unknown as { database: { pragma(text: string): void } }).database.pragma('query_only = ON');
}

/** @param leaving bytes that the disk still takes */
function fill(folder: string, leaving = 0): void {
  if (!isSmallDisk(folder)) {
    // No small disk could be mounted: the folder is taken away instead.
    const [set = ''] = readdirSync(folder);
    const incoming = path.join(folder, set, '.incoming');
    if (process.getuid?.() === 0) renameSync(incoming, `${incoming}-away`);
    else chmodSync(incoming, 0o500);
    return;
  }
  fillDisk(folder, leaving);
}

/** The file that is being made is the one that the disk does not take. */
const fillsWithin = (cell: Struck) =>
  whenReleased(cell, () => {
    fill(cell.into, A_PIECE_BYTES);
    cell.hit();
  });

function setFree(folder: string): void {
  rmSync(fillerIn(folder), { force: true });
  for (const set of readdirSync(folder)) {
    const incoming = path.join(folder, set, '.incoming');
    try {
      if (process.getuid?.() === 0) renameSync(`${incoming}-away`, incoming);
      else chmodSync(incoming, 0o700);
    } catch {
      // It was a disk of its own.
    }
  }
}

export const FAULTS = {
  killed: { name: 'camera process killed', strike: (cell) => kill(cell, 'SIGKILL') },
  crashed: { name: 'camera process crashed', strike: (cell) => kill(cell, 'SIGSEGV') },
  pulled: {
    name: 'cable out and in',
    strike: (cell) =>
      whenReleased(cell, async () => {
        await pull(cell);
        setTimeout(() => void plugIn(cell), OUT_MS);
      }),
  },
  pulledTwice: {
    name: 'cable out again on the way',
    strike: (cell) =>
      whenReleased(cell, async () => {
        await pull(cell);
        await pause(OUT_MS);
        await cell.wire().usb.plug();
        // The first thing that is said over the new connection does not get through.
        const out = cell.wire().responder.intercept('any', async () => {
          out();
          await pull(cell);
          setTimeout(() => void plugIn(cell), OUT_MS);
          return { response: RESPONSE.generalError };
        });
      }),
  },
  offDiskFull: {
    name: 'switched off, then disk full',
    smallDisk: SMALL,
    strike: (cell) =>
      whenReleased(cell, async () => {
        await pull(cell);
        fill(cell.into);
      }),
    lift: (cell) => {
      setFree(cell.into);
      return cell.wire().usb.plug();
    },
  },
  otherSettings: {
    name: 'back with other settings',
    strike: (cell) =>
      whenReleased(cell, async () => {
        await pull(cell);
        const { body } = cell.wire();
        const { iso, aperture } = body.choices;
        await body.change('iso', iso.find((one) => one !== body.state.iso) ?? body.state.iso);
        await body.change(
          'aperture',
          aperture.find((one) => one !== body.state.aperture) ?? body.state.aperture,
        );
        setTimeout(() => void plugIn(cell), OUT_MS);
      }),
  },
  otherLens: {
    name: 'back with its lens moved',
    strike: (cell) =>
      whenReleased(cell, async () => {
        await pull(cell);
        cell.wire().body.focalLength = 35;
        setTimeout(() => void plugIn(cell), OUT_MS);
      }),
    lift: (cell) => {
      cell.wire().body.focalLength = 24;
    },
  },
  otherSerial: {
    name: 'another body in its place',
    strike: (cell) =>
      whenReleased(cell, async () => {
        await pull(cell);
        serials.set(cell, cell.wire().body.options.serial);
        Object.assign(cell.wire().body.options, { serial: 'NOT-THE-SAME' });
        await plugIn(cell);
      }),
    lift: (cell) => {
      Object.assign(cell.wire().body.options, { serial: serials.get(cell) });
    },
  },
  off: {
    name: 'switched off',
    strike: (cell) => whenReleased(cell, () => pull(cell)),
    lift: (cell) => cell.wire().usb.plug(),
  },
  flat: {
    name: 'battery flat',
    strike: (cell) => {
      Object.defineProperty(cell.wire().body, 'battery', { value: 3, configurable: true });
      return whenReleased(cell, () => pull(cell));
    },
    lift: (cell) => {
      Object.defineProperty(cell.wire().body, 'battery', { value: 80, configurable: true });
      return cell.wire().usb.plug();
    },
  },
  busy: {
    name: 'busy for a while',
    strike: (cell) => {
      const out = answering(cell, RESPONSE.deviceBusy, () => true);
      setTimeout(out, BUSY_MS);
    },
  },
  claimedAWhile: {
    name: 'claimed for a while',
    strike: (cell) =>
      whenReleased(cell, async () => {
        cell.wire().usb.refuse(CLAIMED);
        await pull(cell);
        await cell.wire().usb.plug();
        setTimeout(() => cell.wire().usb.refuse(null), 1200);
      }),
  },
  claimed: {
    name: 'claimed by another program',
    strike: (cell) =>
      whenReleased(cell, async () => {
        cell.wire().usb.refuse(CLAIMED);
        await pull(cell);
        await cell.wire().usb.plug();
      }),
    lift: (cell) => cell.wire().usb.refuse(null),
  },
  claimedAtFirst: {
    name: 'claimed when looked for',
    beforeLooking: true,
    strike: (cell) => cell.wire().usb.refuse(CLAIMED),
    lift: (cell) => cell.wire().usb.refuse(null),
  },
  notAllowedAtFirst: {
    name: 'no permission when looked for',
    beforeLooking: true,
    strike: (cell) => cell.wire().usb.refuse(NOT_ALLOWED),
    lift: (cell) => cell.wire().usb.refuse(null),
  },
  hang: {
    name: 'hang',
    strike: (cell) => once(cell, () => new Promise(() => undefined)),
  },
  cardFull: {
    name: 'card full',
    strike: (cell) => {
      Object.defineProperty(cell.wire().body, 'framesLeft', { value: 0, configurable: true });
      answering(cell, RESPONSE.storeFull, isRelease);
    },
    lift: (cell) => {
      Reflect.deleteProperty(cell.wire().body, 'framesLeft');
      lift(cell);
    },
  },
  cardLocked: {
    name: 'card locked',
    strike: (cell) => void answering(cell, RESPONSE.storeReadOnly, isRelease),
    lift,
  },
  noFocusOnce: {
    name: 'no focus once',
    strike: (cell) =>
      once(cell, async () => ({ response: cell.name === 'pattern' ? OUT_OF_FOCUS : RESPONSE.generalError })),
  },
  noFocus: {
    name: 'no focus ever',
    strike: (cell) =>
      void answering(cell, cell.name === 'pattern' ? OUT_OF_FOCUS : RESPONSE.generalError, isRelease),
    lift,
  },
  truncated: {
    name: 'container cut short',
    strike: (cell) =>
      damage(
        cell,
        (_, packed) => !isFrame(cell) || packed.length > LONG,
        (packed) => packed.subarray(0, Math.ceil(packed.length / 2)),
      ),
  },
  garbage: {
    name: 'garbage container',
    strike: (cell) =>
      damage(
        cell,
        () => true,
        (packed) => replaced(packed, (copy) => copy.fill(0xa5)),
      ),
  },
  wrongNumber: {
    name: 'wrong transaction number',
    strike: (cell) =>
      damage(
        cell,
        ({ type }) => type === CONTAINER.response,
        (packed) => replaced(packed, (copy) => copy.writeUInt32LE(copy.readUInt32LE(8) + 7, 8)),
      ),
  },
  unknownCode: {
    name: 'unknown response code',
    strike: (cell) => once(cell, async (proceed) => ({ ...(await proceed()), response: UNKNOWN_RESPONSE })),
  },
  missing: {
    name: 'frame missing',
    strike: (cell) => nextFrame(cell, () => []),
  },
  late: {
    name: 'frame late',
    strike: (cell) =>
      nextFrame(cell, async (files) => {
        await pause(FIRE_DEADLINE_MS + 1500);
        return files;
      }),
  },
  clamped: {
    name: 'frame clamped',
    strike: (cell) => {
      const body = inside(cell);
      const nextShot = body.nextShot.bind(body);
      body.nextShot = (bracket) => {
        body.nextShot = nextShot;
        cell.hit();
        const shot = nextShot(bracket);
        return { ...shot, tv: sixths(shot.tv + 2), clamped: true };
      };
    },
  },
  twice: {
    name: 'frame twice',
    strike: (cell) => nextFrame(cell, (files) => [...files, ...files]),
  },
  outOfStep: {
    name: 'bracket out of step',
    strike: (cell) => {
      inside(cell).turn += 1;
      cell.hit();
    },
  },
  fileShort: {
    name: 'file cut short',
    strike: (cell) =>
      nextFrame(cell, (files) =>
        files.map((file) => ({ ...file, content: file.content.subarray(0, file.content.length / 2) })),
      ),
  },
  killedAtFetch: {
    name: 'killed between release and fetch',
    strike: (cell) => killAt(cell, isFetch),
  },
  killedAtRest: {
    name: 'killed between head and rest',
    prepare: filesOf(LONG_FILE_BYTES),
    strike: (cell) => killAt(cell, isRest),
  },
  killedInBurst: {
    name: 'killed between two files',
    strike: (cell) => killAt(cell, ofSecondFile(cell)),
  },
  killedInPair: {
    name: 'killed between files of a pair',
    prepare: async (cell) => void (await cell.wire().body.change('format', 'raw-and-jpeg')),
    strike: (cell) => killAt(cell, ofSecondFile(cell)),
  },
  threeOnCard: {
    name: 'cable out with three on card',
    prepare: filesOf(LONG_FILE_BYTES),
    strike: (cell) => pullAtHeads(cell, 3),
  },
  busyWriting: {
    name: 'busy while it writes',
    body: { busyWhileWriting: 1.2 },
    strike: seeBusy,
  },
  oneTooMany: {
    name: 'one file too many',
    strike: (cell) => {
      frameTooMany(cell.wire().body, 1);
      cell.hit();
    },
  },
  outOfOrder: {
    name: 'files out of order',
    strike: (cell) => {
      outOfOrder(cell.wire().body, 1);
      cell.hit();
    },
  },
  cardFills: {
    name: 'card fills up in a bracket',
    strike: (cell) => {
      const { body } = cell.wire();
      Object.assign(body.options, { cardFrames: body.shots.length + 2 });
      cell.hit();
    },
    lift: (cell) => void Object.assign(cell.wire().body.options, { cardFrames: 20_000 }),
  },
  diskFull: {
    name: 'disk full',
    smallDisk: SMALL,
    strike: (cell) => {
      fill(cell.into);
      cell.hit();
    },
    lift: (cell) => setFree(cell.into),
  },
  stateDiskFull: {
    name: 'state disk full',
    smallDisk: FOR_THE_STATE,
    goesOnAfter: true,
    strike: (cell) => {
      fillState(cell);
      cell.hit();
    },
    lift: (cell) => rmSync(fillerIn(cell.stateFolder), { force: true }),
  },
  diskFillsWithin: {
    name: 'disk fills in a long file',
    smallDisk: FOR_LONG_FILES,
    prepare: filesOf(LONG_FILE_BYTES),
    strike: fillsWithin,
    lift: (cell) => setFree(cell.into),
  },
  diskFillsWithinShort: {
    name: 'disk fills in a file',
    smallDisk: FOR_LONG_FILES,
    prepare: filesOf(SHORT_FILE_BYTES),
    strike: fillsWithin,
    lift: (cell) => setFree(cell.into),
  },
} as const satisfies Record<string, Fault>;

export type FaultKey = keyof typeof FAULTS;
