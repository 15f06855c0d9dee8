// How far the light of the practice scenes reaches, from their radiance: for each exposure the picture is made that a camera without noise would make,
// and looked at by the limits that a whole set is judged by. Nothing is guessed from one exposure for another.
import sharp from 'sharp';
import { LUMA, levelOf } from '../../shared/srgb.js';
import { PICTURE, sceneMap } from '../../src/camera/practice/scene.js';
import { type PracticeScene, STILL } from '../../src/camera/practice/view.js';
import {
  exposureValueOfLuminance,
  plusSixths,
  type Sixths,
  sixths,
  speedValue,
  toEv,
} from '../../src/exposure/index.js';
import { NOT_MISSED } from '../../src/light/coverage/areas.js';
import { lostAt, type SceneEnd } from '../../src/light/ends/ends.js';
import { sceneOf } from '../../src/light/ends/scene.js';
import { copiesOf } from './practice-frames.js';

/** As src/camera/practice/render.ts has them: red and blue of light of luminance 1 at warmth -1, and at +1; a metered surface at 18 % of white. */
const COOL = { red: 0.75, blue: 1.45 };
const WARM = { red: 1.45, blue: 0.45 };
const GREY = 0.18;
const A_THIRD = sixths(2);

/** @returns red, green and blue over the luminance */
function tint(warmth: number): readonly [number, number, number] {
  const strength = Math.abs(warmth);
  const { red, blue } = warmth < 0 ? COOL : WARM;
  const [r, b] = [1 + (red - 1) * strength, 1 + (blue - 1) * strength];
  const [ofRed, ofGreen, ofBlue] = LUMA;
  return [r, (1 - ofRed * r - ofBlue * b) / ofGreen, b];
}

type Radiance = Awaited<ReturnType<typeof sceneMap>>;

/** @param white cd/m2 of white */
async function isHeld({ luminance, warmth }: Radiance, white: number, end: SceneEnd): Promise<boolean> {
  const pixels = new Uint8Array(luminance.length * 3);
  for (let at = 0; at < luminance.length; at += 1)
    for (const [channel, share] of tint(warmth[at] as number).entries())
      pixels[3 * at + channel] = levelOf(((luminance[at] as number) * share) / white);
  const png = await sharp(pixels, { raw: { ...PICTURE, channels: 3 } })
    .png({ compressionLevel: 1 })
    .toBuffer();
  const { small } = await copiesOf(png);
  return lostAt(sceneOf([{ offsetEv: 0, copy: small }]), end, 0).share <= NOT_MISSED;
}

/** cd/m2 of white: a metered surface has L = K N^2 / (t S) (ISO 2720), and is at GREY of it. */
function whiteAt(tv: Sixths, av: Sixths, iso: number): number {
  const ev100 = toEv(av) + toEv(tv) - speedValue(iso) + speedValue(100);
  return 2 ** (ev100 - exposureValueOfLuminance(1)) / GREY;
}

/**
 * @param from Tv at which both ends are far off
 * @returns Tv on whole thirds of the frame that just holds the highlights, and of the one that just lifts the shadows
 */
export async function knownEnds(
  scene: PracticeScene,
  { av, iso, from }: { readonly av: Sixths; readonly iso: number; readonly from: Sixths },
): Promise<{ readonly darkestTv: Sixths; readonly lightestTv: Sixths }> {
  const radiance = await sceneMap('full', { ...STILL, scene });
  const search = async (end: SceneEnd, darker: boolean): Promise<Sixths> => {
    const step = darker ? A_THIRD : sixths(-A_THIRD);
    let tv = from;
    const holds = () => isHeld(radiance, whiteAt(tv, av, iso), end);
    // Back from where it holds already, on from where it does not yet.
    if (await holds()) {
      while (await holds()) tv = sixths(tv - step);
      return plusSixths(tv, step);
    }
    while (!(await holds())) tv = plusSixths(tv, step);
    return tv;
  };
  return { darkestTv: await search('highlights', true), lightestTv: await search('shadows', false) };
}
