// How a picture lies on the screen while somebody looks closely: magnification, the part that is seen, and
// how it is moved. Lengths on the screen are CSS pixels; a point is one of the screen's own dots. Pure
// calculations; must know nothing of events or of what is shown.

export interface Size {
  readonly width: number;
  readonly height: number;
}

export interface Place {
  readonly x: number;
  readonly y: number;
}

export interface Box extends Size {
  readonly left: number;
  readonly top: number;
}

/** The room that a picture has. */
export interface Room {
  /** Pixels of the picture. */
  readonly picture: Size;
  readonly screen: Size;
  /** Points of the screen in a CSS pixel. */
  readonly density: number;
}

/** Tied to no room, so that the next frame, and a screen that was turned, show the same part of the picture. */
export interface Look {
  /**
   * Points of the screen for each pixel of the picture, along a side; `whole` is as many as let all of it be
   * seen.
   */
  readonly points: number | 'whole';
  /** The part of the picture that lies in the middle, from 0 to 1 of its width and height. */
  readonly x: number;
  readonly y: number;
}

export const WHOLE: Look = { points: 'whole', x: 0.5, y: 0.5 };

/** Beyond that single pixels tell nothing more. */
const MOST_POINTS = 8;
/** A view this close to all of it counts as all of it. */
const NEARLY = 1e-3;

/** @returns points of the screen for each pixel of the picture if all of it is seen */
export const wholePoints = ({ picture, screen, density }: Room): number =>
  Math.min(screen.width / picture.width, screen.height / picture.height) * density;

/**
 * The smallest and the largest magnification: nobody needs less than all of it, or than pixel for pixel if
 * that is less.
 */
export function limitsIn(room: Room): readonly [number, number] {
  const whole = wholePoints(room);
  return [Math.min(whole, 1), Math.max(whole, MOST_POINTS)];
}

export const pointsOf = (look: Look, room: Room): number =>
  look.points === 'whole' ? wholePoints(room) : look.points;

const between = (least: number, value: number, most: number): number =>
  Math.min(most, Math.max(least, value));

/** @returns the nearest look that leaves no part of the screen empty which the picture could fill */
export function within(look: Look, room: Room): Look {
  const [least, most] = limitsIn(room);
  const points = between(least, pointsOf(look, room), most);
  const whole = wholePoints(room);
  const isWhole = look.points === 'whole' || Math.abs(points / whole - 1) < NEARLY;
  const size = sizeAt(isWhole ? whole : points, room);
  return {
    points: isWhole ? 'whole' : points,
    x: middle(look.x, room.screen.width / size.width),
    y: middle(look.y, room.screen.height / size.height),
  };
}

/** @param seen share of the picture's side that the screen shows; from 1 on all of it */
function middle(at: number, seen: number): number {
  if (seen >= 1 - NEARLY) return 0.5;
  return between(seen / 2, at, 1 - seen / 2);
}

const sizeAt = (points: number, { picture, density }: Room): Size => ({
  width: (picture.width * points) / density,
  height: (picture.height * points) / density,
});

/**
 * @returns the place of the picture, from the screen's corner; on whole points, so that pixel for pixel is
 *   exact
 */
export function boxOf(look: Look, room: Room): Box {
  const size = sizeAt(pointsOf(look, room), room);
  const onPoint = (length: number) => Math.round(length * room.density) / room.density;
  return {
    left: onPoint(room.screen.width / 2 - look.x * size.width),
    top: onPoint(room.screen.height / 2 - look.y * size.height),
    ...size,
  };
}

/** @param at on the screen @returns the part of the picture that lies there, from 0 to 1 */
export function partAt(look: Look, room: Room, at: Place): Place {
  const size = sizeAt(pointsOf(look, room), room);
  return {
    x: look.x + (at.x - room.screen.width / 2) / size.width,
    y: look.y + (at.y - room.screen.height / 2) / size.height,
  };
}

export const middleOf = ({ screen }: Room): Place => ({ x: screen.width / 2, y: screen.height / 2 });

/** @param at stays in place on the screen, as far as the limits allow */
export function zoomTo(look: Look, room: Room, points: number | 'whole', at: Place = middleOf(room)): Look {
  return lay(partAt(look, room, at), room, points, at);
}

export const zoomBy = (look: Look, room: Room, factor: number, at?: Place): Look =>
  zoomTo(look, room, pointsOf(look, room) * factor, at);

/** @returns the look that has this part of the picture there on the screen */
function lay(part: Place, room: Room, points: number | 'whole', at: Place): Look {
  const [least, most] = limitsIn(room);
  const wanted = between(least, points === 'whole' ? wholePoints(room) : points, most);
  const size = sizeAt(wanted, room);
  const x = part.x - (at.x - room.screen.width / 2) / size.width;
  const y = part.y - (at.y - room.screen.height / 2) / size.height;
  return within({ points: points === 'whole' ? points : wanted, x, y }, room);
}

/** @param by how far the picture goes with the finger */
export function moveBy(look: Look, room: Room, by: Place): Look {
  const size = sizeAt(pointsOf(look, room), room);
  return within({ ...look, x: look.x - by.x / size.width, y: look.y - by.y / size.height }, room);
}

/** Two fingers: what lay below each of them stays there, as far as the limits let it. */
export function stretch(
  look: Look,
  room: Room,
  before: readonly [Place, Place],
  after: readonly [Place, Place],
): Look {
  const factor = distance(...after) / Math.max(1, distance(...before));
  return lay(partAt(look, room, halfway(...before)), room, pointsOf(look, room) * factor, halfway(...after));
}

const distance = (one: Place, other: Place): number => Math.hypot(one.x - other.x, one.y - other.y);
const halfway = (one: Place, other: Place): Place => ({ x: (one.x + other.x) / 2, y: (one.y + other.y) / 2 });

/** A step of a button: two of them double the size; neither pixel for pixel nor all of it is skipped. */
export function stepped(look: Look, room: Room, by: 1 | -1): Look {
  const now = pointsOf(look, room);
  const exponent = Math.log2(now) * 2;
  const next = 2 ** ((by > 0 ? Math.floor(exponent + 0.02) + 1 : Math.ceil(exponent - 0.02) - 1) / 2);
  const stops = [next, wholePoints(room)].filter((stop) => by * (stop / now - 1) > NEARLY);
  return zoomTo(look, room, by > 0 ? Math.min(...stops) : Math.max(...stops));
}

/** Pixel for pixel with that place unmoved, and from there back to all of it. */
export const toggled = (look: Look, room: Room, at?: Place): Look =>
  zoomTo(look, room, isPixelForPixel(look, room) ? 'whole' : 1, at);

export const isPixelForPixel = (look: Look, room: Room): boolean =>
  Math.abs(pointsOf(look, room) - 1) < NEARLY;

export type Way = 'left' | 'right' | 'up' | 'down';

/** A step towards a part that is out of sight: a third of what is seen. */
const STEP = 1 / 3;
const TOWARDS: Readonly<Record<Way, Place>> = {
  left: { x: 1, y: 0 },
  right: { x: -1, y: 0 },
  up: { x: 0, y: 1 },
  down: { x: 0, y: -1 },
};

export const towards = (look: Look, room: Room, way: Way): Look =>
  moveBy(look, room, {
    x: TOWARDS[way].x * room.screen.width * STEP,
    y: TOWARDS[way].y * room.screen.height * STEP,
  });

/** Whether something of the picture lies out of sight there. */
export function hasMore(look: Look, room: Room, way: Way): boolean {
  const { left, top, width, height } = boxOf(within(look, room), room);
  /** Less than a point is rounding. */
  const some = 1 / room.density;
  if (way === 'left') return left <= -some;
  if (way === 'up') return top <= -some;
  return way === 'right'
    ? left + width - room.screen.width >= some
    : top + height - room.screen.height >= some;
}

export const WAYS = ['left', 'right', 'up', 'down'] as const satisfies readonly Way[];

/** Whether there is anything to move. */
export const isCut = (look: Look, room: Room): boolean => WAYS.some((way) => hasMore(look, room, way));

/** The gap between two pictures, in points. */
const GAP_POINTS = 2;

/**
 * @param all the room for the pictures
 * @returns equal boxes on whole points, beside each other if the room is wide, otherwise one above the
 *   other
 */
export function panesIn(all: Size, density: number, isPair: boolean): readonly Box[] {
  if (!isPair) return [{ left: 0, top: 0, ...all }];
  const isWide = all.width > all.height;
  const half = (length: number) => Math.max(1, Math.floor((length * density - GAP_POINTS) / 2)) / density;
  const size = isWide ? { ...all, width: half(all.width) } : { ...all, height: half(all.height) };
  const gap = GAP_POINTS / density;
  return [
    { left: 0, top: 0, ...size },
    { left: isWide ? size.width + gap : 0, top: isWide ? 0 : size.height + gap, ...size },
  ];
}
