// One exposure of the practice body's scene: luminance to electrons, noise, sRGB, JPEG with Exif. Time and
// f-number are exact, as in the body; the file records the nominal ones. Of brackets it knows only what it
// has to write into the file.
import sharp from 'sharp';
import { LUMA, levelOf } from '../../../shared/srgb.js';
import { METER_CONSTANT_K, NO_EV, type Sixths, secondsOf, toEv } from '../../exposure/index.js';
import { type DrawnScene, keptScene } from './drawn-scene.js';
import { declareVersion, exifOf, type RecordedSettings } from './exif.js';
import { inSlices, PICTURES, type PictureSize, type SceneMap, sceneMap } from './scene.js';
import { keyOf, STILL, stillScene, type View } from './view.js';

export interface FrameToRender extends RecordedSettings {
  /** EV in sixths by which the scene is brighter than it was drawn; left out, as it was. */
  readonly light?: Sixths;
  /** Left out, full. */
  readonly picture?: PictureSize;
  /** Left out, the boathouse at dusk, with nothing moved. */
  readonly view?: View;
}

// From luminance to the picture. Exposure on the sensor is H = q L t / N^2 in lx s, with q = 0.65 for a usual lens, and the
// saturation-based speed is S = 78 / Hsat (ISO 12232; both from memory). A surface that was metered has L = K N^2 / (t S)
// (ISO 2720), so H = q K / S = 8.125 / S, 10.4 % of Hsat. The picture style puts that surface, a grey of 18 % reflectance,
// at 18 % of its white, level 118 on the sRGB curve; white is therefore at 58 % of Hsat, and the picture clips there.
const GREY = 0.18;
const LENS_Q = 0.65;
const SATURATION_LUX_SECONDS = 78;
const WHITE_OF_SATURATION = (LENS_Q * METER_CONSTANT_K) / SATURATION_LUX_SECONDS / GREY;

/** Electrons at saturation at ISO 100, and the noise of reading a pixel out, in electrons. Invented, of a usual size. */
const FULL_WELL = 15_000;
const READ_NOISE = 4;
const BASE_ISO = 100;

/** Linear sRGB of light of luminance 1 at warmth -1 (the lake) and +1 (the wood): red and blue, green makes up the rest. */
const COOL = { red: 0.75, blue: 1.45 };
const WARM = { red: 1.45, blue: 0.45 };
const [LUMA_RED, LUMA_GREEN, LUMA_BLUE] = LUMA;

// The scene in each channel is kept as a code, log2 of cd/m2 in 1/256 EV, so that an exposure is one look-up a sample.
const CODES_PER_EV = 256;
const DARKEST_EV = -8;
const CODES = 26 * CODES_PER_EV;
const TINTS = 64;

// Noise. With r the read noise and e the electrons, z = 2 sqrt(e + r^2) has a noise of 1 whatever e is: n from one table of
// normal deviates is added to z, and (z + n)^2 / 4 - r^2 - 1/4 has the mean e and, but for 1/8, the variance e + r^2.
const UNITS = 24;
/** Powers of two. */
const NOISE_LENGTHS = { full: 2 ** 20, small: 2 ** 18 } as const;
const LARGEST_NOISE = 127;
const LARGEST_Z = Math.ceil(2 * Math.sqrt(FULL_WELL + READ_NOISE ** 2) * UNITS);

const TINT_CODES = tintCodes();

const drawn = new Map<string, Promise<DrawnScene>>();
/** As many are kept: each is 8 MB. */
const MOST_DRAWN = 3;

/**
 * The scene that all frames are made from, ready before the first of them: from the build (dusk only), or
 * drawn now, in slices.
 */
export function sceneAtHand(picture: PictureSize, view: View = STILL): Promise<DrawnScene> {
  const key = `${picture} ${keyOf(view)}`;
  const scene = drawn.get(key) ?? keptOrDrawn(picture, view);
  drawn.delete(key);
  drawn.set(key, scene);
  for (const oldest of drawn.keys()) if (drawn.size > MOST_DRAWN) drawn.delete(oldest);
  return scene;
}

async function keptOrDrawn(picture: PictureSize, view: View): Promise<DrawnScene> {
  const kept =
    stillScene(view) === 'dusk' ? await keptScene(picture, samplesOf(picture), NOISE_LENGTHS[picture]) : null;
  return kept ?? drawScene(picture, view);
}

function samplesOf(picture: PictureSize): number {
  const { width, height } = PICTURES[picture];
  return width * height * 3;
}

/**
 * @returns a JPEG; the same frame gives the same bytes
 * @throws RangeError where tv or av is on no third-stop scale
 */
export async function renderFrame(frame: FrameToRender): Promise<Buffer> {
  const exif = exifOf(frame);
  const { picture = 'full', view = STILL } = frame;
  const { codes, noise } = await sceneAtHand(picture, view);
  const pixels = expose(frame, codes, noise);
  const jpeg = await sharp(pixels, { raw: { ...PICTURES[picture], channels: 3 } })
    .jpeg({ quality: 90 })
    .withExif(exif)
    .toBuffer();
  return declareVersion(jpeg);
}

/** The full one takes a second. */
export async function drawScene(picture: PictureSize, view: View = STILL): Promise<DrawnScene> {
  const map = await sceneMap(picture, view);
  const codes = new Uint16Array(samplesOf(picture));
  await inSlices(PICTURES[picture].height, (row) => encodeRow(row, map, codes));
  return { codes, noise: await noiseTable(NOISE_LENGTHS[picture]) };
}

function expose(frame: FrameToRender, codes: Uint16Array, noise: Int8Array): Uint8Array {
  const signal = signalTable(frame.openSeconds ?? secondsOf(frame.tv), frame.av, frame.light ?? NO_EV);
  const levels = levelTable(frame.iso);
  const last = noise.length - 1;
  const from = seedOf(frame) % noise.length;
  const pixels = new Uint8Array(codes.length);
  for (let sample = 0; sample < codes.length; sample += 1) {
    const z = (signal[codes[sample] as number] as number) + (noise[(from + sample) & last] as number);
    pixels[sample] = levels[z] as number;
  }
  return pixels;
}

/** For every code, z in UNITS, moved up by LARGEST_NOISE so that it is an index of the level table after the noise. */
function signalTable(seconds: number, av: Sixths, light: Sixths): Uint16Array {
  const electronsPerLuminance =
    (FULL_WELL * BASE_ISO * LENS_Q * seconds * 2 ** toEv(light)) / (SATURATION_LUX_SECONDS * 2 ** toEv(av));
  return Uint16Array.from({ length: CODES }, (_, code) => {
    const luminance = 2 ** (DARKEST_EV + code / CODES_PER_EV);
    const electrons = Math.min(FULL_WELL, luminance * electronsPerLuminance);
    return Math.round(2 * Math.sqrt(electrons + READ_NOISE ** 2) * UNITS) + LARGEST_NOISE;
  });
}

/** From z with its noise to the sRGB level. */
function levelTable(iso: number): Uint8Array {
  const white = (FULL_WELL * WHITE_OF_SATURATION * BASE_ISO) / iso;
  return Uint8Array.from({ length: LARGEST_Z + 2 * LARGEST_NOISE + 1 }, (_, index) => {
    const z = Math.max(0, index - LARGEST_NOISE) / UNITS;
    return levelOf((z ** 2 / 4 - READ_NOISE ** 2 - 0.25) / white);
  });
}

function encodeRow(row: number, { picture, luminance, warmth }: SceneMap, codes: Uint16Array): void {
  const { width } = PICTURES[picture];
  const end = (row + 1) * width;
  for (let pixel = row * width; pixel < end; pixel += 1) {
    const grey = (Math.log2(luminance[pixel] as number) - DARKEST_EV) * CODES_PER_EV;
    const tint = (Math.round((warmth[pixel] as number) * TINTS) + TINTS) * 3;
    codes[pixel * 3] = Math.round(grey + (TINT_CODES[tint] as number));
    codes[pixel * 3 + 1] = Math.round(grey + (TINT_CODES[tint + 1] as number));
    codes[pixel * 3 + 2] = Math.round(grey + (TINT_CODES[tint + 2] as number));
  }
}

/** By how many codes each channel differs from grey, for warmth from -1 to 1. */
function tintCodes(): Float64Array {
  const table = new Float64Array((2 * TINTS + 1) * 3);
  for (let tint = -TINTS; tint <= TINTS; tint += 1) {
    const strength = Math.abs(tint) / TINTS;
    const { red, blue } = tint < 0 ? COOL : WARM;
    const shares = [1 + (red - 1) * strength, 0, 1 + (blue - 1) * strength] as const;
    const green = (1 - LUMA_RED * shares[0] - LUMA_BLUE * shares[2]) / LUMA_GREEN;
    table.set(
      [shares[0], green, shares[2]].map((share) => Math.log2(share) * CODES_PER_EV),
      (tint + TINTS) * 3,
    );
  }
  return table;
}

/** Normal deviates of standard deviation UNITS (Box and Muller), always the same. */
async function noiseTable(length: number): Promise<Int8Array> {
  const noise = new Int8Array(length);
  const pieces = 512;
  const uniform = uniformNumbers();
  await inSlices(pieces, (piece) => {
    const end = ((piece + 1) * length) / pieces;
    for (let index = (piece * length) / pieces; index < end; index += 2) {
      const radius = UNITS * Math.sqrt(-2 * Math.log(uniform()));
      const angle = 2 * Math.PI * uniform();
      noise[index] = limited(radius * Math.cos(angle));
      noise[index + 1] = limited(radius * Math.sin(angle));
    }
  });
  return noise;
}

const limited = (value: number): number =>
  Math.max(-LARGEST_NOISE, Math.min(LARGEST_NOISE, Math.round(value)));

/** @returns a source of numbers between 0 and 1, without the ends (xorshift32, Marsaglia 2003) */
function uniformNumbers(): () => number {
  let state = 0x9e3779b9;
  return () => {
    state ^= state << 13;
    state ^= state >>> 17;
    state ^= state << 5;
    return ((state >>> 0) + 0.5) / 2 ** 32;
  };
}

/** Where in the noise table this frame starts (FNV-1a): two frames differ in their noise, the same frame never. */
function seedOf({ tv, av, iso, takenAt }: FrameToRender): number {
  let hash = 0x811c9dc5;
  for (const char of `${tv} ${av} ${iso} ${takenAt.getTime()}`)
    hash = Math.imul(hash ^ char.charCodeAt(0), 0x01000193);
  return hash >>> 0;
}
