// The record of a set as a table: comma-separated values (RFC 4180), one row a frame, for spreadsheets and
// scripts. Pure.
//
// A text that begins with one of = + - @ or a tab gets an apostrophe before it. A spreadsheet would take such
// a text for a formula and carry it out, and then a name that somebody gave a set could act on the computer
// of anybody who opens the table. Quotation marks do not help, since they are removed before the cell is
// evaluated. A text that begins with an apostrophe gets another one. So a script gets every text back by
// removing one apostrophe from a cell that begins with one.

/** What the picture of a frame tells; null for each thing that is not known. */
export interface LightColumns {
  /** Shares from 0 to 1 of the picture that are well exposed in this frame, and in no other one. */
  readonly exposed: number | null;
  readonly alone: number | null;
  /** Shift in pixels of the full picture relative to the frame that it was compared with. */
  readonly shiftRight: number | null;
  readonly shiftDown: number | null;
  /** Pixels by which it is softer than that frame; below 0, sharper. */
  readonly blur: number | null;
  /** Share from 0 to 1 of the picture in which something moved. */
  readonly moved: number | null;
  /** The number of that frame. */
  readonly comparedWith: number | null;
}

/** The values of one row; null for each that is not known. */
export interface TableRow {
  readonly frame: number;
  readonly offsetEv: number;
  /** The nominal label: `1/60`. */
  readonly shutter: string;
  /** Exact seconds, as planned. */
  readonly exactSeconds: number;
  /** As the file records them. */
  readonly recordedSeconds: number | null;
  readonly fNumber: number | null;
  readonly iso: number | null;
  readonly state: string;
  readonly pass: number;
  readonly attempts: number;
  /** Shares from 0 to 1. */
  readonly clippedDark: number | null;
  readonly clippedLight: number | null;
  readonly file: string | null;
  readonly sha256: string | null;
  readonly bytes: number | null;
  /** ISO 8601, UTC. */
  readonly firedAt: string | null;
  /** Remarks on the frame, a sentence each. */
  readonly marks: readonly string[];
  /** The second file, if the body makes two of each frame. */
  readonly partner: string | null;
  readonly partnerSha256: string | null;
  readonly partnerBytes: number | null;
  /** What its picture tells in comparison with the others; left out if it was not judged. */
  readonly light?: LightColumns | undefined;
}

type Cell = string | number | null;

/**
 * The columns, in their order: scripts may rely on both. A shutter has its unit behind it: spreadsheets take a bare `1/60`
 * for a date.
 */
const COLUMNS: Readonly<Record<string, (row: TableRow) => Cell>> = {
  frame: (row) => row.frame,
  offset_ev: (row) => shortNumber(row.offsetEv),
  shutter: (row) => `${row.shutter} s`,
  exact_seconds: (row) => row.exactSeconds,
  recorded_seconds: (row) => row.recordedSeconds,
  f_number: (row) => row.fNumber,
  iso: (row) => row.iso,
  state: (row) => row.state,
  pass: (row) => row.pass,
  attempts: (row) => row.attempts,
  clipped_dark: (row) => row.clippedDark,
  clipped_light: (row) => row.clippedLight,
  file: (row) => row.file,
  sha256: (row) => row.sha256,
  bytes: (row) => row.bytes,
  fired_at: (row) => row.firedAt,
  marks: (row) => row.marks.join(' '),
  partner: (row) => row.partner,
  partner_sha256: (row) => row.partnerSha256,
  partner_bytes: (row) => row.partnerBytes,
  well_exposed: (row) => short(row.light?.exposed),
  exposed_here_only: (row) => short(row.light?.alone),
  compared_with: (row) => row.light?.comparedWith ?? null,
  shift_right_px: (row) => short(row.light?.shiftRight),
  shift_down_px: (row) => short(row.light?.shiftDown),
  softer_px: (row) => short(row.light?.blur),
  moved: (row) => short(row.light?.moved),
};

/**
 * @returns the table: a header row, then one row a frame in the order given; lines end in CR LF, numbers have a dot, and what
 *   is not known is an empty cell. UTF-8 without a byte order mark, which scripts would take for a part of the first name.
 */
export function tableText(rows: readonly TableRow[]): string {
  const lines = [
    Object.keys(COLUMNS),
    ...rows.map((row) => Object.values(COLUMNS).map((cellOf) => cellOf(row))),
  ];
  return lines.map((cells) => `${cells.map(written).join(',')}\r\n`).join('');
}

function written(cell: Cell): string {
  if (cell === null) return '';
  if (typeof cell === 'number') return plainNumber(cell);
  const safe = harmless(cell);
  return /[",\r\n]/.test(safe) ? `"${safe.replaceAll('"', '""')}"` : safe;
}

/**
 * A spreadsheet takes text that begins with one of these for a formula and carries it out. An apostrophe before it makes it
 * text again (common practice, no source). Numbers are not text here, so a dark frame's offset stays -2.
 */
const harmless = (text: string): string => (/^[=+\-@\t\r']/.test(text) ? `'${text}` : text);

/** Thirds of an EV are not written with sixteen digits. */
const shortNumber = (value: number): number => Number(value.toFixed(4));
const short = (value: number | null | undefined): number | null =>
  value == null ? null : shortNumber(value);

/** @returns decimals without exponent: 0.0000305 */
function plainNumber(value: number): string {
  const text = String(value);
  if (!Number.isFinite(value)) return '';
  return text.includes('e') ? value.toFixed(20).replace(/\.?0+$/, '') : text;
}
