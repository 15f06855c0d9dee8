// Turns events of fingers, mouse and wheel on pictures into what they mean. It knows events and the places of
// the pictures on the page; the listener decides what is done.
import type { Place } from './zoom.js';

/** Places are counted from the corner of the picture's own part of the screen. */
export interface Handled {
  moved(by: Place): void;
  stretched(before: readonly [Place, Place], after: readonly [Place, Place]): void;
  /** By the wheel: so many times as large. */
  scaled(factor: number, at: Place): void;
  doubled(at: Place): void;
}

/** How far a resting finger may move, in CSS pixels. */
const TREMBLE = 8;
/** Two taps so near to each other in time and place are one double tap. */
const DOUBLE_WITHIN_MS = 350;
const DOUBLE_WITHIN = 40;
/** CSS pixels of the wheel that make it twice as large; two fingers on a trackpad come as a wheel with the control key. */
const WHEEL_DOUBLES = 350;
const TRACKPAD_DOUBLES = 90;
/** The units of a wheel: pixels, lines, pages. */
const WHEEL_UNITS = [1, 16, 400] as const;

interface Hand {
  at: Place;
  /** The place where it was put down. */
  readonly from: Place;
  /** The corner that its places are counted from. */
  readonly corner: Place;
  isMoving: boolean;
}

const distance = (one: Place, other: Place): number => Math.hypot(one.x - other.x, one.y - other.y);
const minus = (one: Place, other: Place): Place => ({ x: one.x - other.x, y: one.y - other.y });
const inside = ({ at, corner }: Hand): Place => minus(at, corner);

/**
 * @param stage holds the pictures, each in an element with `data-pane`
 * @param listener is asked for each time
 * @returns what ends it
 */
export function handle(stage: HTMLElement, listener: () => Handled): () => void {
  const hands = new Map<number, Hand>();
  /** The kind of pointer that was used last. */
  let latest = '';
  let lastTap: { readonly at: Place; readonly ms: number } | null = null;

  const cornerAt = ({ x, y }: Place): Place => {
    const boxes = [...stage.querySelectorAll('[data-pane]')].map((pane) => pane.getBoundingClientRect());
    const box = boxes.find(
      ({ left, right, top, bottom }) => x >= left && x < right && y >= top && y < bottom,
    );
    const { left, top } = box ?? boxes[0] ?? stage.getBoundingClientRect();
    return { x: left, y: top };
  };
  const placeOf = ({ clientX, clientY }: MouseEvent): Place => ({ x: clientX, y: clientY });
  const isOnButton = ({ target }: Event) => target instanceof Element && target.closest('button, a') !== null;

  const down = (event: PointerEvent) => {
    latest = event.pointerType;
    if (isOnButton(event) || (event.pointerType === 'mouse' && event.button !== 0)) return;
    const at = placeOf(event);
    hands.set(event.pointerId, { at, from: at, corner: cornerAt(at), isMoving: false });
    stage.setPointerCapture(event.pointerId);
  };
  const move = (event: PointerEvent) => {
    const hand = hands.get(event.pointerId);
    if (hand === undefined) return;
    const at = placeOf(event);
    const [first, second] = [...hands.values()];
    if (first === undefined) return;
    if (second === undefined) {
      if (!hand.isMoving && distance(hand.from, at) < TREMBLE) return;
      const by = minus(at, hand.at);
      hand.isMoving = true;
      hand.at = at;
      listener().moved(by);
      return;
    }
    if (hand !== first && hand !== second) return;
    const before: [Place, Place] = [inside(first), inside(second)];
    hand.at = at;
    // Neither of them was a tap.
    first.isMoving = true;
    second.isMoving = true;
    listener().stretched(before, [inside(first), inside(second)]);
  };
  const up = (event: PointerEvent) => {
    const hand = hands.get(event.pointerId);
    hands.delete(event.pointerId);
    // A mouse tells of its double clicks itself.
    if (hand === undefined || event.pointerType === 'mouse') return;
    if (hand.isMoving || hands.size > 0) {
      lastTap = null;
      return;
    }
    const isSecond =
      lastTap !== null &&
      event.timeStamp - lastTap.ms < DOUBLE_WITHIN_MS &&
      distance(lastTap.at, hand.at) < DOUBLE_WITHIN;
    lastTap = isSecond ? null : { at: hand.at, ms: event.timeStamp };
    if (isSecond) listener().doubled(inside(hand));
  };
  const leave = (event: PointerEvent) => {
    hands.delete(event.pointerId);
  };
  const double = (event: MouseEvent) => {
    if (isOnButton(event) || latest !== 'mouse') return;
    const at = placeOf(event);
    listener().doubled(minus(at, cornerAt(at)));
  };
  const wheel = (event: WheelEvent) => {
    if (event.deltaY === 0) return;
    event.preventDefault();
    const turned = event.deltaY * (WHEEL_UNITS[event.deltaMode] ?? 1);
    const at = placeOf(event);
    const factor = 2 ** (-turned / (event.ctrlKey ? TRACKPAD_DOUBLES : WHEEL_DOUBLES));
    listener().scaled(factor, minus(at, cornerAt(at)));
  };

  const ends = new AbortController();
  const { signal } = ends;
  stage.addEventListener('pointerdown', down, { signal });
  stage.addEventListener('pointermove', move, { signal });
  stage.addEventListener('pointerup', up, { signal });
  stage.addEventListener('pointercancel', leave, { signal });
  stage.addEventListener('lostpointercapture', leave, { signal });
  stage.addEventListener('dblclick', double, { signal });
  stage.addEventListener('wheel', wheel, { signal, passive: false });
  return () => ends.abort();
}
