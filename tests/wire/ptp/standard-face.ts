// The practice body as libgphoto2 meets it in plain PTP, without a vendor extension: dialect D. Shutter, aperture and the
// rest are the standard's own properties (ISO 15740, clause 13), a frame is fired with InitiateCapture and reported on the
// interrupt endpoint. There is no auto-bracket in the standard, so the body's own stays out of reach.
//
// The exposure time is in units of 0.1 ms. Labels therefore read like `0.0080s`, and from about 1/2500 s on several settings
// have the same one: writing it sets the slowest of them, which is what this body makes of a value that is not unique.
import type { PracticeBody, PracticeFile, PracticeState } from '../../../src/camera/practice/model.js';
import { hundredths, tenthsOfMilliseconds, thousandths } from './bytes.js';
import { Card } from './card.js';
import { EVENT, OBJECT_FORMAT, OPERATION, PROPERTY, RESPONSE } from './codes.js';
import { CONTAINER, packParameters } from './containers.js';
import { type PropertyDescription, packPropertyDescription, VALUE_TYPE } from './datasets.js';
import { type Face, type Handler, type PtpAnswer, type PtpRequest, pressed } from './responder.js';
import type { VirtualUsb } from './virtual-usb.js';

const PLAIN_PTP = 0;

interface Property {
  readonly describe: () => Omit<PropertyDescription, 'code'>;
  /** @returns false where the body does not take it */
  readonly change?: (written: Buffer) => Promise<boolean>;
}

export class StandardFace implements Face {
  readonly card: Card;
  readonly handlers: ReadonlyMap<number, Handler>;
  readonly takingData: ReadonlySet<number> = new Set([OPERATION.setPropertyValue]);
  private readonly body: PracticeBody;
  private readonly properties: ReadonlyMap<number, Property>;
  private tell: VirtualUsb['tell'] = () => {
    throw new Error('The face has no endpoint to report on yet.');
  };

  constructor(body: PracticeBody) {
    this.body = body;
    this.card = new Card(body, OBJECT_FORMAT.dng);
    this.properties = this.allProperties();
    this.handlers = this.allHandlers();
    body.heed((event) => {
      if (event.is === 'over') this.report(EVENT.captureComplete, []);
      else this.reportPicture(event.file);
    });
  }

  /** Where events go. */
  reportOn(usb: VirtualUsb): void {
    this.tell = (event) => usb.tell(event);
  }

  letGo(): void {
    this.body.letGo();
  }

  describe() {
    const { model, options } = this.body;
    return {
      vendorExtension: PLAIN_PTP,
      events: [EVENT.objectAdded, EVENT.captureComplete],
      properties: [...this.properties.keys()],
      model,
      serial: options.serial,
    };
  }

  private allProperties(): Map<number, Property> {
    const { u8, u16, u32, i16 } = VALUE_TYPE;
    return new Map<number, Property>([
      [
        PROPERTY.battery,
        { describe: () => ({ type: u8, settable: false, value: 100, form: { from: 0, to: 100 } }) },
      ],
      [PROPERTY.shutter, this.coded('shutter', u32, tenthsOfMilliseconds)],
      [PROPERTY.aperture, this.coded('aperture', u16, hundredths)],
      [PROPERTY.iso, this.coded('iso', u16, (iso) => iso)],
      [PROPERTY.compensation, this.coded('compensation', i16, thousandths)],
      [PROPERTY.mode, this.coded('mode', u16, (mode) => (mode === 'manual' ? 1 : 3))],
      [PROPERTY.drive, this.coded('drive', u16, (drive) => (drive === 'single' ? 1 : 2))],
      [PROPERTY.whiteBalance, this.coded('whiteBalance', u16, (balance) => (balance === 'auto' ? 2 : 4))],
      [PROPERTY.focus, this.coded('focus', u16, (focus) => (focus === 'manual' ? 1 : 2))],
    ]);
  }

  private coded<K extends keyof PracticeState>(
    of: K,
    type: PropertyDescription['type'],
    code: (value: PracticeState[K]) => number,
  ): Property {
    const { body } = this;
    return {
      describe: () => ({
        type,
        settable: true,
        value: code(body.state[of]),
        form: { values: body.choices[of].map(code) },
      }),
      change: async (written) => {
        const wanted = type.read(written);
        const choice = body.choices[of].find((candidate) => code(candidate) === wanted);
        return choice !== undefined && body.change(of, choice);
      },
    };
  }

  private allHandlers(): Map<number, Handler> {
    return new Map<number, Handler>([
      [
        OPERATION.getPropertyDescription,
        ({ parameters: [code = 0] }) => {
          const property = this.properties.get(code);
          return property === undefined
            ? { response: RESPONSE.propertyNotSupported }
            : { data: packPropertyDescription({ code, ...property.describe() }) };
        },
      ],
      [
        OPERATION.getPropertyValue,
        ({ parameters: [code = 0] }) => {
          const described = this.properties.get(code)?.describe();
          return described === undefined
            ? { response: RESPONSE.propertyNotSupported }
            : { data: described.type.write(described.value) };
        },
      ],
      [OPERATION.setPropertyValue, (request) => this.setProperty(request)],
      [OPERATION.initiateCapture, () => this.capture()],
    ]);
  }

  private async setProperty({ parameters: [code = 0], data }: PtpRequest): Promise<PtpAnswer> {
    const property = this.properties.get(code);
    if (property === undefined) return { response: RESPONSE.propertyNotSupported };
    if (property.change === undefined || data === null) return { response: RESPONSE.accessDenied };
    return (await property.change(data)) ? {} : { response: RESPONSE.invalidPropertyValue };
  }

  /** There is nothing to hold: one frame each. Everything goes onto the card. */
  private capture(): PtpAnswer {
    return pressed(this.body.press({ place: 'card', frames: 1 }));
  }

  private reportPicture(file: PracticeFile): void {
    const { folder } = file;
    if (this.card.isNewFolder(folder)) this.report(EVENT.objectAdded, [this.card.folder(folder)]);
    this.report(EVENT.objectAdded, [this.card.add(file)]);
  }

  private report(code: number, parameters: readonly number[]): void {
    this.tell({ type: CONTAINER.event, code, transaction: 0, payload: packParameters(parameters) });
  }
}
