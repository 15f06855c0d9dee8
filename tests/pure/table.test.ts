import { describe, expect, it } from 'vitest';
import { type TableRow, tableText } from '../../src/frames/index.js';
import fc from '../seeded.js';

/** A strict reader of RFC 4180, section 2: CR LF after every record, quotes doubled, nothing loose beside a quoted field. */
function parseCsv(text: string): string[][] {
  const records: string[][] = [];
  let record: string[] = [];
  let at = 0;
  while (at < text.length) {
    let field = '';
    if (text[at] === '"') {
      const [whole] = /^"(?:[^"]|"")*"/.exec(text.slice(at)) ?? [];
      if (whole === undefined) throw new Error(`A quoted field does not end (at ${at}).`);
      field = whole.slice(1, -1).replaceAll('""', '"');
      at += whole.length;
    } else {
      const [whole = ''] = /^[^",\r\n]*/.exec(text.slice(at)) ?? [];
      field = whole;
      at += whole.length;
    }
    record.push(field);
    if (text[at] === ',') {
      at += 1;
    } else if (text.startsWith('\r\n', at)) {
      at += 2;
      records.push(record);
      record = [];
    } else throw new Error(`Neither comma nor line end after a field (at ${at}).`);
  }
  if (record.length > 0) throw new Error('The last line has no end.');
  return records;
}

const ROW: TableRow = {
  frame: 3,
  offsetEv: -4 / 3,
  shutter: '1/160',
  exactSeconds: 2 ** (-22 / 3),
  recordedSeconds: 1 / 160,
  fNumber: 8,
  iso: 100,
  state: 'verified',
  pass: 1,
  attempts: 1,
  clippedDark: 0.25,
  clippedLight: 0,
  file: '03_-1.33EV.jpg',
  sha256: 'ab'.repeat(32),
  bytes: 123456,
  firedAt: '2026-11-25T16:42:10.000Z',
  marks: ['Too dark, and "blown".', 'The light moved.'],
  partner: null,
  partnerSha256: null,
  partnerBytes: null,
  light: {
    ...{ exposed: 0.61234567, alone: 0, comparedWith: 2 },
    ...{ shiftRight: -0.5, shiftDown: 2.25, blur: 0, moved: 0.0003 },
  },
};

const HEADER =
  'frame,offset_ev,shutter,exact_seconds,recorded_seconds,f_number,iso,state,pass,attempts,clipped_dark,clipped_light,file,sha256,bytes,fired_at,marks,partner,partner_sha256,partner_bytes,well_exposed,exposed_here_only,compared_with,shift_right_px,shift_down_px,softer_px,moved';

const asObject = (text: string): Record<string, string> => {
  const [header = [], values = []] = parseCsv(text);
  return Object.fromEntries(header.map((name, index) => [name, values[index] ?? '']));
};

describe('the table of a set', () => {
  it('has one row a frame under a header, as RFC 4180 writes it', () => {
    const text = tableText([ROW, { ...ROW, frame: 4, offsetEv: 0 }]);
    expect(text.split('\r\n')[0]).toBe(HEADER);
    const records = parseCsv(text);
    expect(records).toHaveLength(3);
    expect(records.every((record) => record.length === HEADER.split(',').length)).toBe(true);
    expect(asObject(tableText([ROW]))).toEqual({
      frame: '3',
      offset_ev: '-1.3333',
      shutter: '1/160 s',
      exact_seconds: String(2 ** (-22 / 3)),
      recorded_seconds: '0.00625',
      f_number: '8',
      iso: '100',
      state: 'verified',
      pass: '1',
      attempts: '1',
      clipped_dark: '0.25',
      clipped_light: '0',
      file: '03_-1.33EV.jpg',
      sha256: 'ab'.repeat(32),
      bytes: '123456',
      fired_at: '2026-11-25T16:42:10.000Z',
      marks: 'Too dark, and "blown". The light moved.',
      partner: '',
      partner_sha256: '',
      partner_bytes: '',
      ...{ well_exposed: '0.6123', exposed_here_only: '0', compared_with: '2' },
      ...{ shift_right_px: '-0.5', shift_down_px: '2.25', softer_px: '0', moved: '0.0003' },
    });
    const { light: _, ...unjudged } = ROW;
    expect(asObject(tableText([unjudged]))).toMatchObject({ well_exposed: '', compared_with: '', moved: '' });
  });

  it('a set without frames has its header', () => {
    expect(tableText([])).toBe(`${HEADER}\r\n`);
  });

  it('what is not known is empty, and no number has an exponent', () => {
    const row = asObject(
      tableText([
        { ...ROW, recordedSeconds: null, file: null, sha256: null, exactSeconds: 2 ** -30, marks: [] },
      ]),
    );
    expect(row).toMatchObject({ recorded_seconds: '', file: '', sha256: '', marks: '' });
    expect(row.exact_seconds).toMatch(/^0\.0{9}\d+$/);
    expect(Number(row.exact_seconds)).toBeCloseTo(2 ** -30, 15);
  });

  it.each(['=1+1', '+1', '-2+3', '@SUM(A1)', '\t=1', '\r=1', "'quoted"])(
    '%j is no formula any more',
    (text) => {
      expect(asObject(tableText([{ ...ROW, file: text, marks: [text] }]))).toMatchObject({
        file: `'${text}`,
        marks: `'${text}`,
        offset_ev: '-1.3333',
      });
    },
  );

  it('any text comes back as it was, or with one apostrophe before it', () => {
    const text = fc.oneof(fc.string({ unit: 'binary' }), fc.stringMatching(/^[=+\-@",\r\n\t']{0,6}$/));
    fc.assert(
      fc.property(text, text, fc.double({ noNaN: true, min: -40, max: 40 }), (file, mark, offsetEv) => {
        const read = asObject(tableText([{ ...ROW, file, marks: [mark], offsetEv }]));
        for (const [came, was] of [
          [read.file, file],
          [read.marks, mark],
        ] as const) {
          expect([was, `'${was}`]).toContain(came);
          expect(came).not.toMatch(/^[=+\-@\t\r]/);
        }
        expect(Number(read.offset_ev)).toBeCloseTo(offsetEv, 3);
      }),
    );
  });
});
