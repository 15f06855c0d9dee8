// The library's settings tree in memory: read into the shape that library/settings-tree.ts takes, and written to.
import { NOT_FOUND } from '../library/result-codes.js';
import { CallFailure } from './calls.js';
import { type Out, WIDGET, type Widget } from './gp.js';
import type { Gp } from './load.js';

/** A leaf of the tree, or a node with more below it. */
type Node = Readonly<Record<string, unknown>>;

function asked<T>(ask: (widget: Widget, out: Out<T>) => number, widget: Widget): T | null {
  const out: Out<T> = [null];
  return ask(widget, out) < 0 ? null : out[0];
}

export const nameOf = (gp: Gp, widget: Widget): string => asked(gp.gp_widget_get_name, widget) ?? '';

export const isReadOnly = (gp: Gp, widget: Widget): boolean => asked(gp.gp_widget_get_readonly, widget) === 1;

const typeOf = (gp: Gp, widget: Widget): number => asked(gp.gp_widget_get_type, widget) ?? -1;

/** A whole tree, and the names that it has more than once. */
export interface Tree {
  readonly sections: Node;
  readonly twice: ReadonlySet<string>;
}

/** @param root the window of gp_camera_get_config */
export function treeOf(gp: Gp, root: Widget): Tree {
  const names = new Set<string>();
  const twice = new Set<string>();
  const sections = childrenOf(gp, root, (name) => {
    if (names.has(name)) twice.add(name);
    names.add(name);
  });
  return { sections, twice };
}

/**
 * @returns the children of a widget, by name; of two with one name the later one, and sorted, as a map of
 *   C++ does it
 */
function childrenOf(gp: Gp, parent: Widget, meet: (name: string) => void): Node {
  const children = new Map<string, Node>();
  for (let index = 0; index < gp.gp_widget_count_children(parent); index += 1) {
    const out: Out<Widget> = [null];
    if (gp.gp_widget_get_child(parent, index, out) < 0 || !out[0]) continue;
    const [child] = out;
    const name = nameOf(gp, child) || (asked(gp.gp_widget_get_label, child) ?? '');
    const type = typeOf(gp, child);
    if (type === WIDGET.window || type === WIDGET.section) {
      children.set(name, { children: childrenOf(gp, child, meet) });
    } else {
      meet(name);
      children.set(name, leafOf(gp, child));
    }
  }
  return Object.fromEntries([...children].sort(([one], [other]) => (one < other ? -1 : 1)));
}

/** @returns what a widget without children tells of itself; without a type if it does not */
export function leafOf(gp: Gp, widget: Widget): Node {
  switch (typeOf(gp, widget)) {
    case WIDGET.text:
      return { type: 'string', value: textOf(gp, widget) };
    case WIDGET.range:
      return { type: 'range', value: rawOf(gp, widget)?.readFloatLE(0) };
    case WIDGET.toggle:
      return { type: 'toggle', value: rawOf(gp, widget)?.readInt32LE(0) };
    case WIDGET.date: {
      const seconds = rawOf(gp, widget)?.readInt32LE(0);
      return { type: 'date', value: seconds === undefined ? undefined : new Date(seconds * 1000) };
    }
    case WIDGET.radio:
    case WIDGET.menu:
      return { type: 'choice', value: textOf(gp, widget), choices: choicesOf(gp, widget) };
    default:
      return {};
  }
}

function choicesOf(gp: Gp, widget: Widget): (string | null)[] {
  return Array.from({ length: Math.max(0, gp.gp_widget_count_choices(widget)) }, (_, index) => {
    const choice: Out<string> = [null];
    return gp.gp_widget_get_choice(widget, index, choice) < 0 ? null : choice[0];
  });
}

/** The largest size of a value: a pointer. */
const VALUE_BYTES = 8;

function rawOf(gp: Gp, widget: Widget): Buffer | undefined {
  const value = Buffer.alloc(VALUE_BYTES);
  return gp.gp_widget_get_value(widget, value) < 0 ? undefined : value;
}

function textOf(gp: Gp, widget: Widget): string | undefined {
  const pointer = rawOf(gp, widget)?.readBigUInt64LE(0) ?? 0n;
  return pointer === 0n ? undefined : gp.koffi.decode.string(pointer);
}

/**
 * Puts a value into a widget, as its label: the body is not touched. It has been checked against the choices.
 * @throws CallFailure for a number out of its range
 */
export function putInto(gp: Gp, widget: Widget, value: string): void {
  const code = gp.gp_widget_set_value(widget, inBytes(gp, widget, value));
  if (code < 0) throw new CallFailure(code);
}

function inBytes(gp: Gp, widget: Widget, value: string): Buffer {
  const bytes = Buffer.alloc(VALUE_BYTES);
  switch (typeOf(gp, widget)) {
    case WIDGET.range: {
      const number = Number.parseFloat(value);
      const [least, most, step]: [Out<number>, Out<number>, Out<number>] = [[null], [null], [null]];
      const code = gp.gp_widget_get_range(widget, least, most, step);
      if (code < 0) throw new CallFailure(code);
      const float = Math.fround(number);
      if (float < (least[0] ?? float) || float > (most[0] ?? float)) throw new CallFailure(NOT_FOUND);
      bytes.writeFloatLE(number, 0);
      return bytes;
    }
    case WIDGET.toggle:
      bytes.writeInt32LE(value === 'on' ? 1 : 0, 0);
      return bytes;
    case WIDGET.date:
      bytes.writeInt32LE(Number.parseInt(value, 10) | 0, 0);
      return bytes;
    default:
      return Buffer.from(`${value}\0`);
  }
}
