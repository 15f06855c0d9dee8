// Letters for pictures that we draw. If the computer has fonts, they are used; if it has none, every letter
// would come out as an empty box, so there are strokes of our own for ASCII. Pure, apart from finding out
// whether there are fonts.

export interface Writing {
  readonly x: number;
  /** The baseline. */
  readonly y: number;
  /** Height of the letters' square, in pixels. */
  readonly size: number;
  readonly text: string;
  readonly colour: string;
  readonly anchor?: 'start' | 'end' | 'middle';
  readonly isBold?: boolean;
}

/** Draws one line of text. @returns SVG */
export type Pen = (writing: Writing) => string;

export type Letters = 'fonts' | 'strokes';

let found: Promise<Letters> | undefined;

/** @returns whether this machine has fonts; asked once */
export function lettersHere(): Promise<Letters> {
  found ??= lookForFonts();
  return found;
}

/** Without fonts all letters are boxes of one size; with them an i is narrower than a W. */
async function lookForFonts(): Promise<Letters> {
  const { default: sharp } = await import('sharp');
  const width = async (text: string) => (await sharp({ text: { text, dpi: 200 } }).metadata()).width;
  try {
    return (await width('WWWW')) > 1.3 * (await width('iiii')) ? 'fonts' : 'strokes';
  } catch {
    return 'strokes';
  }
}

export const penOf = (letters: Letters): Pen => (letters === 'fonts' ? writeWithFonts : writeWithStrokes);

/** @returns the width in pixels, roughly and rather too much: fonts differ, and nobody measures them beforehand */
export function widthOf(text: string, size: number, letters: Letters): number {
  if (letters === 'strokes') return [...plain(text)].length * STROKE_ADVANCE * (size / SQUARE);
  return [...text].reduce((sum, char) => sum + squares(char), 0) * size;
}

/** Shares of the letters' square, as in a wide bold font. */
function squares(char: string): number {
  if (NO_WIDTH.test(char)) return 0;
  if (WIDE.test(char)) return 1.1;
  if (/[ijlI.,:;'|! ]/.test(char)) return 0.4;
  return /\p{Lu}/u.test(char) ? 0.8 : 0.7;
}

/** Characters that fill the square (scripts as in Unicode TR 11, roughly). */
const WIDE =
  /[mwMW@%\p{Script=Han}\p{Script=Hiragana}\p{Script=Katakana}\p{Script=Hangul}\p{Extended_Pictographic}\uff00-\uff60\u3000-\u303f]/u;
const NO_WIDTH = /[\p{M}\p{Cf}]/u;

/** @returns the text in at most so many lines, the last one cut if it does not fit */
export function linesOf(
  text: string,
  size: number,
  most: { width: number; lines: number },
  letters: Letters,
): string[] {
  const pieces = Array.from(new Intl.Segmenter('en').segment(text), ({ segment }) => segment);
  const lines: string[] = [];
  let line = '';
  for (const piece of pieces) {
    const isFull = widthOf(line + piece, size, letters) > most.width;
    if (isFull && lines.length + 1 === most.lines)
      return [...lines, `${shorter(line, most.width, size, letters)}\u2026`];
    if (isFull) {
      const at = line.lastIndexOf(' ');
      const cut = at > line.length / 2 ? at : line.length;
      lines.push(line.slice(0, cut).trim());
      line = line.slice(cut).trimStart();
    }
    line += piece;
  }
  return line === '' ? lines : [...lines, line];
}

function shorter(line: string, width: number, size: number, letters: Letters): string {
  const pieces = Array.from(new Intl.Segmenter('en').segment(line), ({ segment }) => segment);
  while (pieces.length > 0 && widthOf(`${pieces.join('')}\u2026`, size, letters) > width) pieces.pop();
  return pieces.join('').trimEnd();
}

const writeWithFonts: Pen = ({ x, y, size, text, colour, anchor = 'start', isBold = false }) =>
  `<text x="${x}" y="${y}" font-family="sans-serif" font-size="${size}" font-weight="${isBold ? 700 : 400}" text-anchor="${anchor}" fill="${colour}">${safe(text)}</text>`;

/** Characters that XML cannot contain become the replacement character. */
const safe = (text: string): string =>
  escaped(
    text
      // biome-ignore lint/suspicious/noControlCharactersInRegex: they are what is looked for
      .replace(/[\u0000-\u001f\ufffe\uffff]|\p{Cs}/gu, '\ufffd'),
  );

const escaped = (text: string): string =>
  text.replace(/[&<>]/g, (char) => (char === '&' ? '&amp;' : char === '<' ? '&lt;' : '&gt;'));

// Our own strokes: lines through points of a grid 4 wide, capitals from 0 to 6, tails down to 8; two digits a point, `|` lifts the
// pen.
const SQUARE = 8.5;
const BASELINE = 6;
const STROKE_ADVANCE = 5.6;
const STROKES: Readonly<Record<string, string>> = {
  A: '062046|1434',
  B: '06003041423303|3344453606',
  C: '4130100105163645',
  D: '00062644422000',
  E: '40000646|0333',
  F: '400006|0333',
  G: '41301001051636454323',
  H: '0006|4046|0343',
  I: '1030|2026|1636',
  J: '4045361605',
  K: '0006|400346',
  L: '000646',
  M: '0600234046',
  N: '06004640',
  O: '103041453616050110',
  P: '06003041423303',
  Q: '103041453616050110|2446',
  R: '06003041423303|2346',
  S: '413010010213334445361605',
  T: '0040|2026',
  U: '000516364540',
  V: '002640',
  W: '0016223640',
  X: '0046|4006',
  Y: '002340|2326',
  Z: '00400646',
  a: '12324346|441405163645',
  b: '0006|0312324345361605',
  c: '4332120305163645',
  d: '4046|4332120305163645',
  e: '04444332120305163645',
  f: '40302126|1232',
  g: '4247381807|4332120305163645',
  h: '0006|0312324346',
  i: '2226|2020',
  j: '32372818|3030',
  k: '0006|3204|1446',
  l: '202536',
  m: '0206|03122326|23324346',
  n: '0206|0312324346',
  o: '123243453616050312',
  p: '0208|0312324345361605',
  q: '4248|4332120305163645',
  r: '0206|03123243',
  s: '43321203143445361605',
  t: '10152636|0232',
  u: '0205163645|4246',
  v: '022642',
  w: '0216233642',
  x: '0246|4206',
  y: '0226|422608',
  z: '02420646',
  0: '103041453616050110|1432',
  1: '112026|1636',
  2: '01103041420646',
  3: '01103041423313|334445361605',
  4: '300444|3036',
  5: '400003334445361605',
  6: '413010010516364544331304',
  7: '004016',
  8: '13020110304142331304051636454433',
  9: '051636454130100102133342',
  '+': '0343|2125',
  '-': '1333',
  '.': '2526',
  ',': '252617',
  '/': '0640',
  ':': '2223|2526',
  ';': '2223|252617',
  '(': '30121436',
  ')': '10323416',
  '%': '0640|0010110100|3545463635',
  "'": '2021',
  '"': '1011|3031',
  '!': '2024|2526',
  '?': '01103041422324|2526',
  '&': '4611203105162644',
  '=': '0242|0444',
  _: '0747',
  '#': '1016|3036|0242|0444',
  '*': '2125|1234|3214',
  '<': '420446',
  '>': '024406',
  '@': '34242333344541301001051636',
  $: '413010010213334445361605|2026',
  '[': '30101636',
  ']': '10303616',
  '{': '30212213242536',
  '}': '10212233242516',
  '\\': '0046',
  '^': '122032',
  '`': '1021',
  '|': '2027',
  '~': '04133443',
  ' ': '',
};
const NO_STROKES = '0040460600';

/** Accents are left off, and signs that look alike written alike. */
const plain = (text: string): string =>
  text
    .normalize('NFKD')
    .replace(/\p{M}|\p{Cf}/gu, '')
    .replace(/[\u2010-\u2015\u2212]/g, '-')
    .replace(/[\u2018\u2019]/g, "'")
    .replace(/[\u201c\u201d]/g, '"');

/**
 * @returns the text as far as it can be drawn: signs that no font has are left out; null if letters or
 *   digits of it are missing, because then it would be misread
 */
export async function drawable(text: string, letters: Letters): Promise<string | null> {
  const chars = [...(letters === 'fonts' ? text : plain(text))];
  const missing = letters === 'fonts' ? await missingInFonts(chars) : new Set(chars.filter(hasNoStrokes));
  if (chars.some((char) => missing.has(char) && /[\p{L}\p{N}]/u.test(char))) return null;
  // If a part of it were missing, a reader would see another sign.
  const signs = Array.from(new Intl.Segmenter('en').segment(chars.join('')), ({ segment }) => segment);
  return signs.filter((sign) => [...sign].every((char) => !missing.has(char))).join('');
}

const hasNoStrokes = (char: string): boolean => !(char in STROKES);

/** A text with more signs than these is not a name any more. */
const MOST_ASKED = 400;
/** Never assigned (Unicode 23.7), so no font has them: they are drawn as the stand-in for a missing sign. */
const NEVER = { four: '\ufdd0', five: '\u{1fffe}', six: '\u{10fffe}' } as const;
/** The border of such a box; inside stands the sign's number. */
const BORDER = 2;

/** A missing sign comes out as a box with its number in it: boxes of as many digits have the same border. */
async function missingInFonts(chars: readonly string[]): Promise<ReadonlySet<string>> {
  const asked = new Set(
    chars.slice(0, MOST_ASKED).filter((char) => /[^\p{ASCII}\p{M}\p{Cc}\p{Cf}\p{Cs}\p{Z}]/u.test(char)),
  );
  const missing = new Set<string>();
  if (asked.size === 0) return missing;
  const boxes = await Promise.all(Object.values(NEVER).map(borderOf));
  for (const char of asked) {
    const border = await borderOf(char);
    if (border !== null && boxes.includes(border)) missing.add(char);
  }
  return missing;
}

/** @returns null if nothing is drawn */
async function borderOf(char: string): Promise<string | null> {
  const { default: sharp } = await import('sharp');
  try {
    const { data, info } = await sharp({ text: { text: escaped(char), font: 'sans-serif', dpi: 200 } })
      .raw()
      .toBuffer({ resolveWithObject: true });
    const { width, height, channels } = info;
    const isBorder = (x: number, y: number) =>
      x < BORDER || y < BORDER || x >= width - BORDER || y >= height - BORDER;
    const pixels = Array.from({ length: width * height }, (_, at) => at)
      .filter((at) => isBorder(at % width, Math.floor(at / width)))
      .map((at) => data[at * channels]);
    return `${width}x${height}:${pixels.join()}`;
  } catch {
    return null;
  }
}

const writeWithStrokes: Pen = ({ x, y, size, text, colour, anchor = 'start', isBold = false }) => {
  const chars = [...plain(text)];
  const scale = size / SQUARE;
  const width = chars.length * STROKE_ADVANCE * scale;
  const left = anchor === 'start' ? x : anchor === 'end' ? x - width : x - width / 2;
  const lines = chars.flatMap((char, index) => {
    const strokes = (STROKES[char] ?? NO_STROKES).split('|');
    return strokes.filter((stroke) => stroke !== '').map((stroke) => lineOf(stroke, index));
  });
  const move = `translate(${left} ${y - BASELINE * scale}) scale(${scale})`;
  return `<path transform="${move}" d="${lines.join('')}" fill="none" stroke="${colour}" stroke-width="${isBold ? 0.95 : 0.65}" stroke-linecap="round" stroke-linejoin="round"/>`;
};

function lineOf(stroke: string, index: number): string {
  const points = stroke.match(/\d\d/g) ?? [];
  return points
    .map((point, at) => `${at === 0 ? 'M' : 'L'}${Number(point[0]) + index * STROKE_ADVANCE} ${point[1]}`)
    .join('');
}
