// The practice body's scene: a boathouse at dusk, its doors open on a bright lake, as a formula. Invented: no place, no
// picture file and no measurement lies behind it. Real dusk is darker: the light is set so that f/8, 1/60 s, ISO 100 is
// metered, with the beams near 1 cd/m2 and the low light on the lake near 14 000 (13.8 EV). Knows no frame.
import { exposureValueOfLuminance, type Sixths, sixths, toEv } from '../../exposure/index.js';
import { blurred } from './blur.js';
import { keyOf, type PracticeScene, STILL, stillScene, type View } from './view.js';

/** How large a picture is. */
export type PictureSize = 'full' | 'small';

/**
 * Width and height in pixels. A small picture is enough for tests of the exposure alone, and is made in a
 * tenth of the time.
 */
export const PICTURES = {
  full: { width: 1200, height: 800 },
  small: { width: 300, height: 200 },
} as const;
export const PICTURE = PICTURES.full;

/** A rectangle of the full picture, in pixels from its top left corner. */
export interface Region {
  readonly left: number;
  readonly top: number;
  readonly width: number;
  readonly height: number;
}

/** The near tie beam, on the side that faces away from the light: the darkest named part. */
export const BEAMS: Region = { left: 300, top: 60, width: 240, height: 48 };

/** Boards of the right wall, half-way down: a middle tone at the metered exposure. */
export const WALL_BOARDS: Region = { left: 960, top: 400, width: 100, height: 80 };

/** The low light on the water: the brightest named part. */
export const LAKE: Region = { left: 560, top: 464, width: 90, height: 32 };

/** The light that is seen at one position. */
export interface Light {
  /** cd/m2 */
  readonly luminance: number;
  /** Colour between cool lake (-1), neutral (0) and warm wood (1). */
  readonly warmth: number;
}

// The boathouse in metres: x to the right, y up from the water, z from the camera towards the lake.
const EYE = { x: 0.25, y: 1.6 };
/** The height of the horizon, in picture heights from the top. */
const HORIZON = 0.56;
/** From the lens to the image plane in picture heights: the view of a 22 mm lens on a frame 36 mm wide. */
const FOCAL = 0.92;
const ASPECT = PICTURE.width / PICTURE.height;
const WALL = 2.7;
const RIDGE = 4.25;
const PITCH = 0.65;
const FRONT = 5.4;
const DOORWAY = { half: 1.85, lintel: 2.45 };
const LEAF = { length: 1.7, lean: 0.16, bottom: 0.12, top: 2.4 };
const WALKWAY = 0.42;
const SLIP = { left: -1.2, right: 1.5 };
const TRUSSES = [2.1, 3.9];
const TIE = { bottom: 2.5, top: 2.76, depth: 0.24 };
const RAFTER = { every: 0.62, width: 0.09, depth: 0.13 };
const BOAT = { x: 0.12, stern: 3.55, bow: 6.7, rim: 0.56, rise: 0.07, half: 0.68, transom: 0.5 };
const THWARTS = [0.16, 0.42, 0.68];
const RING = { y: 1.75, z: 4.45, inner: 0.2, outer: 0.36 };
const OARS = [3.2, 3.42];
const MOORINGS = [
  { x: -0.75, z: 8.2, top: 1.05 },
  { x: -1.75, z: 11.5, top: 1 },
];
const DINGHY = { x: 1.5, z: 14, half: 1.2 };

/** cd/m2 of the doorway as a lamp: about the mean of what is seen through it. */
const DOORWAY_LIGHT = 9500;

/** The view that is being drawn; set before each piece of work, since several maps may be drawn by turns. */
let view: View = STILL;

/** The lamp under the roof (`lamp`), and the tiny one by the far truss (`spot`): metres, and cd/m2 of the globe. */
const LAMP = { x: 0.75, y: 2.2, z: 3.2, radius: 0.07, luminance: 100_000 };
const SPOT = { x: -0.7, y: 2.3, z: 3.9, radius: 0.011, luminance: 120_000 };

/** A ray from a point, one unit of z a step, so that everything is met at growing z. */
interface Ray {
  x: number;
  y: number;
  z: number;
  /** Change of x, and of y, over z. */
  aside: number;
  rise: number;
}

// One ray from the eye and its mirror image, used over and over: some two million new ones would take longer
// than everything else. A mirrored ray climbs and meets no water, so there is never a second one.
const sight: Ray = { x: EYE.x, y: EYE.y, z: 0, aside: 0.5, rise: 0.5 };
const mirrored: Ray = { ...sight };

/** The light of something met, and where along the ray. */
interface Hit extends Light {
  readonly z: number;
}

const xAt = (ray: Ray, z: number): number => ray.x + ray.aside * (z - ray.z);
const yAt = (ray: Ray, z: number): number => ray.y + ray.rise * (z - ray.z);
const wood = (z: number, luminance: number): Hit => ({ z, luminance, warmth: 0.85 });

// Value noise on a lattice of fixed pseudo-random numbers: wood grain, ripples, clouds.
const LATTICE = 256;
const lattice = new Float32Array(LATTICE * LATTICE);
{
  let seed = 0x2f6e2b1;
  for (let index = 0; index < lattice.length; index += 1) {
    seed = (Math.imul(seed, 1664525) + 1013904223) >>> 0;
    lattice[index] = seed / 2 ** 31 - 1;
  }
}
const cell = (x: number, y: number): number => lattice[((y & 255) << 8) | (x & 255)] as number;
const ease = (t: number): number => t * t * (3 - 2 * t);

/** @returns smooth noise between -1 and 1, one bump a unit */
function noise(x: number, y: number): number {
  const left = Math.floor(x);
  const top = Math.floor(y);
  const across = ease(x - left);
  const down = ease(y - top);
  const upper = cell(left, top) * (1 - across) + cell(left + 1, top) * across;
  const lower = cell(left, top + 1) * (1 - across) + cell(left + 1, top + 1) * across;
  return upper * (1 - down) + lower * down;
}
const rough = (x: number, y: number): number =>
  noise(x, y) * 0.55 + noise(x * 2.1 + 7, y * 2.1 + 3) * 0.3 + noise(x * 4.3 + 1, y * 4.3 + 9) * 0.15;

const smooth = (from: number, to: number, value: number): number =>
  ease(Math.min(1, Math.max(0, (value - from) / (to - from))));

/**
 * Luminance of a white surface inside, at a place and with a normal: from the doorway as a lamp (inverse
 * square, both cosines, softened by its area), and from what the room reflects, more near the doors.
 */
function lit(x: number, y: number, z: number, nx: number, ny: number, nz: number): number {
  if (view.scene === 'lamp') return lampLit(x, y, z, nx, ny, nz);
  const vx = -x;
  const vy = 1.3 - y;
  const vz = FRONT + 0.4 - z;
  const square = vx * vx + vy * vy + vz * vz;
  const area = 2 * DOORWAY.half * DOORWAY.lintel;
  const facing = Math.max(0, nx * vx + ny * vy + nz * vz);
  const direct = (area * facing * Math.max(0, vz)) / (square * (Math.PI * square + area));
  const back = 0.0042 * (0.35 + Math.exp(-Math.max(0, FRONT - z) / 1.6)) * (1.3 - 0.2 * y);
  return DOORWAY_LIGHT * (direct + back);
}

/** As `lit`, from the lamp under the roof: inverse square and one cosine, and what the room reflects. */
function lampLit(x: number, y: number, z: number, nx: number, ny: number, nz: number): number {
  const vx = LAMP.x - x;
  const vy = LAMP.y - y;
  const vz = LAMP.z - z;
  const square = vx * vx + vy * vy + vz * vz + 0.01;
  const facing = Math.max(0, nx * vx + ny * vy + nz * vz) / Math.sqrt(square);
  return (LAMP.luminance * LAMP.radius ** 2 * facing) / square + 1.5;
}

/** @returns the globe of a lamp, if the ray meets it */
function globe(ray: Ray, { x, y, z, radius, luminance }: typeof LAMP): Hit | undefined {
  if (ray.z > z) return undefined;
  return Math.hypot(xAt(ray, z) - x, yAt(ray, z) - y) < radius ? { z, luminance, warmth: 0.6 } : undefined;
}

/** Boards side by side: `across` counts boards, `along` runs with the grain in metres. @returns reflectance */
function boards(across: number, along: number, seed: number): number {
  const index = Math.floor(across);
  const within = across - index;
  const tone = 0.13 + 0.05 * cell(index + seed, seed * 7);
  const grain =
    1 + 0.22 * noise(across * 9, along * 1.3 + index * 17) + 0.12 * noise(across * 31, along * 3 + index * 5);
  const seam = Math.min(within, 1 - within) < 0.045 ? 0.25 : 1;
  return tone * grain * seam;
}

/** Light of the sky in a direction: `rise` over `z`, `aside` over `z`. */
function sky(aside: number, rise: number): Light {
  const up = Math.max(0, rise);
  const streak = rough(aside * 1.7 + 11, up * 42 + 2);
  const cloud = smooth(-0.15, 0.45, streak) * smooth(0.03, 0.09, up);
  const off = aside + 0.03;
  const glow = Math.exp(-(off * off) / 0.035 - (up - 0.045) ** 2 / 0.005);
  const luminance = (20000 * Math.exp(-up * 8) + 5500) * (1 - 0.5 * cloud) + 24000 * glow;
  const high = 1 - Math.exp(-Math.max(0, up - 0.05) * 22);
  return { luminance, warmth: Math.min(1, 0.8 - 1.5 * high + 0.2 * glow + 0.45 * cloud) };
}

/** The far shore: two lines of hills. */
function shore(aside: number, rise: number): Light | undefined {
  const near =
    0.022 +
    0.016 * rough(aside * 7 + 40, 1) +
    0.006 * noise(aside * 90, 5) +
    0.05 * smooth(0.05, 0.4, -aside);
  if (rise < near)
    return { luminance: 520 + 160 * noise(aside * 130, rise * 40) + 5000 * rise, warmth: -0.3 };
  const far = 0.052 + 0.028 * rough(aside * 3.1 + 20, 2);
  if (rise < far) return { luminance: 4200 - 24000 * (rise - 0.03), warmth: -0.5 };
  return undefined;
}

/** Things in the lake: mooring posts, and a dinghy with its mast, as flat shapes facing the camera. */
function afloat(ray: Ray): Light | undefined {
  for (const post of MOORINGS) {
    const off = xAt(ray, post.z) - post.x;
    const y = yAt(ray, post.z);
    if (Math.abs(off) < 0.075 && y >= 0 && y < post.top)
      return { luminance: 45 + 260 * smooth(0.02, 0.075, off), warmth: 0.5 };
  }
  const along = (xAt(ray, DINGHY.z) - DINGHY.x) / DINGHY.half;
  const y = yAt(ray, DINGHY.z);
  if (y < 0 || Math.abs(along) > 1.2) return undefined;
  const sheer = 0.42 + 0.22 * along * along;
  const hull = y < sheer && Math.abs(along) < 0.8 + 0.2 * (y / sheer);
  const mast = Math.abs(along + 0.12) < 0.028 && y < 3.3;
  return hull || mast ? { luminance: 30 + 70 * smooth(0.3, 0.6, y), warmth: 0.3 } : undefined;
}

/**
 * The first thing that the ray meets. The boat lies partly inside and partly outside; everything else is one
 * or the other.
 */
function seen(ray: Ray): Light {
  const { scene } = view;
  const lamp = scene === 'lamp' ? globe(ray, LAMP) : scene === 'spot' ? globe(ray, SPOT) : undefined;
  const boat = rowingBoat(ray);
  const inside = room(ray);
  const within = boat && (!inside || boat.z < inside.z) ? boat : inside;
  if (lamp && (!within || lamp.z < within.z)) return lamp;
  const light = within ?? outside(ray);
  return scene === 'dusk' || scene === 'spot' ? light : inLight(scene, light, within !== undefined);
}

/** Turns dusk into another light. The lamp lights the inside by itself. */
function inLight(scene: PracticeScene, { luminance, warmth }: Light, isInside: boolean): Light {
  if (scene === 'flat') return { luminance: 60 * (luminance / 60) ** 0.33, warmth: warmth * 0.4 };
  if (scene === 'day')
    return { luminance: isInside ? 12 * luminance ** 0.85 : 1.6 * luminance, warmth: warmth * 0.8 };
  return isInside ? { luminance, warmth } : { luminance: luminance * 2e-3, warmth: -0.6 };
}

/** @returns the first thing met inside, or undefined if the ray leaves through the doorway */
function room(ray: Ray): Hit | undefined {
  if (ray.z >= FRONT) return undefined;
  // The bare room is convex: the ray ends at the nearest of its planes.
  const side = ray.aside < 0 ? -1 : 1;
  const wall = ray.aside === 0 ? Infinity : ray.z + (side * WALL - ray.x) / ray.aside;
  const hither = roofAt(ray, side, RIDGE);
  const beyond = roofAt(ray, -side, RIDGE);
  const end = Math.min(wall, hither, beyond, FRONT);

  const within = truss(ray, end) ?? bank(ray, end) ?? (ray.rise < 0 ? floor(ray, end) : undefined);
  if (within) return within;
  if (end === FRONT) return frontWall(xAt(ray, FRONT), yAt(ray, FRONT));
  if (end === wall) return sideWall(side, yAt(ray, wall), wall);
  return end === hither ? roof(ray, side, hither) : roof(ray, -side, beyond);
}

/** @returns the point at which the ray meets one slope of a roof with its ridge at this height */
function roofAt(ray: Ray, side: number, ridge: number): number {
  const climb = ray.rise + side * PITCH * ray.aside;
  return climb > 0 ? ray.z + (ridge - ray.y - side * PITCH * ray.x) / climb : Infinity;
}

function truss(ray: Ray, end: number): Hit | undefined {
  const under = ray.rise > 0 ? ray.z + (TIE.bottom - ray.y) / ray.rise : Infinity;
  for (const at of TRUSSES) {
    if (at < ray.z) continue;
    if (under > at && under < at + TIE.depth && under < end) {
      const x = xAt(ray, under);
      return wood(under, boards(4 * (under - at) + 0.5, x, 3) * lit(x, TIE.bottom, under, 0, -1, 0));
    }
    if (at > end) continue;
    const x = xAt(ray, at);
    const y = yAt(ray, at);
    const off = Math.abs(x);
    const tie = y > TIE.bottom && y < TIE.top;
    const post = off < 0.1;
    const underRoof = RIDGE - PITCH * off - y < 0.2;
    const brace = off < 1.5 && Math.abs(y - TIE.top - (1.5 - off) * 0.62) < 0.075;
    if (tie || (y >= TIE.top && (post || underRoof || brace)))
      return wood(at, 0.07 * (1 + 0.3 * rough(x * 3, y * 30)) * lit(x, y, at, 0, 0, -1));
  }
  return undefined;
}

/** The sides of the walkways towards the slip. */
function bank(ray: Ray, end: number): Hit | undefined {
  if (ray.aside === 0) return undefined;
  const x = ray.aside < 0 ? SLIP.left : SLIP.right;
  const at = ray.z + (x - ray.x) / ray.aside;
  const y = yAt(ray, at);
  if (at < ray.z || at > end || y < 0 || y > WALKWAY) return undefined;
  const reflectance = 0.5 * boards(y / 0.14, at, 5) * (0.4 + y);
  return wood(at, reflectance * lit(x, y, at, -Math.sign(x), 0, 0));
}

/** The walkways, and the water of the slip between them. */
function floor(ray: Ray, end: number): Hit | undefined {
  const at = ray.z + (WALKWAY - ray.y) / ray.rise;
  const x = xAt(ray, at);
  const beside = Math.max(SLIP.left - x, x - SLIP.right);
  if (at < end && beside > 0) {
    const reflectance = (beside < 0.06 ? 0.9 : 1.5) * boards(at / 0.19, x, 11);
    return wood(at, reflectance * lit(x, WALKWAY, at, 0, 1, 0));
  }
  const onWater = ray.z - ray.y / ray.rise;
  return onWater < end ? water(ray, onWater, SLIP_WATER) : undefined;
}

const SLIP_WATER = { chop: 0.35, bed: 5 };
const OPEN_WATER = { chop: 1, bed: 200 };

/** Water mirrors what lies above it, by Schlick's approximation of Fresnel's law (F0 = 0.02), over a dark bed. */
function water(ray: Ray, z: number, { chop, bed }: { chop: number; bed: number }): Hit {
  const x = xAt(ray, z);
  const waves = chop / (1 + z * 0.03);
  const slopeX = waves * 0.04 * rough(x * 2.6 + 5, z * 1.5);
  // At a flat angle the facets that lean towards the eye fill most of the view.
  const slopeZ = waves * (0.025 + 0.07 * noise(x * 1.3 + 2, z * 4.2) + 0.05 * noise(x * 3.5, z * 11 + 4));
  const sine = -ray.rise / Math.sqrt(ray.aside * ray.aside + ray.rise * ray.rise + 1) + slopeZ;
  const share = 0.02 + 0.98 * (1 - Math.min(1, Math.max(0, sine))) ** 5;
  mirrored.x = x;
  mirrored.y = 0.001;
  mirrored.z = z;
  mirrored.aside = ray.aside - 2 * ray.rise * slopeX;
  mirrored.rise = Math.max(0.002, 2 * slopeZ - ray.rise);
  const above = seen(mirrored);
  return { z, luminance: above.luminance * share + bed, warmth: above.warmth * 0.8 - 0.2 };
}

function roof(ray: Ray, side: number, at: number): Hit {
  const normal = Math.sqrt(1 + PITCH * PITCH);
  const on = (z: number): number =>
    lit(xAt(ray, z), yAt(ray, z), z, (-side * PITCH) / normal, -1 / normal, 0);
  // Past the undersides of the rafters the ray meets one of them, or the face of the next rafter, or the
  // boards.
  const undersides = Math.max(ray.z, roofAt(ray, side, RIDGE - RAFTER.depth));
  const next = Math.ceil(undersides / RAFTER.every) * RAFTER.every;
  if (undersides - (next - RAFTER.every) < RAFTER.width) return wood(undersides, 0.13 * on(undersides));
  if (next < at) {
    const x = xAt(ray, next);
    const y = yAt(ray, next);
    return wood(next, 0.15 * (1 + 0.2 * rough(x * 5, y * 20)) * lit(x, y, next, 0, 0, -1));
  }
  return wood(at, boards((Math.abs(xAt(ray, at)) * normal) / 0.21, at, 23) * on(at));
}

/** Boards, posts and a rail; a life ring hangs on the left, a pair of oars leans on the right. */
function sideWall(side: number, y: number, z: number): Hit {
  const light = lit(side * WALL, y, z, -side, 0, 0);
  if (side < 0) {
    const fromRing = Math.hypot(z - RING.z, y - RING.y);
    if (fromRing > RING.inner && fromRing < RING.outer) {
      const quarter = (Math.atan2(y - RING.y, z - RING.z) / Math.PI) * 2 + 4.5;
      const band = Math.abs((quarter % 1) - 0.5) < 0.14;
      return { z, luminance: (band ? 0.035 : 0.6) * light, warmth: band ? 1 : 0.2 };
    }
  } else if (y < 2.3) {
    const half = y > 1.75 ? 0.085 : 0.025;
    for (const foot of OARS)
      if (Math.abs(z - foot - (y - WALKWAY) * 0.1) < half) return wood(z, 0.34 * light);
  }
  const post = TRUSSES.some((at) => Math.abs(z - at - 0.1) < 0.1);
  const rail = Math.abs(y - 1.1) < 0.06;
  if (post || rail) return wood(z, 0.12 * (1 + 0.2 * rough(z * 12, y * 3)) * light);
  return wood(z, boards(z / 0.2, y, 41) * light);
}

function frontWall(x: number, y: number): Hit | undefined {
  const beside = Math.abs(x) - DOORWAY.half;
  const above = y - DOORWAY.lintel;
  if (beside < 0 && above < 0) return undefined;
  const light = lit(x, y, FRONT, 0, 0, -1);
  if (Math.max(beside, above) < 0.15) return wood(FRONT, 0.11 * light);
  // Old boards have shrunk: daylight shows in some of the gaps above the doorway.
  const across = x / 0.19;
  const gap = Math.round(across);
  const open = cell(gap, 77) > 0.2 && noise(gap * 3.7, y * 2) > -0.1;
  if (above > 0.3 && Math.abs(across - gap) < 0.035 && open)
    return { z: FRONT, luminance: 3000, warmth: -0.2 };
  return wood(FRONT, boards(across, y, 59) * light);
}

/** Beyond the doorway: the door leaves, then what floats, then the lake, the shore or the sky. */
function outside(ray: Ray): Light {
  const near = doorLeaf(ray, -1) ?? doorLeaf(ray, 1) ?? afloat(ray);
  if (near) return near;
  if (ray.rise < 0) return water(ray, ray.z - ray.y / ray.rise, OPEN_WATER);
  return shore(ray.aside, ray.rise) ?? sky(ray.aside, ray.rise);
}

/** A leaf stands open outwards, leaning in a little from the doorway's edge. */
function doorLeaf(ray: Ray, side: number): Light | undefined {
  if (ray.z >= FRONT) return undefined;
  const lean = -side * LEAF.lean;
  const at = FRONT + (side * DOORWAY.half - xAt(ray, FRONT)) / (ray.aside - lean);
  if (!(at > FRONT && at < FRONT + LEAF.length)) return undefined;
  const y = yAt(ray, at);
  if (y < LEAF.bottom || y > LEAF.top) return undefined;
  const along = at - FRONT;
  const ledge = Math.abs(y - 0.5) < 0.09 || Math.abs(y - 2.05) < 0.09;
  const diagonal = Math.abs(y - 0.5 - along * 0.91) < 0.1;
  const reflectance = ledge || diagonal ? 0.16 : boards(along / 0.22, y, 71);
  return wood(at, reflectance * (700 + 2600 * along));
}

/** An open rowing boat, stern towards the camera: its rim and inside on a plane that rises to the bow, its transom below. */
function rowingBoat(ray: Ray): Hit | undefined {
  return withinRim(ray) ?? transom(ray);
}

function withinRim(ray: Ray): Hit | undefined {
  if (ray.rise >= BOAT.rise) return undefined;
  const at = ray.z + (BOAT.rim - ray.y + BOAT.rise * (ray.z - BOAT.stern)) / (ray.rise - BOAT.rise);
  if (at < BOAT.stern || at > BOAT.bow || at < ray.z) return undefined;
  const x = xAt(ray, at);
  const off = Math.abs(x - BOAT.x - view.drift);
  if (off > BOAT.half) return undefined;
  const along = (at - BOAT.stern) / (BOAT.bow - BOAT.stern);
  const half = BOAT.half * (1 - along ** 2.6) ** 0.75 * (0.74 + 0.9 * along * (1 - along));
  if (off > half) return undefined;
  const light = lit(x, BOAT.rim, Math.min(at, FRONT), 0, 1, 0) + 2500 * smooth(FRONT - 0.9, BOAT.bow, at);
  if (half - off < 0.05 || along < 0.03) return wood(at, 0.42 * light);
  if (THWARTS.some((thwart) => Math.abs(along - thwart) < 0.035)) return wood(at, 0.26 * light);
  return wood(at, (0.25 + 0.45 * smooth(0, 0.5, half - off)) * boards(off / 0.13, at, 83) * light);
}

function transom(ray: Ray): Hit | undefined {
  if (ray.z > BOAT.stern) return undefined;
  const x = xAt(ray, BOAT.stern);
  const y = yAt(ray, BOAT.stern);
  const half = BOAT.transom * (0.6 + (0.4 * y) / BOAT.rim);
  if (y < 0 || y > BOAT.rim || Math.abs(x - BOAT.x - view.drift) > half) return undefined;
  return wood(BOAT.stern, boards(y / 0.15, x - BOAT.x - view.drift, 89) * lit(x, y, BOAT.stern, 0, 0, -1));
}

/** @param across 0 at the left, 1 at the right @param down 0 at the top, 1 at the bottom; of the scene at dusk unless it is said otherwise */
export function lightAt(across: number, down: number, of: View = STILL): Light {
  view = of;
  return lightThrough(across - of.right / PICTURE.width, down - of.down / PICTURE.height);
}

function lightThrough(across: number, down: number): Light {
  sight.aside = ((across - 0.5) * ASPECT) / FOCAL;
  sight.rise = (HORIZON - down) / FOCAL;
  return seen(sight);
}

/** The scene pixel by pixel, row by row from the top left corner. */
export interface SceneMap {
  readonly picture: PictureSize;
  readonly of: View;
  /** cd/m2 */
  readonly luminance: Float32Array;
  /** As in Light. */
  readonly warmth: Float32Array;
}

const maps = new Map<string, Promise<SceneMap>>();

/** The scene as a map of that size, built in slices. What stands still is built at the first call, and kept. */
export function sceneMap(picture: PictureSize = 'full', of: View = STILL): Promise<SceneMap> {
  if (stillScene(of) === undefined) return buildMap(picture, of);
  const key = `${picture} ${keyOf(of)}`;
  const map = maps.get(key) ?? buildMap(picture, of);
  maps.set(key, map);
  return map;
}

const SLICE_MS = 8;

/** Does a long work piece by piece, and lets others run every few milliseconds. */
export async function inSlices(pieces: number, work: (piece: number) => void): Promise<void> {
  let since = performance.now();
  for (let piece = 0; piece < pieces; piece += 1) {
    work(piece);
    if (performance.now() - since < SLICE_MS) continue;
    await new Promise((resolve) => setImmediate(resolve));
    since = performance.now();
  }
}

async function buildMap(picture: PictureSize, of: View): Promise<SceneMap> {
  const { width, height } = PICTURES[picture];
  const coarse = {
    ...{ picture, of },
    luminance: new Float32Array(width * height),
    warmth: new Float32Array(width * height),
  };
  await inSlices(height, (row) => lookAlong(row, coarse));
  const fine = { ...coarse, luminance: coarse.luminance.slice(), warmth: coarse.warmth.slice() };
  await inSlices(height, (row) => smoothEdges(row, coarse.luminance, fine));
  const sigma = (of.defocus * width) / PICTURE.width;
  return { ...fine, luminance: blurred(fine.luminance, width, sigma) };
}

function lookAlong(row: number, { picture, of, luminance, warmth }: SceneMap): void {
  const { width, height } = PICTURES[picture];
  for (let column = 0; column < width; column += 1) {
    const light = lightAt((column + 0.5) / width, (row + 0.5) / height, of);
    luminance[row * width + column] = light.luminance;
    warmth[row * width + column] = light.warmth;
  }
}

/** Where neighbours differ by more than this factor there is an edge within the pixel. */
const EDGE = 1.6;
const WITHIN = [
  [-0.375, -0.125],
  [0.125, -0.375],
  [0.375, 0.125],
  [-0.125, 0.375],
] as const;

function smoothEdges(row: number, coarse: Float32Array, { picture, of, luminance, warmth }: SceneMap): void {
  const { width, height } = PICTURES[picture];
  const first = row * width;
  const above = Math.max(0, row - 1) * width;
  const below = Math.min(height - 1, row + 1) * width;
  for (let column = 0; column < width; column += 1) {
    const here = coarse[first + column] as number;
    const left = coarse[first + Math.max(0, column - 1)] as number;
    const right = coarse[first + Math.min(width - 1, column + 1)] as number;
    const up = coarse[above + column] as number;
    const down = coarse[below + column] as number;
    const darkest = Math.min(left, right, up, down);
    const lightest = Math.max(left, right, up, down);
    if (lightest < here * EDGE && here < darkest * EDGE) continue;
    let sum = 0;
    let warm = 0;
    for (const [x, y] of WITHIN) {
      const light = lightAt((column + 0.5 + x) / width, (row + 0.5 + y) / height, of);
      sum += light.luminance;
      warm += light.luminance * light.warmth;
    }
    luminance[first + column] = sum / WITHIN.length;
    warmth[first + column] = warm / sum;
  }
}

// The meter is centre-weighted: the mean of the logarithms over a grid of cells, weighted by a bell about the middle of the
// picture. Its width, in picture heights, is set so that f/8 at ISO 100 meters 1/60 s.
const CELLS = { across: 240, down: 160 } as const;
const BELL = 0.134;
/** Cells that weigh less than this are not looked at. */
const LEAST_WEIGHT = 0.01;

const meteredEv: Partial<Record<PracticeScene, number>> = {};

/** @returns the scene's EV at ISO 100, as the meter sees it */
function sceneEv(scene: PracticeScene): number {
  const of = { ...STILL, scene };
  let sum = 0;
  let weights = 0;
  for (let row = 0; row < CELLS.down; row += 1) {
    for (let column = 0; column < CELLS.across; column += 1) {
      const across = (column + 0.5) / CELLS.across;
      const down = (row + 0.5) / CELLS.down;
      const square = ((across - 0.5) * ASPECT) ** 2 + (down - 0.5) ** 2;
      const weight = Math.exp(-square / (2 * BELL * BELL));
      if (weight < LEAST_WEIGHT) continue;
      sum += weight * exposureValueOfLuminance(lightAt(across, down, of).luminance);
      weights += weight;
    }
  }
  return sum / weights;
}

/**
 * The reading of a reflected-light meter with K = 12.5 for the scene (ISO 2720): Av + Tv = EV at ISO 100 +
 * log2(ISO / 100).
 * @returns Tv in sixths, on the third-stop grid; it may lie beyond the body's shutter
 */
export function meteredTv(av: Sixths, iso: number, scene: PracticeScene = 'dusk'): Sixths {
  meteredEv[scene] ??= sceneEv(scene);
  const ev = meteredEv[scene];
  return sixths(2 * Math.round(3 * (ev + Math.log2(iso / 100) - toEv(av))));
}
