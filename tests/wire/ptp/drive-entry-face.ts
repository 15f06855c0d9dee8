// The practice body as libgphoto2 meets it under PTP vendor extension 0x11: dialect C. It translates between property codes
// and the body's state, and decides nothing that a camera decides.
//
// Under this extension all settings are asked for at once (0x9209). They are changed by writing a value (0x9205) or by moving
// up and down from where they stand (0x9207), which also presses the release. A new picture waits in the body's memory
// behind one fixed handle, and a property says how many wait. Nothing of the card is shown. Numbers and layouts were read
// off libgphoto2 2.5.30, camlibs/ptp2 (ptp.h, ptp.c, ptp-pack.c, config.c, library.c); which properties are listed, which of
// them are ranges, which lists are empty and which settings are moved, off the records of real bodies beside it (cameras/).
import type {
  DriveEntry,
  PracticeBody,
  PracticeFile,
  PracticeShutter,
  PracticeState,
} from '../../../src/camera/practice/model.js';
import { SHUTTER_SCALES, type Sixths, toEv } from '../../../src/exposure/index.js';
import { array, hundredths, u16, u32 } from './bytes.js';
import { Card, STORAGE } from './card.js';
import { OPERATION, PROPERTY, RESPONSE } from './codes.js';
import {
  NO_PARENT,
  type PropertyDescription,
  packMovedPropertyDescription,
  packObjectInfo,
  VALUE_TYPE,
} from './datasets.js';
import { type Face, type Handler, type PtpAnswer, type PtpRequest, pressed } from './responder.js';

const VENDOR_EXTENSION = 0x11;

export const DRIVE_ENTRY_OPERATION = {
  connect: 0x9201,
  getExtendedInfo: 0x9202,
  write: 0x9205,
  move: 0x9207,
  getAllProperties: 0x9209,
} as const;

export const DRIVE_ENTRY_PROPERTY = {
  /** Shutter, ISO and compensation of bodies that move them. */
  shutter: 0xd20d,
  iso: 0xd21e,
  focusFound: 0xd213,
  picturesInMemory: 0xd215,
  battery: 0xd218,
  target: 0xd222,
  /** Shutter, ISO and compensation of bodies that take a value. */
  compensationWritten: 0xd224,
  isoWritten: 0xd226,
  shutterWritten: 0xd229,
  halfPress: 0xd2c1,
  fullPress: 0xd2c2,
  /** Presses for a bulb exposure; `fullPress` lets it go. */
  stillPress: 0xd2c7,
} as const;

/** Reported on the interrupt endpoint, with the handle, where a body tells of new pictures that way. */
export const PICTURE_ADDED = 0xc201;

/** Raw files of this extension. */
const RAW_FORMAT = 0xb101;

/** Where the picture is that has waited longest. */
export const IN_MEMORY = 0xffffc001;

/** Added to the count of waiting pictures as soon as they can be fetched. */
const CAN_BE_FETCHED = 0x8000;

/**
 * How shutter, ISO and compensation are changed: `written` as values, or moved up and down their scales: `leapt` any number of
 * settings at one command, `stepped` one setting a command, however many were asked for. The aperture of a body that
 * takes values is moved all the same.
 */
export type Manner = 'written' | 'leapt' | 'stepped';

/** A button's positions. */
const UP = 1;
const DOWN = 2;

const FOCUS_SEARCHING = 1;
const FOCUS_FOUND = 2;

/** In the extended information: what the two bytes before the lists say is not known. */
const INFO_HEAD = 0x00c8;

/** Bulb as an exposure time. */
const BULB = 0;

/** Numerator and denominator. From 0.4 s on in tenths: 30 s is 300/10. */
export function fractionCode(tv: PracticeShutter): number {
  if (tv === 'bulb') return BULB;
  const seconds = SHUTTER_SCALES.third.find((setting) => setting.tv === tv)?.nominalSeconds ?? 0;
  const [top, bottom] = seconds >= 0.4 ? [Math.round(seconds * 10), 10] : [1, Math.round(1 / seconds)];
  return top * 0x10000 + bottom;
}

/** 30/1 is the same time as 300/10; bulb is no time. */
const isSameFraction = (one: number, other: number): boolean =>
  one === other ||
  (one !== BULB && other !== BULB && (one >>> 16) * (other & 0xffff) === (other >>> 16) * (one & 0xffff));

/** Thousandths of EV with one digit: 1/3 is 300, 2/3 is 700. */
const tenthsAsThousandths = (value: Sixths): number => Math.round(toEv(value) * 10) * 100;

/** The lower half of an entry that fires a frame a press; 1 more where a press fires all. */
const STEP_CODES: ReadonlyMap<number, number> = new Map([
  // Sixths of an EV.
  [2, 0x36],
  [3, 0x56],
  [4, 0x76],
  [6, 0x10],
  [12, 0x20],
  [18, 0x30],
]);

function entryCode({ press, step, pattern }: DriveEntry): number {
  const code = STEP_CODES.get(step);
  if (code === undefined) throw new Error(`The extension has no entry for a step of ${step}/6 EV.`);
  return 0x8000 + pattern.length * 0x100 + code + (press === 'all' ? 1 : 0);
}

function driveCode(drive: PracticeState['drive']): number {
  if (typeof drive === 'object') return entryCode(drive);
  return drive === 'single' ? 1 : 2;
}

const FORMATS: Readonly<Record<PracticeState['format'], number>> = {
  jpeg: 0x03,
  'raw-and-jpeg': 0x13,
  raw: 0x10,
};

/** Settings with a scale. */
type Scaled = 'shutter' | 'aperture' | 'iso' | 'compensation';

interface Property {
  readonly describe: () => Omit<PropertyDescription, 'code' | 'settable'>;
  /** Takes a value. */
  readonly write?: (written: Buffer) => PtpAnswer;
  /** Takes a number of settings to move by, or a button's position. */
  readonly move?: (written: Buffer) => PtpAnswer;
}

const TAKEN: PtpAnswer = {};
const NONE_OF_THE_CHOICES: PtpAnswer = { response: RESPONSE.invalidPropertyValue };

const ANY_U16 = { from: 0, to: 0xffff };
const ANY_U32 = { from: 0, to: 0xffffffff };

export class DriveEntryFace implements Face {
  readonly card: Card;
  readonly handlers: ReadonlyMap<number, Handler>;
  readonly takingData: ReadonlySet<number> = new Set([
    DRIVE_ENTRY_OPERATION.write,
    DRIVE_ENTRY_OPERATION.move,
  ]);
  private readonly body: PracticeBody;
  private readonly manner: Manner;
  private readonly properties: ReadonlyMap<number, Property>;
  /** Pictures that can be fetched, oldest first. They outlive a connection. */
  private readonly inMemory: PracticeFile[] = [];
  private halfPressed = false;
  private fullPressed = false;

  constructor(body: PracticeBody, manner: Manner) {
    this.body = body;
    this.manner = manner;
    this.card = new Card(body, RAW_FORMAT);
    this.properties = this.allProperties();
    this.handlers = this.allHandlers();
    body.heed((event) => {
      if (event.is !== 'file') return;
      if (event.file.place === 'card') this.card.add(event.file);
      this.inMemory.push(event.file);
    });
  }

  letGo(): void {
    this.halfPressed = false;
    this.press(false);
  }

  describe() {
    const { model, options } = this.body;
    // The properties stand in the extended information.
    return { vendorExtension: VENDOR_EXTENSION, events: [], properties: [], model, serial: options.serial };
  }

  private allProperties(): Map<number, Property> {
    const { body } = this;
    const { u8, i8, u16, i16, u32 } = VALUE_TYPE;
    const theirs = DRIVE_ENTRY_PROPERTY;
    return new Map<number, Property>([
      [PROPERTY.compression, this.coded('format', u8, (format) => FORMATS[format])],
      [PROPERTY.whiteBalance, this.coded('whiteBalance', u16, (balance) => (balance === 'auto' ? 2 : 4))],
      [
        PROPERTY.aperture,
        { ...this.coded('aperture', u16, hundredths, ANY_U16), move: (by) => this.move('aperture', by) },
      ],
      [PROPERTY.focus, this.coded('focus', u16, (focus) => (focus === 'manual' ? 1 : 2))],
      [PROPERTY.mode, this.coded('mode', u16, (mode) => (mode === 'manual' ? 1 : 3))],
      ...this.scaled(
        'compensation',
        PROPERTY.compensation,
        theirs.compensationWritten,
        i16,
        tenthsAsThousandths,
      ),
      [PROPERTY.drive, this.coded('drive', u16, driveCode)],
      ...this.shutterProperties(),
      ...this.scaled('iso', theirs.iso, theirs.isoWritten, u32, (iso) => iso),
      [theirs.target, this.coded('target', u16, (target) => (target === 'card' ? 0x11 : 0x01))],
      [
        theirs.focusFound,
        {
          describe: () => ({
            type: u8,
            value: this.halfPressed && body.state.focus !== 'manual' ? FOCUS_FOUND : FOCUS_SEARCHING,
            form: { values: [1, 2, 3, 5, 6, 7] },
          }),
        },
      ],
      [theirs.picturesInMemory, { describe: () => ({ type: u16, value: this.waiting(), form: ANY_U16 }) }],
      [theirs.battery, { describe: () => ({ type: i8, value: body.battery, form: { from: -1, to: 100 } }) }],
      [
        theirs.halfPress,
        this.button(
          () => this.halfPressed,
          (down) => {
            this.halfPressed = down;
            return TAKEN;
          },
        ),
      ],
      [
        theirs.fullPress,
        this.button(
          () => this.fullPressed,
          (down) => this.press(down),
        ),
      ],
      ...(body.options.bulb
        ? [
            [
              theirs.stillPress,
              this.button(
                () => this.fullPressed,
                (down) => this.press(down),
              ),
            ] as const,
          ]
        : []),
    ]);
  }

  /** A setting that takes a value. */
  private coded<K extends keyof PracticeState>(
    of: K,
    type: PropertyDescription['type'],
    code: (value: PracticeState[K]) => number,
    form?: PropertyDescription['form'],
    isSame = (written: number, candidate: number) => written === candidate,
  ): Required<Pick<Property, 'describe' | 'write'>> {
    const { body } = this;
    return {
      describe: () => ({
        type,
        value: code(body.state[of]),
        form: form ?? { values: body.choices[of].map(code) },
      }),
      write: (written) => {
        // Where libgphoto2 does not know the type of a setting, it writes nothing at all.
        if (written.length !== type.write(0).length) return NONE_OF_THE_CHOICES;
        const wanted = type.read(written);
        const choice = body.choices[of].find((candidate) => isSame(wanted, code(candidate)));
        if (choice === undefined) return NONE_OF_THE_CHOICES;
        // Taken is not done: these bodies report the change when they have made it.
        void body.change(of, choice);
        return TAKEN;
      },
    };
  }

  /**
   * A setting that newer bodies take as a value, under a code of its own, while the list of the older code is empty; and that
   * older bodies move.
   */
  private scaled<K extends Exclude<Scaled, 'shutter' | 'aperture'>>(
    of: K,
    older: number,
    newer: number,
    type: PropertyDescription['type'],
    code: (value: PracticeState[K]) => number,
  ): [number, Property][] {
    const { describe, write } = this.coded(of, type, code);
    if (this.manner !== 'written') return [[older, { describe, move: (by) => this.move(of, by) }]];
    return [
      [older, { describe: () => ({ ...describe(), form: { values: [] } }) }],
      [newer, { describe, write }],
    ];
  }

  private shutterProperties(): [number, Property][] {
    const { u32 } = VALUE_TYPE;
    const { shutter, shutterWritten } = DRIVE_ENTRY_PROPERTY;
    const { describe } = this.coded('shutter', u32, fractionCode, ANY_U32);
    if (this.manner !== 'written') return [[shutter, { describe, move: (by) => this.move('shutter', by) }]];
    return [
      [shutter, { describe }],
      [shutterWritten, this.writtenShutter()],
    ];
  }

  /** Bulb is taken, and not listed: libgphoto2 offers it whatever the list says. */
  private writtenShutter(): Property {
    const times = this.body.times.map(fractionCode);
    return this.coded('shutter', VALUE_TYPE.u32, fractionCode, { values: times }, isSameFraction);
  }

  private button(isDown: () => boolean, put: (down: boolean) => PtpAnswer): Property {
    return {
      describe: () => ({ type: VALUE_TYPE.u16, value: isDown() ? DOWN : UP, form: { values: [UP, DOWN] } }),
      move: (written) => put(written.readUInt16LE(0) === DOWN),
    };
  }

  /** At an end of the scale a body stays where it is, and says nothing. */
  private move(of: Scaled, written: Buffer): PtpAnswer {
    const { body, manner } = this;
    const asked = written.readInt8(0);
    const by = manner === 'stepped' ? Math.sign(asked) : asked;
    const scale: readonly PracticeState[Scaled][] = body.choices[of];
    const from = scale.indexOf(body.state[of]);
    const to = scale[Math.min(scale.length - 1, Math.max(0, from + by))];
    if (to !== undefined && to !== body.state[of]) void body.change(of, to);
    return TAKEN;
  }

  private press(down: boolean): PtpAnswer {
    if (!down) this.body.letGo();
    if (!down || this.fullPressed) {
      this.fullPressed = down;
      return TAKEN;
    }
    const answer = this.body.press();
    if (answer === 'taken') this.fullPressed = true;
    return pressed(answer);
  }

  private waiting(): number {
    const { length } = this.inMemory;
    if (length > 0) return CAN_BE_FETCHED + length;
    // A picture that is on its way counts, but cannot be fetched.
    return this.body.underWay ? 1 : 0;
  }

  private allHandlers(): Map<number, Handler> {
    const codes = [...this.properties.keys()];
    const operations = Object.values(DRIVE_ENTRY_OPERATION);
    return new Map<number, Handler>([
      [DRIVE_ENTRY_OPERATION.connect, () => ({ data: Buffer.alloc(8) })],
      [
        DRIVE_ENTRY_OPERATION.getExtendedInfo,
        () => ({ data: Buffer.concat([u16(INFO_HEAD), array(u16, codes), array(u16, operations)]) }),
      ],
      [DRIVE_ENTRY_OPERATION.getAllProperties, () => ({ data: this.describeAll() })],
      [DRIVE_ENTRY_OPERATION.write, (request) => this.change('write', request)],
      [DRIVE_ENTRY_OPERATION.move, (request) => this.change('move', request)],
      // While a computer has control, the card is out of its reach.
      [OPERATION.getStorageIds, () => ({ data: array(u32, []) })],
      [OPERATION.getObjectInfo, ({ parameters: [handle] }) => this.pictureInfo(handle)],
      [OPERATION.getObject, ({ parameters: [handle] }) => this.fetchPicture(handle)],
    ]);
  }

  private change(how: 'write' | 'move', { parameters: [code = 0], data }: PtpRequest): PtpAnswer {
    const property = this.properties.get(code);
    if (property === undefined || data === null) return { response: RESPONSE.propertyNotSupported };
    return property[how]?.(data) ?? { response: RESPONSE.accessDenied };
  }

  private describeAll(): Buffer {
    const all = [...this.properties].map(([code, { describe, write, move }]) =>
      packMovedPropertyDescription(
        { code, settable: write !== undefined || move !== undefined, ...describe() },
        write !== undefined,
      ),
    );
    return Buffer.concat([u32(all.length), u32(0), ...all]);
  }

  private pictureInfo(handle: number | undefined): PtpAnswer {
    const [file] = this.inMemory;
    if (handle !== IN_MEMORY || file === undefined) return { response: RESPONSE.invalidObjectHandle };
    return {
      data: packObjectInfo({
        storage: STORAGE,
        parent: NO_PARENT,
        name: file.name,
        format: this.card.formatOf(file.kind),
        size: file.content.length,
        takenAt: file.takenAt,
      }),
    };
  }

  /** What was fetched is gone from the memory. */
  private fetchPicture(handle: number | undefined): PtpAnswer {
    const file = handle === IN_MEMORY ? this.inMemory.shift() : undefined;
    if (file === undefined) return { response: RESPONSE.invalidObjectHandle };
    this.body.fetched(file);
    return { data: file.content };
  }
}
