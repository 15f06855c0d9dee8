import { afterAll, describe, expect, it } from 'vitest';
import { exifTool } from '../../src/frames/index.js';
import { cellsOf, inFolder, judged, KINDS, lineOf } from '../cut-table.js';

afterAll(() => exifTool.end());

describe.each(KINDS)('a file of the kind $name', (kind) => {
  it('as it came is what it should be, so that the table tells of cuts and of nothing else', async () => {
    const whole = await kind.make();
    expect(await inFolder((file) => judged(file, whole, kind, null))).toBe(kind.whole);
    expect(await inFolder((file) => judged(file, whole, kind, whole.length))).toBe('verified');
  });

  it('cut short or padded is never called whole', async () => {
    const cells = await cellsOf(kind);
    console.log(cells.map(lineOf).join('\n'));
    expect(cells.filter(({ outcome }) => outcome === 'verified').map(lineOf)).toEqual([]);
  });
});
