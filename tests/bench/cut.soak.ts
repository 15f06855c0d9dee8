// `npm run soak -- cut`: the table of files that are cut short or padded, a line a cell (`cut KIND AT OUTCOME`), and after it each kind cut at
// seeded places, half of them near its end, by the file alone. Wrong is what comes out as verified.
import { exifTool } from '../../src/frames/index.js';
import { cellsOf, inFolder, judged, KINDS, lineOf } from '../cut-table.js';
import fc from '../seeded.js';

const CUTS = 200;
const NEAR_BYTES = 500;

const wrong: string[] = [];
for (const kind of KINDS)
  for (const cell of await cellsOf(kind)) {
    console.log(lineOf(cell));
    if (cell.outcome === 'verified') wrong.push(lineOf(cell));
  }

for (const kind of KINDS) {
  const whole = await kind.make();
  const near = fc.integer({ min: whole.length - NEAR_BYTES, max: whole.length - 1 });
  const places = fc.sample(fc.oneof(near, fc.integer({ min: 1, max: whole.length - 1 })), CUTS);
  const outcomes = new Map<string, number>();
  await inFolder(async (file) => {
    for (const place of places) {
      const outcome = await judged(file, whole.subarray(0, place), kind, null);
      outcomes.set(outcome, (outcomes.get(outcome) ?? 0) + 1);
      if (outcome === 'verified') wrong.push(`${kind.name} cut after ${place} of ${whole.length} bytes`);
    }
  });
  const counts = [...outcomes].map(([outcome, count]) => `${count} ${outcome}`).join(', ');
  console.log(`${kind.name}: cut at ${CUTS} seeded places, ${counts}`);
}
await exifTool.end();
for (const line of wrong) console.log(`WRONG  ${line}`);
console.log(`verified that must not be: ${wrong.length}`);
process.exitCode = wrong.length === 0 ? 0 : 1;
