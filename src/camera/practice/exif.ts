// The records in the practice body's files: Exif tags (CIPA DC-008) as bodies write them, with nominal values
// as on their scales. Knows the frame's settings, not its picture.
import type { Exif } from 'sharp';
import { APERTURE_SCALES, SHUTTER_SCALES, SIXTHS_PER_EV, type Sixths } from '../../exposure/index.js';

/** The settings of one frame, as far as its file records them. */
export interface RecordedSettings {
  readonly tv: Sixths;
  /** Seconds that the shutter was open, if that is on no scale; if it is left out, `tv` counts. */
  readonly openSeconds?: number;
  readonly av: Sixths;
  readonly iso: number;
  /** Compensation and bracket together, as ExposureBiasValue says them. */
  readonly biasSixths: Sixths;
  readonly takenAt: Date;
  readonly model: string;
  readonly serial: string;
  /** Millimetres; left out, the file does not tell. */
  readonly focalLength?: number;
  readonly manual: boolean;
  /**
   * Whether the auto-bracket was on. If it is left out: whether there is a bias in manual mode, since nothing
   * else causes one there.
   */
  readonly bracketed?: boolean;
}

/** Values of ExposureProgram and ExposureMode (Exif 2.32, 4.6.5, from memory). */
const PROGRAM = { manual: 1, aperturePriority: 3 } as const;
const MODE = { auto: 0, manual: 1, bracket: 2 } as const;
const SRGB = 1;
/** SensitivityType: what PhotographicSensitivity is, here the recommended exposure index. */
const RECOMMENDED_EXPOSURE_INDEX = 2;

/**
 * @returns the tags for sharp, which gives each its type; IFD2 is the Exif directory
 * @throws RangeError where tv or av is on no third-stop scale
 */
export function exifOf(settings: RecordedSettings): Exif {
  const { takenAt, manual } = settings;
  const bracketed = settings.bracketed ?? (manual && settings.biasSixths !== 0);
  const seconds =
    settings.openSeconds === undefined
      ? SHUTTER_SCALES.third.find((setting) => setting.tv === settings.tv)?.label
      : `${Math.max(1, Math.round(settings.openSeconds * 1000))}/1000`;
  const fNumber = APERTURE_SCALES.third.find((setting) => setting.av === settings.av)?.label;
  if (seconds === undefined || fNumber === undefined)
    throw new RangeError(`no third-stop label for Tv ${settings.tv}/6, Av ${settings.av}/6`);
  return {
    IFD0: {
      ImageDescription: 'Practice picture of an invented scene',
      Make: 'Evenrung',
      Model: settings.model,
    },
    IFD2: {
      ExposureTime: rational(seconds),
      FNumber: rational(fNumber),
      ExposureProgram: String(manual ? PROGRAM.manual : PROGRAM.aperturePriority),
      // ISOSpeedRatings is the earlier name of PhotographicSensitivity (0x8827), the one that the writer knows.
      ISOSpeedRatings: String(settings.iso),
      SensitivityType: String(RECOMMENDED_EXPOSURE_INDEX),
      RecommendedExposureIndex: String(settings.iso),
      DateTimeOriginal: localTime(takenAt),
      SubSecTimeOriginal: digits(takenAt.getMilliseconds(), 3),
      OffsetTimeOriginal: offset(takenAt),
      ExposureBiasValue: bias(settings.biasSixths),
      ExposureMode: String(bracketed ? MODE.bracket : manual ? MODE.manual : MODE.auto),
      ColorSpace: String(SRGB),
      BodySerialNumber: settings.serial,
      ...(settings.focalLength === undefined ? {} : { FocalLength: `${settings.focalLength}/1` }),
    },
  };
}

/** The entry that libvips writes: tag 0x9000, undefined bytes, four of them, little endian, Exif 2.1. */
const VERSION_ENTRY = Buffer.from('\x00\x90\x07\x00\x04\x00\x00\x000210', 'latin1');
const EXIF_2_32 = '0232';

/**
 * libvips calls its Exif 2.1 and cannot be told otherwise, but the time zone, the serial number and more are of 2.32.
 * @param jpeg a file just written by sharp with the tags of exifOf; changed in place
 */
export function declareVersion(jpeg: Buffer): Buffer {
  const entry = jpeg.indexOf(VERSION_ENTRY);
  if (entry >= 0) jpeg.write(EXIF_2_32, entry + VERSION_ENTRY.length - EXIF_2_32.length, 'latin1');
  return jpeg;
}

/**
 * @param label `1/125`, `30`, `0.3`
 * @returns `1/125`, `30/1`, `3/10`: exactly the value on the label
 */
function rational(label: string): string {
  if (label.includes('/')) return label;
  const [whole = '', tenths] = label.split('.');
  return tenths === undefined ? `${whole}/1` : `${Number(whole + tenths)}/10`;
}

function bias(value: Sixths): string {
  const unit = [1, 2, 3].find((factor) => (value * factor) % SIXTHS_PER_EV === 0) ?? SIXTHS_PER_EV;
  return `${(value * unit) / SIXTHS_PER_EV}/${unit}`;
}

const digits = (value: number, places: number): string => String(value).padStart(places, '0');

function localTime(at: Date): string {
  const day = [digits(at.getFullYear(), 4), digits(at.getMonth() + 1, 2), digits(at.getDate(), 2)];
  const time = [at.getHours(), at.getMinutes(), at.getSeconds()].map((value) => digits(value, 2));
  return `${day.join(':')} ${time.join(':')}`;
}

function offset(at: Date): string {
  const minutes = -at.getTimezoneOffset();
  const size = Math.abs(minutes);
  return `${minutes < 0 ? '-' : '+'}${digits(Math.floor(size / 60), 2)}:${digits(size % 60, 2)}`;
}
