// A contact sheet: all frames of a set on one picture, the darkest first, each with the exposure that was
// asked for and its remarks. Drawn from the small copies; knows neither files nor states.
import { evInWords, fromEv } from '../../../shared/ev.js';
import type { FrameMark } from '../../../shared/set-record.js';
import { hourAndMinute, wallDay } from '../../system/index.js';
import { drawable, type Letters, lettersHere, linesOf, type Pen, penOf } from './letters.js';

export interface SheetCell {
  readonly number: number;
  readonly offsetEv: number;
  /** The nominal label. */
  readonly shutter: string;
  /** JPEG; null if there is none. */
  readonly thumbnail: Buffer | null;
  /** False if the frame is not in the set. */
  readonly isMade: boolean;
  readonly marks: readonly FrameMark['code'][];
}

/** The head above the frames, if their pictures were judged. */
export interface SheetLight {
  /** What the set holds, or what is missing. */
  readonly sentence: string;
  /** What it can become: a JPEG; null if there is none. */
  readonly preview: Buffer | null;
  /** Which parts of the picture it holds: a PNG; null if there is none. */
  readonly map: Buffer | null;
}

export interface Sheet {
  /** Shown in place of a name that cannot be drawn. */
  readonly id?: string;
  /** The name that a person gave the set; null if nobody did. */
  readonly name: string | null;
  /** When the first frame was fired. */
  readonly startedAt: Date;
  readonly base: { readonly shutter: string; readonly aperture: string | null; readonly iso: string | null };
  /** True if nothing was photographed. */
  readonly practice: boolean;
  /** The darkest first. */
  readonly cells: readonly SheetCell[];
  /** Null or left out if the pictures were not judged. */
  readonly light?: SheetLight | null;
}

/** Their blanks keep the words of one mark on one line. */
const WORDS: Readonly<Record<FrameMark['code'], string>> = {
  'clipped-dark': 'black\u00a0parts',
  'clipped-light': 'blown\u00a0parts',
  'base-moved': 'light\u00a0moved',
  ratio: 'brightness\u00a0off',
  order: 'out\u00a0of\u00a0order',
  time: 'odd\u00a0time',
  unproved: 'not\u00a0proved\u00a0complete',
  size: 'odd\u00a0size',
  'partner-missing': 'one\u00a0file\u00a0of\u00a0two',
  'partner-odd': 'second\u00a0file\u00a0odd',
  'camera-moved': 'camera\u00a0moved',
  'subject-moved': 'something\u00a0moved',
  'less-sharp': 'less\u00a0sharp',
  other: 'see\u00a0the\u00a0record',
};

const COLOURS = {
  ground: '#343434',
  empty: '#282828',
  line: '#7d7d7d',
  text: '#f2f2f2',
  quiet: '#bdbdbd',
  mark: '#ffc66b',
} as const;

/** Pixels. */
const MARGIN = 28;
const GAP = 18;
const CELL = { width: 320, height: 214 };
/** Offset and number; then each line of marks, as many as the frame with the most of them has; then room below. */
const CAPTION = { lines: 50, mark: { size: 16, line: 20, most: 3 }, below: 16 };
const TITLE = { size: 30, line: 38 };
const FACTS = { size: 19, line: 28 };
/** A title needs room, even over a single frame. */
const FEWEST_COLUMNS = 3;
const MOST_COLUMNS = 8;

/**
 * @param letters how text is drawn; if it is left out, with the computer's fonts if it has any
 * @returns a JPEG; 3 columns for up to 9 frames, 8 for 61
 */
export async function drawContactSheet(sheet: Sheet, letters?: Letters): Promise<Buffer> {
  const { default: sharp } = await import('sharp');
  const here = letters ?? (await lettersHere());
  const layout = layoutOf(sheet, await titleOf(sheet, here), here);
  const svg = Buffer.from(drawing(sheet, layout, here));
  const fitted = async (picture: Buffer, { left, top }: Place, box: Box) => {
    const { data, info } = await sharp(picture)
      .resize({ ...box, fit: 'inside' })
      .toBuffer({ resolveWithObject: true });
    return {
      input: data,
      left: left + Math.floor((box.width - info.width) / 2),
      top: top + Math.floor((box.height - info.height) / 2),
    };
  };
  const pictures = await Promise.all([
    ...sheet.cells.map(({ thumbnail }, index) =>
      thumbnail === null ? null : fitted(thumbnail, placeOf(index, layout), CELL),
    ),
    ...layout.head.map(({ picture, place, box }) => fitted(picture, place, box)),
  ]);
  return sharp({
    create: { width: layout.width, height: layout.height, channels: 3, background: COLOURS.ground },
  })
    .composite([{ input: svg, left: 0, top: 0 }, ...pictures.filter((picture) => picture !== null)])
    .jpeg({ quality: 85 })
    .toBuffer();
}

interface Place {
  readonly left: number;
  readonly top: number;
}

interface Box {
  readonly width: number;
  readonly height: number;
}

interface Layout {
  readonly columns: number;
  readonly width: number;
  readonly height: number;
  /** The top of the first row of frames, and the distance to the next one. */
  readonly top: number;
  readonly row: number;
  readonly title: readonly string[];
  readonly facts: readonly string[];
  /** Pictures above the frames. */
  readonly head: readonly {
    readonly picture: Buffer;
    readonly words: string;
    readonly place: Place;
    readonly box: Box;
  }[];
}

function layoutOf(sheet: Sheet, words: string, letters: Letters): Layout {
  const count = sheet.cells.length;
  const columns = Math.min(MOST_COLUMNS, Math.max(FEWEST_COLUMNS, Math.ceil(Math.sqrt(count))));
  const width = 2 * MARGIN + columns * CELL.width + (columns - 1) * GAP;
  const room = { width: width - 2 * MARGIN, lines: 2 };
  const title = linesOf(words, TITLE.size, room, letters);
  const facts = [
    ...linesOf(factsOf(sheet), FACTS.size, room, letters),
    ...(sheet.light ? linesOf(sheet.light.sentence, FACTS.size, { ...room, lines: 4 }, letters) : []),
    ...(sheet.practice ? ['Practice: an invented scene, no real photographs.'] : []),
  ];
  const markLines = Math.max(0, ...sheet.cells.map((cell) => marksOf(cell, letters).length));
  const row = CELL.height + CAPTION.lines + markLines * CAPTION.mark.line + CAPTION.below;
  const under = MARGIN + title.length * TITLE.line + facts.length * FACTS.line + GAP;
  const head = headOf(sheet.light ?? null, { left: MARGIN, top: under }, width - 2 * MARGIN);
  const top = under + (head.length === 0 ? 0 : (head[0]?.box.height ?? 0) + HEAD_WORDS.line + 2 * GAP);
  const rows = Math.max(1, Math.ceil(count / columns));
  return { columns, width, height: top + rows * row + MARGIN - CAPTION.below, top, row, title, facts, head };
}

const HEAD_WORDS = { size: 16, line: 22 };
/** A picture beside another one gets the height of a picture of this shape, which most have. */
const HEAD_SHAPE = 2 / 3;

function headOf(light: SheetLight | null, { left, top }: Place, width: number): Layout['head'] {
  const shown = [
    { picture: light?.preview ?? null, words: 'Proof: what the set can become' },
    { picture: light?.map ?? null, words: 'Hatched: in no frame. Tinted: in one frame alone' },
  ].flatMap(({ picture, words }) => (picture === null ? [] : [{ picture, words }]));
  const across = Math.floor((width - GAP) / 2);
  const box = { width: across, height: Math.round(across * HEAD_SHAPE) };
  return shown.map((one, index) => ({ ...one, place: { left: left + index * (across + GAP), top }, box }));
}

/** So many characters of an id are enough to tell sets apart. */
const SHORT_ID = 8;

async function titleOf({ id, name }: Sheet, letters: Letters): Promise<string> {
  const plain = ['Bracketed set', ...(id === undefined ? [] : [id.slice(0, SHORT_ID)])].join(' ');
  if (name === null || name.trim() === '') return plain;
  return (await drawable(name, letters))?.trim() || `${plain} (its name is in set.json)`;
}

function factsOf({ startedAt, base, cells }: Sheet): string {
  const missing = cells.filter(({ isMade }) => !isMade).length;
  const { shutter, aperture, iso } = base;
  return [
    `${wallDay(startedAt)} ${hourAndMinute(startedAt)}`,
    `base exposure ${[`${shutter} s`, apertureWords(aperture), iso === null ? null : `ISO ${iso}`].filter((part) => part !== null).join(', ')}`,
    `${cells.length} ${cells.length === 1 ? 'frame' : 'frames'}${missing === 0 ? '' : `, ${missing} missing`}`,
  ].join(', ');
}

/** Bodies write `8` or `f/8`. */
const apertureWords = (aperture: string | null): string | null =>
  aperture === null ? null : `f/${aperture.replace(/^f\//i, '')}`;

const placeOf = (index: number, { columns, top, row }: Layout): Place => ({
  left: MARGIN + (index % columns) * (CELL.width + GAP),
  top: top + Math.floor(index / columns) * row,
});

function drawing(sheet: Sheet, layout: Layout, letters: Letters): string {
  const pen = penOf(letters);
  const title = layout.title.map((text, line) =>
    pen({
      x: 0,
      y: MARGIN + TITLE.size + line * TITLE.line,
      size: TITLE.size,
      text,
      colour: COLOURS.text,
      isBold: true,
    }),
  );
  const under = MARGIN + layout.title.length * TITLE.line;
  const facts = layout.facts.map((text, line) =>
    pen({
      x: 0,
      y: under + FACTS.size + line * FACTS.line,
      size: FACTS.size,
      text,
      colour: COLOURS.quiet,
    }),
  );
  const words = layout.head.map(({ words: text, place, box }) =>
    pen({
      x: place.left,
      y: place.top + box.height + HEAD_WORDS.line,
      size: HEAD_WORDS.size,
      text,
      colour: COLOURS.quiet,
    }),
  );
  const cells = sheet.cells.map((cell, index) =>
    cellDrawing(cell, placeOf(index, layout), sheet.practice, pen, letters),
  );
  // Text that is wider than estimated ends at the margin.
  const head = `<svg x="${MARGIN}" y="0" width="${layout.width - 2 * MARGIN}" height="${layout.top}">${[...title, ...facts].join('')}</svg>`;
  return `<svg xmlns="http://www.w3.org/2000/svg" width="${layout.width}" height="${layout.height}">${head}${words.join('')}${cells.join('')}</svg>`;
}

function cellDrawing(
  cell: SheetCell,
  { left, top }: Place,
  practice: boolean,
  pen: Pen,
  letters: Letters,
): string {
  const parts: string[] = [];
  const under = top + CELL.height;
  if (cell.thumbnail === null) {
    parts.push(
      `<rect x="${left + 1}" y="${top + 1}" width="${CELL.width - 2}" height="${CELL.height - 2}" fill="${COLOURS.empty}" stroke="${COLOURS.line}" stroke-width="2" stroke-dasharray="9 7"/>`,
      pen({
        x: left + CELL.width / 2,
        y: top + CELL.height / 2 + 8,
        size: 22,
        text: cell.isMade ? 'no picture inside' : 'missing',
        colour: cell.isMade ? COLOURS.quiet : COLOURS.mark,
        anchor: 'middle',
      }),
    );
  }
  const offset = `${evInWords(fromEv(cell.offsetEv))} EV`;
  parts.push(
    pen({ x: left, y: under + 23, size: 20, text: offset, colour: COLOURS.text, isBold: true }),
    pen({
      x: left + CELL.width,
      y: under + 23,
      size: 18,
      text: `${cell.shutter} s`,
      colour: COLOURS.text,
      anchor: 'end',
    }),
  );
  const number = `${cell.number}${practice ? ', invented' : ''}`;
  parts.push(pen({ x: left, y: under + 45, size: 15, text: number, colour: COLOURS.quiet }));
  const { size, line } = CAPTION.mark;
  for (const [index, text] of marksOf(cell, letters).entries())
    parts.push(
      pen({ x: left, y: under + CAPTION.lines + size + index * line, size, text, colour: COLOURS.mark }),
    );
  return parts.join('');
}

function marksOf({ marks }: SheetCell, letters: Letters): string[] {
  const { size, most } = CAPTION.mark;
  return linesOf(
    marks.map((code) => WORDS[code]).join(', '),
    size,
    { width: CELL.width, lines: most },
    letters,
  );
}
