// The practice body as libgphoto2 meets it under PTP vendor extension 0x0B: dialect A where the body has an auto-bracket,
// dialect D where it has none (the bracket property is not shown, everything else is the same). It translates between
// property codes and the body's state, and decides nothing that a camera decides.
//
// Under this extension settings are not asked for. They come as records of a list that the initiator fetches again and
// again (0x9116): values as 0xC189, choices as 0xC18A, new pictures as 0xC181 or, where they wait in the body's memory, as
// 0xC186. Numbers and layouts were read off libgphoto2 2.5.30, camlibs/ptp2 (ptp.h, ptp-pack.c, config.c, library.c).
import type {
  PracticeBody,
  PracticeFile,
  PracticeShutter,
  PracticeState,
} from '../../../src/camera/practice/model.js';
import { type Sixths, sixths } from '../../../src/exposure/index.js';
import { array, u16, u32 } from './bytes.js';
import { Card, STORAGE } from './card.js';
import { OBJECT_FORMAT, RESPONSE } from './codes.js';
import { type Face, type Handler, type PtpAnswer, type PtpRequest, pressed } from './responder.js';

const VENDOR_EXTENSION = 0x0b;

export const AMOUNT_OPERATION = {
  getStorageIds: 0x9101,
  getStorageInfo: 0x9102,
  listFolder: 0x9109,
  setProperty: 0x9110,
  setRemoteMode: 0x9114,
  setEventMode: 0x9115,
  getEvents: 0x9116,
  transferComplete: 0x9117,
  setHostCapacity: 0x911a,
  lockControls: 0x911b,
  unlockControls: 0x911c,
  keepOn: 0x911d,
  bulbStart: 0x9125,
  bulbEnd: 0x9126,
  requestProperty: 0x9127,
  press: 0x9128,
  letGo: 0x9129,
} as const;

const RECORD = {
  end: 0,
  pictureOnCard: 0xc181,
  pictureInMemory: 0xc186,
  value: 0xc189,
  choices: 0xc18a,
  status: 0xc18b,
  shutdownTimer: 0xc18e,
  readings: 0xc1a5,
} as const;

const PROPERTY = {
  aperture: 0xd101,
  shutter: 0xd102,
  iso: 0xd103,
  compensation: 0xd104,
  mode: 0xd105,
  drive: 0xd106,
  focus: 0xd108,
  whiteBalance: 0xd109,
  battery: 0xd111,
  owner: 0xd115,
  framesLeft: 0xd11b,
  target: 0xd11c,
  imageFormat: 0xd120,
  serial: 0xd1af,
  liveViewOutput: 0xd1b0,
  bracket: 0xd1d9,
} as const;

/** The two positions of the release, each a bit: 3 presses through both. */
const HALF = 1;
const FULL = 2;

const BUSY = 1;
const READY = 0;

// Exposures are written in eighths of an EV, in which a third is 3 and two thirds are 5.
const EIGHTHS_OF_SIXTHS = [0, 1, 3, 4, 5, 7];

/** @returns eighths of an EV; 2/3 EV is 5, -1/3 EV is -3 */
export function eighths(value: Sixths): number {
  const whole = Math.floor(value / 6);
  return whole * 8 + (EIGHTHS_OF_SIXTHS[value - whole * 6] ?? 0);
}

// Where the scales have their zero: f/1, 1 s, and ISO 100.
const APERTURE_1 = 0x08;
const ONE_SECOND = 0x38;
const ISO_100 = 0x48;
const BULB = 0x0c;
const shutterCode = (tv: PracticeShutter): number => (tv === 'bulb' ? BULB : ONE_SECOND + eighths(tv));
/** Shown for the shutter where the body chooses it. */
const CHOSEN_BY_BODY = 0;

/** ISO steps are thirds: 125 is 1/3 EV above 100. */
const isoCode = (iso: number): number => ISO_100 + eighths(sixths(Math.round(Math.log2(iso / 100) * 3) * 2));

interface Property {
  /** The value as it stands in a record, padded to whole words. */
  readonly value: () => Buffer;
  /** What can be chosen, where the body says so. */
  readonly choices?: () => readonly Buffer[];
  /** @returns false where the body does not take it */
  readonly change?: (written: Buffer) => Promise<boolean>;
}

const padded = (bytes: Buffer): Buffer => Buffer.concat([bytes, Buffer.alloc(-bytes.length & 3)]);

/** Strings are plain ASCII with a closing zero here. */
const asciiText = (value: string): Buffer => padded(Buffer.from(`${value}\0`, 'latin1'));

const record = (type: number, content: Buffer): Buffer =>
  Buffer.concat([u32(8 + content.length), u32(type), content]);

const END_OF_RECORDS = record(RECORD.end, Buffer.alloc(0));

const LIST_OF_WORDS = 3;

function addedToCard(handle: number, format: number, size: number, parent: number, name: string): Buffer {
  const place = [u32(handle), u32(STORAGE), u16(format), u16(0), u32(0), u32(0)];
  const content = [...place, u32(size), u32(parent), u32(handle), asciiText(name)];
  return record(RECORD.pictureOnCard, Buffer.concat(content));
}

const withoutChoices = ({ value, change }: Required<Property>): Property => ({ value, change });

/** Readings of the focus alone (mask 0x0100), six bytes that tell of success. */
const FOCUS_MASK = 0x0100;
const FOCUS_READING = Buffer.from([0, 0, 0, 0, 1, 0]);
const FOCUS_FOUND = record(
  RECORD.readings,
  Buffer.concat([u32(8 + FOCUS_READING.length), u16(FOCUS_MASK), u16(0), FOCUS_READING]),
);

const FULL_BATTERY = 2;
const LIVE_VIEW_OFF = 0;

/** Raw files of this extension. */
const RAW_FORMAT = 0xb103;
/** What a frame becomes: how many files, then each with its length here, its kind, its size and its compression. */
const LARGE_FINE_JPEG = [0x10, 1, 0, 3];
const RAW = [0x10, 6, 0, 4];
const FORMATS: Readonly<Record<PracticeState['format'], Buffer>> = {
  jpeg: Buffer.concat([1, ...LARGE_FINE_JPEG].map(u32)),
  'raw-and-jpeg': Buffer.concat([2, ...RAW, ...LARGE_FINE_JPEG].map(u32)),
  raw: Buffer.concat([1, ...RAW].map(u32)),
};

/** An entry of a folder: 52 bytes behind its length. The time is in seconds since 1970; whether by UTC or by the clock's own zone is not known. */
const ENTRY_BYTES = 56;
const ENTRY_NAME_BYTES = 16;

export class AmountFace implements Face {
  readonly card: Card;
  readonly handlers: ReadonlyMap<number, Handler>;
  readonly takingData: ReadonlySet<number> = new Set([AMOUNT_OPERATION.setProperty]);
  private readonly body: PracticeBody;
  private readonly properties: ReadonlyMap<number, Property>;
  /** The values that the initiator was told last; what differs from them goes into the next list. */
  private readonly told = new Map<number, Buffer>();
  private waiting: Buffer[] = [];

  constructor(body: PracticeBody) {
    this.body = body;
    this.card = new Card(body, RAW_FORMAT);
    this.properties = this.allProperties();
    this.handlers = this.allHandlers();
    body.heed((event) => {
      if (event.is === 'file') this.waiting.push(...this.newPicture(event.file));
      else this.waiting.push(record(RECORD.status, u32(READY)));
    });
  }

  letGo(): void {
    this.body.letGo();
  }

  describe() {
    const { model, options } = this.body;
    return { vendorExtension: VENDOR_EXTENSION, events: [], properties: [], model, serial: options.serial };
  }

  private allProperties(): Map<number, Property> {
    const { body } = this;
    const properties = new Map<number, Property>([
      [PROPERTY.aperture, this.coded('aperture', (av) => APERTURE_1 + eighths(av))],
      [
        PROPERTY.shutter,
        {
          ...this.coded('shutter', shutterCode),
          value: () => u32(body.state.mode === 'manual' ? shutterCode(body.state.shutter) : CHOSEN_BY_BODY),
        },
      ],
      [PROPERTY.iso, this.coded('iso', isoCode)],
      [PROPERTY.compensation, this.coded('compensation', (ev) => eighths(ev) & 0xff)],
      // A real body sends no choices for its mode dial.
      [PROPERTY.mode, withoutChoices(this.coded('mode', (mode) => (mode === 'manual' ? 3 : 2)))],
      [PROPERTY.drive, this.coded('drive', (drive) => (drive === 'single' ? 0 : 1))],
      [PROPERTY.focus, this.coded('focus', (focus) => (focus === 'manual' ? 3 : 0))],
      [PROPERTY.whiteBalance, this.coded('whiteBalance', (balance) => (balance === 'auto' ? 0 : 1))],
      [PROPERTY.target, this.coded('target', (target) => (target === 'card' ? 2 : 4))],
      [PROPERTY.battery, { value: () => u32(FULL_BATTERY) }],
      [PROPERTY.owner, { value: () => asciiText('') }],
      [PROPERTY.serial, { value: () => asciiText(body.options.serial) }],
      [PROPERTY.framesLeft, { value: () => u32(body.framesLeft) }],
      [
        PROPERTY.imageFormat,
        {
          value: () => FORMATS[body.state.format],
          choices: () => body.choices.format.map((format) => FORMATS[format]),
          change: async (written) => {
            const choice = body.choices.format.find((format) => written.equals(FORMATS[format]));
            return choice !== undefined && body.change('format', choice);
          },
        },
      ],
      // libgphoto2 waits half a second for this one before it takes the body as ready.
      [PROPERTY.liveViewOutput, { value: () => u32(LIVE_VIEW_OFF) }],
    ]);
    if (body.options.shape === 'amount') {
      properties.set(PROPERTY.bracket, this.coded('bracketStep', eighths));
    }
    return properties;
  }

  /** A setting of the body that is one number on the wire. */
  private coded<K extends keyof PracticeState>(
    of: K,
    code: (value: PracticeState[K]) => number,
  ): Required<Property> {
    const { body } = this;
    return {
      value: () => u32(code(body.state[of])),
      choices: () => body.choices[of].map((choice) => u32(code(choice))),
      change: async (written) => {
        const wanted = written.readUInt32LE(0);
        const choice = body.choices[of].find((candidate) => code(candidate) === wanted);
        return choice !== undefined && body.change(of, choice);
      },
    };
  }

  private allHandlers(): Map<number, Handler> {
    const taken: Handler = () => ({});
    return new Map<number, Handler>([
      [AMOUNT_OPERATION.getStorageIds, () => ({ data: array(u32, [STORAGE]) })],
      [AMOUNT_OPERATION.getStorageInfo, () => ({ data: Buffer.alloc(40) })],
      [AMOUNT_OPERATION.setRemoteMode, taken],
      [
        AMOUNT_OPERATION.setEventMode,
        ({ parameters: [on = 0] }) => {
          // Whoever begins to listen is told everything.
          if (on !== 0) this.told.clear();
          return {};
        },
      ],
      [AMOUNT_OPERATION.setHostCapacity, taken],
      [AMOUNT_OPERATION.lockControls, taken],
      [AMOUNT_OPERATION.unlockControls, taken],
      [AMOUNT_OPERATION.keepOn, taken],
      [AMOUNT_OPERATION.letGo, (request) => this.buttonUp(request)],
      [AMOUNT_OPERATION.listFolder, (request) => this.listFolder(request)],
      ...this.bulbHandlers(),
      [AMOUNT_OPERATION.press, (request) => this.press(request)],
      [AMOUNT_OPERATION.getEvents, () => ({ data: this.takeRecords() })],
      [AMOUNT_OPERATION.setProperty, (request) => this.setProperty(request)],
      [
        AMOUNT_OPERATION.requestProperty,
        ({ parameters: [code = 0] }) => {
          if (!this.properties.has(code)) return { response: RESPONSE.generalError };
          this.told.delete(code);
          return {};
        },
      ],
      [
        AMOUNT_OPERATION.transferComplete,
        ({ parameters: [handle = 0] }) =>
          this.card.forget(handle) ? {} : { response: RESPONSE.invalidObjectHandle },
      ],
    ]);
  }

  private async setProperty({ data }: PtpRequest): Promise<PtpAnswer> {
    if (data === null) return { response: RESPONSE.generalError };
    const property = this.properties.get(data.readUInt32LE(4));
    if (property === undefined) return { response: RESPONSE.propertyNotSupported };
    if (property.change === undefined) return { response: RESPONSE.accessDenied };
    return (await property.change(data.subarray(8))) ? {} : { response: RESPONSE.invalidPropertyValue };
  }

  /** A press that leaves the half press out has been there before, or does without focusing. */
  private press({ parameters: [position = 0] }: PtpRequest): PtpAnswer {
    if ((position & FULL) !== 0) return this.open();
    if (position === HALF) {
      // Any press starts the body's own switch-off timer anew, and the body says so.
      this.waiting.push(record(RECORD.shutdownTimer, u32(0)));
      if (this.body.state.focus !== 'manual') this.waiting.push(FOCUS_FOUND);
    }
    return {};
  }

  private open(): PtpAnswer {
    const answer = this.body.press();
    if (answer === 'taken') this.waiting.push(record(RECORD.status, u32(BUSY)));
    return pressed(answer);
  }

  private buttonUp({ parameters: [position = 0] }: PtpRequest): PtpAnswer {
    if ((position & FULL) !== 0) this.body.letGo();
    return {};
  }

  private bulbHandlers(): [number, Handler][] {
    const { body } = this;
    if (!body.options.bulb) return [];
    return [
      [AMOUNT_OPERATION.bulbStart, () => (body.isBulb ? this.open() : { response: RESPONSE.generalError })],
      [
        AMOUNT_OPERATION.bulbEnd,
        () => {
          if (!body.isHeld) return { response: RESPONSE.generalError };
          body.letGo();
          return {};
        },
      ],
    ];
  }

  /** Everything in a folder at once. */
  private listFolder({ parameters: [, folder = 0] }: PtpRequest): PtpAnswer {
    const entries = this.card.handles(folder).map((handle) => this.entry(handle));
    return { data: Buffer.concat([u32(entries.length), ...entries]) };
  }

  private entry(handle: number): Buffer {
    const bytes = Buffer.alloc(ENTRY_BYTES);
    const info = this.card.info(handle);
    if (info === undefined) throw new Error(`The card lists ${handle}, and knows nothing of it.`);
    bytes.writeUInt32LE(ENTRY_BYTES, 0);
    bytes.writeUInt32LE(handle, 4);
    bytes.writeUInt32LE(info.storage, 8);
    bytes.writeUInt16LE(info.format, 12);
    bytes.writeUInt32LE(info.size, 24);
    bytes.write(info.name, 36, ENTRY_NAME_BYTES - 1, 'latin1');
    bytes.writeUInt32LE(Math.floor(info.takenAt.getTime() / 1000), 52);
    return bytes;
  }

  private newPicture(file: PracticeFile): Buffer[] {
    const { card } = this;
    const { name, content, kind } = file;
    const format = card.formatOf(kind);
    if (file.place === 'card') {
      const isNew = card.isNewFolder(file.folder);
      const folder = card.folder(file.folder);
      const added = addedToCard(card.add(file), format, content.length, folder, name);
      return isNew ? [this.newFolder(folder, file.folder), added] : [added];
    }
    const fields = [u32(card.add(file)), u16(format), u16(0), u32(0), u32(content.length), u32(0)];
    return [record(RECORD.pictureInMemory, Buffer.concat([...fields, asciiText(name)]))];
  }

  private newFolder(handle: number, name: string): Buffer {
    return addedToCard(handle, OBJECT_FORMAT.association, 0, this.card.info(handle)?.parent ?? 0, name);
  }

  /** What happened since the last time, whether the body was set over the wire or by hand. */
  private takeRecords(): Buffer {
    const records = this.waiting;
    this.waiting = [];
    for (const [code, property] of this.properties) {
      const value = property.value();
      const before = this.told.get(code);
      if (before?.equals(value)) continue;
      this.told.set(code, value);
      records.push(record(RECORD.value, Buffer.concat([u32(code), value])));
      const choices = property.choices?.();
      if (before !== undefined || choices === undefined) continue;
      const list = [u32(code), u32(LIST_OF_WORDS), u32(choices.length), ...choices];
      records.push(record(RECORD.choices, Buffer.concat(list)));
    }
    return Buffer.concat([...records, END_OF_RECORDS]);
  }
}
