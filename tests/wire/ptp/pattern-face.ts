// The practice body as libgphoto2 meets it under PTP vendor extension 0x0A: dialect B. It translates between property codes
// and the body's state, and decides nothing that a camera decides.
//
// Under this extension settings are properties as in plain PTP, the body's own ones too (0xD...), but those are listed by an
// operation of their own (0x90CA). A frame is fired by one operation (0x9207) that says where the picture goes, so the
// body keeps no capture target. Whether the frame is made is asked for (0x90C8), and so are the events (0x90C7). Numbers,
// types and forms were read off libgphoto2 2.5.30, camlibs/ptp2 (ptp.h, ptp-pack.c, config.c, library.c).
import type {
  Place,
  PracticeBody,
  PracticeFile,
  PracticeShutter,
  PracticeState,
} from '../../../src/camera/practice/model.js';
import { SHUTTER_SCALES, type Sixths, sixths } from '../../../src/exposure/index.js';
import {
  array,
  BULB,
  hundredths,
  moment,
  readMoment,
  tenthsOfMilliseconds,
  thousandths,
  u16,
  u32,
} from './bytes.js';
import { Card } from './card.js';
import { EVENT, OPERATION, PROPERTY, RESPONSE } from './codes.js';
import {
  type PropertyDescription,
  packPropertyDescription,
  packTextDescription,
  VALUE_TYPE,
} from './datasets.js';
import { type Face, type Handler, type PtpAnswer, type PtpRequest, pressed } from './responder.js';

const VENDOR_EXTENSION = 0x0a;

export const PATTERN_OPERATION = {
  takeControl: 0x90c2,
  getEvents: 0x90c7,
  isReady: 0x90c8,
  getPropertyCodes: 0x90ca,
  capture: 0x9207,
  terminateCapture: 0x920c,
} as const;

export const PATTERN_PROPERTY = {
  noiseReduction: 0xd06b,
  bracketOf: 0xd078,
  bracketInManual: 0xd079,
  bracketOrder: 0xd07a,
  bracket: 0xd0c0,
  bracketStep: 0xd0c1,
  bracketPattern: 0xd0c2,
  bracketFramesLeft: 0xd0c3,
  shutterFraction: 0xd100,
  framesLeft: 0xd1f1,
} as const;

export const PATTERN_EVENT = {
  objectAddedInMemory: 0xc101,
  captureCompleteInMemory: 0xc102,
} as const;

/** Answered in place of "busy" while a bulb exposure is open. */
const BULB_OPEN = 0xa200;
const BULB_NOT_OPEN = 0xa004;

/** Raw files have no format of their own. */
const UNDEFINED_FORMAT = 0x3000;

/** The second parameter of a capture. */
const INTO_MEMORY = 1;

// The places of a step, and of a pattern by its frames under and over the normal one, are their values.
const STEPS: readonly Sixths[] = [2, 3, 4, 6, 12, 18].map(sixths);
const PATTERNS = ['1-0', '0-1', '2-0', '0-2', '1-1', '2-2', '3-3', '4-4'];

function stepCode(step: Sixths): number {
  const code = STEPS.indexOf(step);
  if (code < 0) throw new Error(`The extension has no value for a step of ${step}/6 EV.`);
  return code;
}

function patternCode(pattern: readonly number[]): number {
  const unders = pattern.filter((position) => position < 0).length;
  const overs = pattern.filter((position) => position > 0).length;
  const code = PATTERNS.indexOf(`${unders}-${overs}`);
  if (code < 0) throw new Error(`The extension has no value for ${unders} frames under and ${overs} over.`);
  return code;
}

/** Numerator and denominator: 1/60, 13/10, 30/1. */
export function fractionCode(tv: PracticeShutter): number {
  if (tv === 'bulb') return BULB;
  const label = SHUTTER_SCALES.third.find((setting) => setting.tv === tv)?.label ?? '0';
  const [top = '0', bottom] = label.split('/');
  if (bottom !== undefined) return Number(top) * 0x10000 + Number(bottom);
  return top.includes('.') ? Math.round(Number(top) * 10) * 0x10000 + 10 : Number(top) * 0x10000 + 1;
}

interface Property {
  readonly describe: (code: number) => Buffer;
  readonly value: () => Buffer;
  /** @returns false where the body does not take it */
  readonly change?: (written: Buffer) => Promise<boolean>;
}

function numeric(
  describe: () => Omit<PropertyDescription, 'code' | 'settable'>,
  change?: Property['change'],
): Property {
  return {
    describe: (code) => packPropertyDescription({ code, settable: change !== undefined, ...describe() }),
    value: () => {
      const { type, value } = describe();
      return type.write(value);
    },
    ...(change && { change }),
  };
}

const FORMATS: Readonly<Record<PracticeState['format'], number>> = { jpeg: 2, 'raw-and-jpeg': 7, raw: 4 };

const isOn = (on: string): number => (on === 'on' ? 1 : 0);

/** What the bracket moves in manual mode: the shutter, and nothing else on this body. */
const MOVES_SHUTTER = 0;
const MOVES = [MOVES_SHUTTER, 1, 2, 3];

export class PatternFace implements Face {
  readonly card: Card;
  readonly handlers: ReadonlyMap<number, Handler>;
  readonly takingData: ReadonlySet<number> = new Set([OPERATION.setPropertyValue]);
  private readonly body: PracticeBody;
  private readonly properties: ReadonlyMap<number, Property>;
  /** The values that the initiator was told last; what differs from them is reported among the next events. */
  private readonly told = new Map<number, Buffer>();
  /** Where the files of the last release go. */
  private place: Place = 'card';
  private waiting: Buffer[] = [];

  constructor(body: PracticeBody) {
    this.body = body;
    this.card = new Card(body, UNDEFINED_FORMAT);
    this.properties = this.allProperties();
    this.handlers = this.allHandlers();
    body.heed((told) => {
      if (told.is === 'file') this.waiting.push(...this.added(told.file));
      else
        this.waiting.push(
          event(this.place === 'memory' ? PATTERN_EVENT.captureCompleteInMemory : EVENT.captureComplete),
        );
    });
  }

  letGo(): void {
    this.body.letGo();
  }

  describe() {
    const { model, options } = this.body;
    return {
      vendorExtension: VENDOR_EXTENSION,
      events: [EVENT.objectAdded, EVENT.propertyChanged, EVENT.captureComplete],
      properties: [...this.properties.keys()].filter((code) => !isOwn(code)),
      model,
      serial: options.serial,
    };
  }

  private allProperties(): Map<number, Property> {
    const { body } = this;
    const { u8, u16, u32, i16 } = VALUE_TYPE;
    const { patterns } = body.options;
    return new Map<number, Property>([
      [PROPERTY.battery, numeric(() => ({ type: u8, value: body.battery, form: { from: 0, to: 100 } }))],
      [PROPERTY.compression, this.coded('format', u8, (format) => FORMATS[format])],
      [PROPERTY.whiteBalance, this.coded('whiteBalance', u16, (balance) => (balance === 'auto' ? 2 : 4))],
      [PROPERTY.aperture, this.coded('aperture', u16, hundredths)],
      [PROPERTY.focus, this.coded('focus', u16, (focus) => (focus === 'manual' ? 1 : 0x8010))],
      [PROPERTY.shutter, this.coded('shutter', u32, tenthsOfMilliseconds)],
      [PROPERTY.mode, this.coded('mode', u16, (mode) => (mode === 'manual' ? 1 : 3))],
      [PROPERTY.iso, this.coded('iso', u16, (iso) => iso)],
      [PROPERTY.compensation, this.coded('compensation', i16, thousandths)],
      [PROPERTY.clock, this.clock()],
      [PROPERTY.drive, this.coded('drive', u16, (drive) => (drive === 'single' ? 1 : 2))],
      [PROPERTY.burstNumber, this.burstNumber()],
      [PATTERN_PROPERTY.noiseReduction, this.switched('noiseReduction')],
      [PATTERN_PROPERTY.bracketOf, this.coded('bracketOf', u8, (of) => (of === 'exposure' ? 1 : 3))],
      [
        PATTERN_PROPERTY.bracketInManual,
        numeric(
          () => ({ type: u8, value: MOVES_SHUTTER, form: { values: MOVES } }),
          async (written) => u8.read(written) === MOVES_SHUTTER,
        ),
      ],
      [
        PATTERN_PROPERTY.bracketOrder,
        this.coded('bracketOrder', u8, (order) => (order === 'as-listed' ? 0 : 1)),
      ],
      [PATTERN_PROPERTY.bracket, this.switched('bracket')],
      [PATTERN_PROPERTY.bracketStep, this.coded('bracketStep', u8, stepCode)],
      [
        PATTERN_PROPERTY.bracketPattern,
        this.coded('bracketPattern', u8, (index) => patternCode(patterns[index] ?? [])),
      ],
      [PATTERN_PROPERTY.bracketFramesLeft, numeric(() => ({ type: u8, value: body.bracketFramesLeft }))],
      [PATTERN_PROPERTY.shutterFraction, this.coded('shutter', u32, fractionCode)],
      [PATTERN_PROPERTY.framesLeft, numeric(() => ({ type: u32, value: body.framesLeft }))],
    ]);
  }

  private coded<K extends keyof PracticeState>(
    of: K,
    type: PropertyDescription['type'],
    code: (value: PracticeState[K]) => number,
  ): Property {
    const { body } = this;
    return numeric(
      () => ({ type, value: code(body.state[of]), form: { values: body.choices[of].map(code) } }),
      async (written) => {
        const wanted = type.read(written);
        const choice = body.choices[of].find((candidate) => code(candidate) === wanted);
        return choice !== undefined && body.change(of, choice);
      },
    );
  }

  /** A switch: libgphoto2 takes it for one only where it comes as a range. */
  private switched(of: 'bracket' | 'noiseReduction'): Property {
    const { body } = this;
    const { u8 } = VALUE_TYPE;
    return numeric(
      () => ({ type: u8, value: isOn(body.state[of]), form: { from: 0, to: 1 } }),
      async (written) => {
        const wanted = u8.read(written);
        const choice = body.choices[of].find((candidate) => isOn(candidate) === wanted);
        return choice !== undefined && body.change(of, choice);
      },
    );
  }

  private burstNumber(): Property {
    const { body } = this;
    const { u16 } = VALUE_TYPE;
    const { burstNumber } = body.choices;
    return numeric(
      () => ({ type: u16, value: body.state.burstNumber, form: { from: 1, to: burstNumber.length } }),
      (written) => body.change('burstNumber', u16.read(written)),
    );
  }

  private clock(): Property {
    const { body } = this;
    return {
      describe: (code) => packTextDescription(code, moment(body.clock)),
      value: () => moment(body.clock),
      change: async (written) => {
        const to = readMoment(written);
        if (to === undefined) return false;
        body.setClock(to);
        return true;
      },
    };
  }

  private allHandlers(): Map<number, Handler> {
    const answer =
      (what: (property: Property, code: number) => Buffer): Handler =>
      ({ parameters: [code = 0] }) => {
        const property = this.properties.get(code);
        if (property === undefined) return { response: RESPONSE.propertyNotSupported };
        this.tell(code, property);
        return { data: what(property, code) };
      };
    return new Map<number, Handler>([
      [OPERATION.getPropertyDescription, answer((property, code) => property.describe(code))],
      [OPERATION.getPropertyValue, answer((property) => property.value())],
      [OPERATION.setPropertyValue, (request) => this.setProperty(request)],
      [OPERATION.deleteObject, (request) => this.deleteObject(request)],
      [
        PATTERN_OPERATION.getPropertyCodes,
        () => ({ data: array(u16, [...this.properties.keys()].filter(isOwn)) }),
      ],
      [PATTERN_OPERATION.takeControl, () => ({})],
      [PATTERN_OPERATION.isReady, () => this.readiness()],
      [PATTERN_OPERATION.getEvents, () => ({ data: this.takeEvents() })],
      [PATTERN_OPERATION.capture, (request) => this.capture(request)],
      ...(this.body.options.bulb
        ? [[PATTERN_OPERATION.terminateCapture, () => this.terminate()] as const]
        : []),
    ]);
  }

  private tell(code: number, property: Property): void {
    // A clock runs, which is nothing to report.
    if (code !== PROPERTY.clock) this.told.set(code, property.value());
  }

  private async setProperty({ parameters: [code = 0], data }: PtpRequest): Promise<PtpAnswer> {
    const property = this.properties.get(code);
    if (property === undefined) return { response: RESPONSE.propertyNotSupported };
    if (property.change === undefined || data === null) return { response: RESPONSE.accessDenied };
    if (!(await property.change(data))) return { response: RESPONSE.invalidPropertyValue };
    this.tell(code, property);
    return {};
  }

  /** The body goes on by itself for the frames of a burst; a bulb exposure is open until it is ended. */
  private capture({ parameters: [, target] }: PtpRequest): PtpAnswer {
    const { body } = this;
    const place = target === INTO_MEMORY ? 'memory' : 'card';
    const answer = body.press(body.isBulb ? { place } : { place, frames: body.state.burstNumber });
    if (answer === 'taken') this.place = place;
    return pressed(answer);
  }

  private terminate(): PtpAnswer {
    if (!this.body.isHeld) return { response: BULB_NOT_OPEN };
    this.body.letGo();
    return {};
  }

  private readiness(): PtpAnswer {
    const { body } = this;
    if (body.isBulb && body.isHeld) return { response: BULB_OPEN };
    return body.busy ? { response: RESPONSE.deviceBusy } : {};
  }

  private added(file: PracticeFile): Buffer[] {
    if (file.place === 'memory') return [event(PATTERN_EVENT.objectAddedInMemory, this.card.add(file))];
    const folder = this.card.isNewFolder(file.folder)
      ? [event(EVENT.objectAdded, this.card.folder(file.folder))]
      : [];
    return [...folder, event(EVENT.objectAdded, this.card.add(file))];
  }

  private deleteObject({ parameters: [handle = 0] }: PtpRequest): PtpAnswer {
    const gone = this.card.forget(handle) || this.card.delete(handle);
    return gone ? {} : { response: RESPONSE.invalidObjectHandle };
  }

  /** Pictures first, then what changed without having been written, on the body or by what else was done. */
  private takeEvents(): Buffer {
    const events = this.waiting;
    this.waiting = [];
    for (const [code, before] of this.told) {
      const property = this.properties.get(code);
      if (property === undefined || before.equals(property.value())) continue;
      this.tell(code, property);
      events.push(event(EVENT.propertyChanged, code));
    }
    return Buffer.concat([u16(events.length), ...events]);
  }
}

const isOwn = (code: number): boolean => code >= 0xd000;

const event = (code: number, parameter = 0): Buffer => Buffer.concat([u16(code), u32(parameter)]);
