// What can be read and told apart, in every look: contrasts by WCAG 2.2, of each pair of tokens that the style sheets use.
// Text: success criterion 1.4.3, at least 4.5. Marks, and the edges of what can be touched: 1.4.11, at least 3.
// https://www.w3.org/TR/WCAG22/#contrast-minimum, https://www.w3.org/TR/WCAG22/#non-text-contrast
import { readdirSync, readFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import { converter, wcagContrast } from 'culori';
import { describe, expect, it } from 'vitest';
import { GROUNDS } from '../../web/src/dress.js';

const STYLE = fileURLToPath(new URL('../../web/src/style/', import.meta.url));
const PAGES = ['../../web/index.html', '../../web/notes.html'].map((page) =>
  readFileSync(fileURLToPath(new URL(page, import.meta.url)), 'utf8'),
);
const sheet = (name: string) => readFileSync(`${STYLE}${name}`, 'utf8').replace(/\/\*.*?\*\//gs, '');

const TEXT = 4.5;
const MARK = 3;
/** By day the sun shines on it: what WCAG asks for at its highest level, 1.4.6. */
const TEXT_IN_THE_SUN = 7;

type Tokens = ReadonlyMap<string, string>;

/** @param selector as it stands in tokens.css */
function tokensOf(selector: string): Tokens {
  const source = sheet('tokens.css');
  const at = source.indexOf(`${selector} {`);
  if (at < 0) throw new Error(`tokens.css has no ${selector}.`);
  const block = source.slice(source.indexOf('{', at) + 1, source.indexOf('}', at));
  return new Map(
    [...block.matchAll(/--([\w-]+):\s*([^;]+);/g)].map(([, name = '', value = '']) => [name, value]),
  );
}

const DAY = tokensOf(':root');
const over = (changed: Tokens): Tokens => new Map([...DAY, ...changed]);
const LOOKS = {
  day: DAY,
  dim: over(tokensOf(':root[data-light="dim"]')),
  night: over(tokensOf(':root[data-light="night"]')),
};
type Name = keyof typeof LOOKS;

const isColour = (value: string) => value.startsWith('#');

/** What is written in these colours, and on which grounds. */
const WRITTEN: Readonly<Record<string, readonly string[]>> = {
  ink: ['ground', 'sheet', 'bad-ground', 'warn-ground', 'practice-ground'],
  'ink-soft': ['ground', 'sheet', 'bad-ground', 'warn-ground', 'practice-ground'],
  good: ['ground', 'sheet'],
  bad: ['ground', 'sheet', 'bad-ground'],
  warn: ['ground', 'sheet', 'warn-ground'],
  practice: ['ground', 'practice-ground'],
  'on-act': ['act', 'act-held'],
  'on-picture': ['picture-ground'],
  // The number of a pass.
  ground: ['ink-soft'],
};

/** Strokes, edges and rings, and what they are drawn on. */
const DRAWN: Readonly<Record<string, readonly string[]>> = {
  'line-firm': ['ground', 'sheet', 'bad-ground', 'warn-ground', 'practice-ground'],
  wood: ['ground', 'sheet'],
  'act-line': ['ground', 'sheet'],
  focus: ['ground', 'sheet', 'bad-ground', 'warn-ground', 'practice-ground'],
};

/** They part what could be told without them, or are shades of a scale with words beside it. */
const TELLS_NOTHING = ['line', 'rung-dark', 'rung-light'];

const pairs = (of: Readonly<Record<string, readonly string[]>>) =>
  Object.entries(of).flatMap(([colour, grounds]) => grounds.map((ground) => [colour, ground] as const));

function ratio(look: Name, one: string, other: string): number {
  const [first, second] = [one, other].map((name) => LOOKS[look].get(name) ?? '');
  if (!isColour(first ?? '') || !isColour(second ?? '')) throw new Error(`No colour: ${one} or ${other}.`);
  return wcagContrast(first ?? '', second ?? '');
}

const tooLow = (look: Name, of: Readonly<Record<string, readonly string[]>>, least: number) =>
  pairs(of)
    .map(([colour, ground]) => ({ colour, ground, ratio: ratio(look, colour, ground) }))
    .filter((pair) => !(pair.ratio >= least))
    .map((pair) => `${look}: ${pair.colour} on ${pair.ground} ${pair.ratio.toFixed(2)}`);

describe.each(Object.keys(LOOKS) as Name[])('%s', (look) => {
  it('can be read', () => {
    expect(tooLow(look, WRITTEN, look === 'day' ? TEXT_IN_THE_SUN : TEXT)).toEqual([]);
  });

  it('its marks and edges can be told', () => {
    expect(tooLow(look, DRAWN, MARK)).toEqual([]);
  });
});

it('the bar that fires stands out from the page, by night by its edge', () => {
  expect(ratio('day', 'act', 'ground')).toBeGreaterThanOrEqual(MARK);
  expect(ratio('dim', 'act', 'ground')).toBeGreaterThanOrEqual(MARK);
  expect(sheet('light.css')).toMatch(
    /\[data-light="night"\] \.trigger\[data-does="fire"\] \{\s*border-block: 2px solid var\(--act-line\)/,
  );
});

it('by night what is selected or pointed at in a list can be read', () => {
  expect(ratio('night', 'ink', 'act-held')).toBeGreaterThanOrEqual(TEXT);
});

it('by night there is no green and no blue in any colour', () => {
  const rgb = converter('rgb');
  const colours = [...LOOKS.night].filter(([, value]) => isColour(value));
  expect(colours.length).toBeGreaterThan(20);
  const others = colours.filter(([, value]) => {
    const { g, b } = rgb(value) ?? { g: 1, b: 1 };
    return g !== 0 || b !== 0;
  });
  expect(others).toEqual([]);
});

describe('a picture by night', () => {
  const [panel = ''] = PAGES;
  const [, weights = ''] = /<feColorMatrix values="([\d. ]+?) {2}/.exec(panel) ?? [];
  const [, table = ''] = /<feFuncR type="table" tableValues="([^"]+)"/.exec(panel) ?? [];
  /** What the filter makes of a grey: its table is read as SVG says (Filter Effects, feComponentTransfer, type table). */
  const reddened = (grey: number): string => {
    const [red = 0, green = 0, blue = 0] = weights.split(' ').map(Number);
    const values = table.split(' ').map(Number);
    const at = Math.min(1, (red + green + blue) * (grey / 255)) * (values.length - 1);
    const [low = 0, high = low] = values.slice(Math.floor(at), Math.floor(at) + 2);
    const shown = Math.round(255 * (low + (at % 1) * (high - low)));
    return `#${shown.toString(16).padStart(2, '0')}0000`;
  };
  /** 18 % of the light, the grey that meters count from, in sRGB. */
  const MIDDLE_GREY = 118;

  it('what is blown out is told from middle grey, and from what is only bright', () => {
    expect(wcagContrast(reddened(255), reddened(MIDDLE_GREY))).toBeGreaterThanOrEqual(MARK);
    expect(wcagContrast(reddened(255), reddened(240))).toBeGreaterThan(1.5);
  });

  it('nothing in it is as bright as what is written, and the lighter is brighter', () => {
    const shades = [0, 30, 60, 118, 180, 220, 240, 255].map((grey) =>
      wcagContrast(reddened(grey), '#000000'),
    );
    expect(shades).toEqual([...new Set(shades)].sort((a, b) => a - b));
    expect(shades.at(-1)).toBeLessThan(wcagContrast(LOOKS.night.get('on-picture') ?? '', '#000000'));
  });
});

describe('the style sheets', () => {
  const sheets = readdirSync(STYLE).filter((name) => name.endsWith('.css') && name !== 'tokens.css');
  const used = (property: string) =>
    new Set(
      sheets.flatMap((name) =>
        [...sheet(name).matchAll(new RegExp(`(?<![\\w-])${property}:\\s*var\\(--([\\w-]+)\\)`, 'g'))].map(
          ([, token = '']) => token,
        ),
      ),
    );

  it('write in no colour that is not looked at here', () => {
    const known = new Set(Object.keys(WRITTEN));
    expect(used('color').size).toBeGreaterThan(5);
    expect([...used('color')].filter((token) => !known.has(token))).toEqual([]);
  });

  it('have no ground that is not looked at here', () => {
    // Signs of clipping are the two ends of the scale, with an edge of ink.
    const marks = ['good', 'rung', 'rung-dark', 'rung-light', 'line-firm', 'line', 'on-act', 'veil'];
    const known = new Set([...Object.values(WRITTEN).flat(), ...marks]);
    expect([...used('background')].filter((token) => !known.has(token))).toEqual([]);
  });

  it('have no colour of their own', () => {
    // On paper everything is black on white: that is no look.
    const own = sheets
      .filter((name) => name !== 'print.css')
      .flatMap((name) =>
        [...sheet(name).matchAll(/#[0-9a-f]{3,8}\b|\b(?:rgb|hsl|oklch|oklab|lab|lch)\(/gi)].map(
          ([colour]) => `${name}: ${colour}`,
        ),
      );
    expect(own).toEqual([]);
  });

  it('each token that is a colour is looked at, or tells nothing', () => {
    const known = new Set([
      ...Object.keys(WRITTEN),
      ...Object.values(WRITTEN).flat(),
      ...Object.keys(DRAWN),
      ...TELLS_NOTHING,
    ]);
    expect([...DAY].filter(([name, value]) => isColour(value) && !known.has(name))).toEqual([]);
  });

  it('each look has the same tokens, and where no script has run the system gets the same dim one', () => {
    const named = (tokens: Tokens) => [...tokens.keys()].sort();
    const dim = tokensOf(':root[data-light="dim"]');
    expect([...tokensOf(':root:not([data-light])')]).toEqual([...dim]);
    expect(named(dim).filter((name) => !DAY.has(name))).toEqual([]);
    const colours = named(DAY).filter((name) => isColour(DAY.get(name) ?? ''));
    expect(colours.filter((name) => !tokensOf(':root[data-light="night"]').has(name))).toEqual([]);
  });
});

describe('what is painted before there is a style sheet', () => {
  it.each(Object.keys(LOOKS) as Name[])('%s: the ground of that look', (look) => {
    expect(GROUNDS[look]).toBe(LOOKS[look].get('ground'));
  });

  it('the pages begin dark, and wait for the first look before anything else', () => {
    for (const page of PAGES) {
      expect(page).toContain('<meta name="color-scheme" content="dark">');
      expect(page).toContain('<meta name="theme-color" content="#000000">');
      const script = page.indexOf('src="/first-look.js"');
      expect(script).toBeGreaterThan(0);
      expect(script).toBeLessThan(page.indexOf('rel="stylesheet"'));
      expect(page.slice(page.lastIndexOf('<script', script), script)).not.toMatch(/module|async|defer/);
    }
  });
});
