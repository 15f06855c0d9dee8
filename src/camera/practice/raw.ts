// The raw file of the practice body: a small DNG (TIFF 6.0; tags from Exif 2.32 and DNG 1.4, from memory) with the picture as the body
// develops it for its preview, and a coarse mosaic of the same picture in place of the sensor's. Directories come first, as in the
// files of most cameras, so that the head of the file tells its exposure.
import sharp, { type Exif } from 'sharp';
import { asciiEntry, type TiffEntry, TYPE, writer } from './tiff-bytes.js';

/** Pixels of the mosaic: no more than it takes to be one. */
const MOSAIC = { width: 96, height: 64 };
/** Red, green, green, blue, of each two by two pixels. */
const PATTERN = [0, 1, 1, 2] as const;

type TagType = 'ascii' | 'short' | 'long' | 'rational' | 'signedRational';
const TAGS: Readonly<Record<string, readonly [tag: number, type: TagType]>> = {
  ImageDescription: [0x010e, 'ascii'],
  Make: [0x010f, 'ascii'],
  Model: [0x0110, 'ascii'],
  ExposureTime: [0x829a, 'rational'],
  FNumber: [0x829d, 'rational'],
  ExposureProgram: [0x8822, 'short'],
  ISOSpeedRatings: [0x8827, 'short'],
  SensitivityType: [0x8830, 'short'],
  RecommendedExposureIndex: [0x8832, 'long'],
  DateTimeOriginal: [0x9003, 'ascii'],
  OffsetTimeOriginal: [0x9011, 'ascii'],
  SubSecTimeOriginal: [0x9291, 'ascii'],
  ExposureBiasValue: [0x9204, 'signedRational'],
  FocalLength: [0x920a, 'rational'],
  ColorSpace: [0xa001, 'short'],
  ExposureMode: [0xa402, 'short'],
  BodySerialNumber: [0xa431, 'ascii'],
};
const EXIF_VERSION: TiffEntry = {
  tag: 0x9000,
  type: TYPE.undefined,
  count: 4,
  value: Buffer.from('0232', 'latin1'),
};

const ONES = [1, 1, 1, 1, 1, 1];
/** From XYZ to the camera's own colours, which are taken to be XYZ. */
const SAME_COLOURS = [1, 1, 0, 1, 0, 1, 0, 1, 1, 1, 0, 1, 0, 1, 0, 1, 1, 1];

/** @param jpeg the frame as the body develops it @param exif the tags that it records, as sharp takes them */
export async function makeRaw(jpeg: Buffer, exif: Exif): Promise<Buffer> {
  const bytes = writer('little');
  const { entry, directory, numbers } = bytes;
  const { width, height } = await sharp(jpeg).metadata();
  const pixels = await mosaicOf(jpeg);
  const { short, long, byte, rational, signedRational } = TYPE;
  const mainAt = 8;
  // Directories are as long wherever the parts lie that they name: the first round finds how long.
  const lay = (exifAt: number, sensorAt: number, previewAt: number, pixelsAt: number) => [
    directory(
      [
        ...entriesOf(entry, exif.IFD0),
        entry(0x00fe, long, 1),
        entry(0x0100, long, width),
        entry(0x0101, long, height),
        entry(0x0102, short, 8, 8, 8),
        entry(0x0103, short, 7),
        entry(0x0106, short, 6),
        entry(0x0111, long, previewAt),
        entry(0x0112, short, 1),
        entry(0x0115, short, 3),
        entry(0x0116, long, height),
        entry(0x0117, long, jpeg.length),
        entry(0x014a, long, sensorAt),
        entry(0x8769, long, exifAt),
        entry(0xc612, byte, 1, 4, 0, 0),
        asciiEntry(0xc614, exif.IFD0?.Model ?? ''),
        entry(0xc621, signedRational, ...SAME_COLOURS),
        entry(0xc628, rational, ...ONES),
      ],
      mainAt,
    ),
    directory([...entriesOf(entry, exif.IFD2), EXIF_VERSION], exifAt),
    directory(
      [
        entry(0x00fe, long, 0),
        entry(0x0100, long, MOSAIC.width),
        entry(0x0101, long, MOSAIC.height),
        entry(0x0102, short, 16),
        entry(0x0103, short, 1),
        entry(0x0106, short, 32803),
        entry(0x0111, long, pixelsAt),
        entry(0x0115, short, 1),
        entry(0x0116, long, MOSAIC.height),
        entry(0x0117, long, pixels.length),
        entry(0x828d, short, 2, 2),
        entry(0x828e, byte, ...PATTERN),
      ],
      sensorAt,
    ),
  ];
  const [main = 0, inExif = 0, sensor = 0] = lay(0, 0, 0, 0).map(({ length }) => length);
  const exifAt = mainAt + main;
  const sensorAt = exifAt + inExif;
  const previewAt = sensorAt + sensor;
  const pixelsAt = previewAt + jpeg.length + (jpeg.length % 2);
  return Buffer.concat([
    Buffer.from('II'),
    numbers(2, false, 42),
    numbers(4, false, mainAt),
    ...lay(exifAt, sensorAt, previewAt, pixelsAt),
    jpeg,
    Buffer.alloc(jpeg.length % 2),
    pixels,
  ]);
}

/** Samples of 16 bit, one of each pixel; squared, since levels are about the square root of light. */
async function mosaicOf(jpeg: Buffer): Promise<Buffer> {
  const { width, height } = MOSAIC;
  const levels = await sharp(jpeg)
    .resize(width, height, { fit: 'fill', kernel: 'nearest' })
    .removeAlpha()
    .raw()
    .toBuffer();
  const mosaic = Buffer.alloc(width * height * 2);
  for (let pixel = 0; pixel < width * height; pixel += 1) {
    const row = Math.floor(pixel / width);
    const colour = PATTERN[(row % 2) * 2 + (pixel % 2)] ?? 0;
    mosaic.writeUInt16LE((levels[pixel * 3 + colour] ?? 0) ** 2, pixel * 2);
  }
  return mosaic;
}

/** @throws Error for a tag that it does not know */
function entriesOf(
  entry: ReturnType<typeof writer>['entry'],
  tags: Readonly<Record<string, string>> = {},
): TiffEntry[] {
  return Object.entries(tags).map(([name, words]) => {
    const known = TAGS[name];
    if (known === undefined) throw new Error(`The practice camera's raw file has no tag ${name}.`);
    const [tag, type] = known;
    if (type === 'ascii') return asciiEntry(tag, words);
    return entry(tag, TYPE[type], ...words.split('/').map(Number));
  });
}
