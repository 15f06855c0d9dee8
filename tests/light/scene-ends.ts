// How far the light of the practice scenes reaches, from their radiance: for each exposure the picture is made that a camera without noise would make,
// and looked at by the limits that a whole set is judged by. Nothing is guessed from one exposure for another.
import sharp from 'sharp';
import { NOT_MISSED } from '../../shared/clipping.js';
import { LUMA, levelOf } from '../../shared/srgb.js';
import { PICTURE, sceneMap } from '../../src/camera/practice/scene.js';
import { type PracticeScene, STILL } from '../../src/camera/practice/view.js';
import {
  type BodyLimits,
  exposureValueOfLuminance,
  labelOf,
  NO_EV,
  type Sixths,
  speedValue,
  toEv,
} from '../../src/exposure/index.js';
import { lostAt, type SceneEnd } from '../../src/light/ends/ends.js';
import { sceneOf } from '../../src/light/ends/scene.js';
import { place } from '../../src/plan/readings-place.js';
import { copiesOf } from './practice-frames.js';

/** As src/camera/practice/render.ts has them: red and blue of light of luminance 1 at warmth -1, and at +1; a metered surface at 18 % of white. */
const COOL = { red: 0.75, blue: 1.45 };
const WARM = { red: 1.45, blue: 0.45 };
const GREY = 0.18;

/** @returns red, green and blue over the luminance */
function tint(warmth: number): readonly [number, number, number] {
  const strength = Math.abs(warmth);
  const { red, blue } = warmth < 0 ? COOL : WARM;
  const [r, b] = [1 + (red - 1) * strength, 1 + (blue - 1) * strength];
  const [ofRed, ofGreen, ofBlue] = LUMA;
  return [r, (1 - ofRed * r - ofBlue * b) / ofGreen, b];
}

/** Fine enough that no level comes out otherwise. */
const CODES_PER_EV = 512;
const DARKEST_EV = -12;
const LIGHTEST_EV = 24;

/** Red, green and blue of each pixel, as log2 of cd/m2 in codes. */
async function codesOf(scene: PracticeScene): Promise<Uint16Array> {
  const { luminance, warmth } = await sceneMap('full', { ...STILL, scene });
  const codes = new Uint16Array(luminance.length * 3);
  for (let at = 0; at < luminance.length; at += 1)
    for (const [channel, share] of tint(warmth[at] as number).entries())
      codes[3 * at + channel] = Math.round(
        (Math.log2((luminance[at] as number) * share) - DARKEST_EV) * CODES_PER_EV,
      );
  return codes;
}

/** @param white cd/m2 of white */
async function isHeld(codes: Uint16Array, white: number, end: SceneEnd): Promise<boolean> {
  const levels = Uint8Array.from({ length: (LIGHTEST_EV - DARKEST_EV) * CODES_PER_EV }, (_, code) =>
    levelOf(2 ** (DARKEST_EV + code / CODES_PER_EV) / white),
  );
  const pixels = new Uint8Array(codes.length);
  for (let at = 0; at < codes.length; at += 1) pixels[at] = levels[codes[at] as number] as number;
  const png = await sharp(pixels, { raw: { ...PICTURE, channels: 3 } })
    .png({ compressionLevel: 0 })
    .toBuffer();
  const { small } = await copiesOf(png);
  return lostAt(sceneOf([{ offsetEv: 0, copy: small }]), end, 0).share <= NOT_MISSED;
}

/** cd/m2 of white: a metered surface has L = K N^2 / (t S) (ISO 2720), and is at GREY of white. */
function whiteAt(tv: Sixths, { av, iso }: Camera): number {
  const ev100 = toEv(av) + toEv(tv) - speedValue(iso) + speedValue(100);
  return 2 ** (ev100 - exposureValueOfLuminance(1)) / GREY;
}

interface Camera {
  readonly av: Sixths;
  readonly iso: number;
  /** Its times in sixths, longest first. */
  readonly times: readonly Sixths[];
}

/** @returns Tv of the longest time that holds the highlights, and of the shortest that opens the shadows; undefined if none does */
export async function knownEnds(
  scene: PracticeScene,
  camera: Camera,
): Promise<{ readonly darkestTv: Sixths | undefined; readonly lightestTv: Sixths | undefined }> {
  const codes = await codesOf(scene);
  const holds = (tv: Sixths, end: SceneEnd) => isHeld(codes, whiteAt(tv, camera), end);
  return {
    darkestTv: await firstOf(camera.times, (tv) => holds(tv, 'highlights')),
    lightestTv: await firstOf(camera.times.toReversed(), (tv) => holds(tv, 'shadows')),
  };
}

/** @param all of which all hold that come after the first that does */
async function firstOf<One>(
  all: readonly One[],
  holds: (one: One) => Promise<boolean>,
): Promise<One | undefined> {
  let [from, to] = [0, all.length];
  while (from < to) {
    const middle = Math.floor((from + to) / 2);
    if (await holds(all[middle] as One)) to = middle;
    else from = middle + 1;
  }
  return all[from];
}

/** @returns the shutter times of the fewest frames that hold the scene, the darkest first, as the camera writes them */
export async function wantedFrames(
  scene: PracticeScene,
  step: Sixths,
  { limits, ...camera }: Camera & { readonly limits: BodyLimits },
): Promise<readonly string[]> {
  const { darkestTv, lightestTv } = await knownEnds(scene, camera);
  if (darkestTv === undefined || lightestTv === undefined)
    throw new Error('The camera cannot hold the scene.');
  const ends = { darkestTv: lightestTv, brightestTv: darkestTv, room: { above: NO_EV, below: NO_EV } };
  return place(ends, step, limits)?.tvs.map((tv) => labelOf(tv)) ?? [];
}
