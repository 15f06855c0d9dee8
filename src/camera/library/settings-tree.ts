// The settings tree as the binding hands it over, and as direct/ reads it, made into a flat map of bare names. The tree comes from a body: whatever
// does not have the expected shape is left out, and nothing in it can make the reading fail.
import type { Setting } from '../link.js';

/** A setting, with what the link has to know of it in addition. */
export interface TreeSetting extends Setting {
  /**
   * False for a switch that starts something instead of keeping a state (libgphoto2 always reads it as 2): a
   * value that was written to it cannot be read back.
   */
  readonly readsBack: boolean;
}

/**
 * Sections as libgphoto2 orders them. A setting that is asked for by its bare name is the first one in this order; the
 * binding itself hands the sections over in alphabetical order.
 */
const SECTION_ORDER = ['actions', 'settings', 'status', 'imgsettings', 'capturesettings'];

const STARTS_SOMETHING = 2;

type Fields = Readonly<Record<string, unknown>>;

const isFields = (value: unknown): value is Fields => typeof value === 'object' && value !== null;

/**
 * Settings that newer bodies of vendor extension 0x11 have twice under one name; the binding keeps the
 * second, with an empty list (seen with 0.3.2 over the virtual port). Their choices are also found under the
 * property's number; a write by the name is taken. `divisor`: the number is in thousandths there.
 */
const TWINS: readonly { readonly name: string; readonly number: string; readonly divisor: number | null }[] =
  [
    { name: 'iso', number: 'd226', divisor: null },
    { name: 'exposurecompensation', number: 'd224', divisor: 1000 },
  ];

/** @param tree what getConfig of the binding gives: nodes with `children`, leaves with `type`, `value` and, for a choice, `choices` */
export function flattenTree(tree: unknown): Map<string, TreeSetting> {
  const found = new Map<string, TreeSetting>();
  walk(tree, found);
  fillEmptyLists(found);
  return found;
}

function fillEmptyLists(found: Map<string, TreeSetting>): void {
  for (const { name, number, divisor } of TWINS) {
    const setting = found.get(name);
    const twin = found.get(number);
    if (setting?.kind !== 'choice' || setting.choices?.length !== 0 || twin?.choices === undefined) continue;
    const choices = twin.choices.flatMap((value) =>
      divisor === null ? value : (thousandths(value, divisor) ?? []),
    );
    found.set(name, { ...setting, choices });
  }
}

/** @returns as the library writes it under the name: `-0.3` of `-300` */
function thousandths(value: string, divisor: number): string | undefined {
  return /^-?\d{1,6}$/.test(value) ? String(Number(value) / divisor) : undefined;
}

function walk(nodes: unknown, found: Map<string, TreeSetting>): void {
  if (!isFields(nodes)) return;
  for (const [name, node] of Object.entries(nodes).sort(bySection)) {
    if (!isFields(node)) continue;
    if (isFields(node.children)) {
      walk(node.children, found);
      continue;
    }
    const setting = readLeaf(name, node);
    if (setting !== undefined && !found.has(name)) found.set(name, setting);
  }
}

function bySection([one]: [string, unknown], [other]: [string, unknown]): number {
  const rank = (name: string) => {
    const place = SECTION_ORDER.indexOf(name);
    return place < 0 ? SECTION_ORDER.length : place;
  };
  return rank(one) - rank(other);
}

/** @returns undefined if a leaf does not have the expected shape */
export function readLeaf(name: string, leaf: Fields): TreeSetting | undefined {
  const { value } = leaf;
  switch (leaf.type) {
    case 'choice':
      return {
        name,
        kind: 'choice',
        value: label(value),
        choices: Array.isArray(leaf.choices) ? leaf.choices.map(label).filter((choice) => choice !== '') : [],
        readsBack: true,
      };
    case 'string':
      return { name, kind: 'text', value: label(value), readsBack: true };
    case 'range':
      return { name, kind: 'range', value: plainNumber(value), readsBack: true };
    case 'toggle':
      return {
        name,
        kind: 'toggle',
        value: value === 1 ? 'on' : 'off',
        readsBack: value !== STARTS_SOMETHING,
      };
    case 'date':
      // Clocks run on, so the value that was written is no longer the one that is read.
      return { name, kind: 'date', value: moment(value), readsBack: false };
    default:
      return undefined;
  }
}

function label(value: unknown): string {
  if (typeof value === 'string') return value;
  return typeof value === 'number' || typeof value === 'boolean' ? String(value) : '';
}

/** Numbers come as 32-bit floats: 0.3 would read 0.30000001192092896. */
function plainNumber(value: unknown): string {
  return typeof value === 'number' && Number.isFinite(value) ? String(Number(value.toPrecision(7))) : '';
}

const moment = (value: unknown): string =>
  value instanceof Date && !Number.isNaN(value.getTime()) ? value.toISOString() : '';
