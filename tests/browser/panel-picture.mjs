// The picture of the panel in the README, from one that `npm run screens` has taken:
//   EVENRUNG_SCREENS=firing npm run screens && node tests/browser/panel-picture.mjs
// It is kept small, because everybody who clones the project fetches it.
import path from 'node:path';
import { fileURLToPath } from 'node:url';
import sharp from 'sharp';

const TOP = fileURLToPath(new URL('../..', import.meta.url));
const FROM = path.join(TOP, 'dist', 'screens', 'firing-1280-day.png');
const TO = path.join(TOP, 'hardware-notes', 'panel.png');
const WIDTH = 960;
/** Few colours: the panel has few, and letters stay sharp. */
const COLOURS = 64;
const MOST_BYTES = 200_000;

const { size, height } = await sharp(FROM)
  .resize({ width: WIDTH })
  .png({ palette: true, colours: COLOURS, effort: 10, compressionLevel: 9 })
  .toFile(TO);
if (size > MOST_BYTES) throw new Error(`${TO} has ${size} bytes, more than ${MOST_BYTES}.`);
process.stdout.write(`${TO}: ${WIDTH} x ${height}, ${size} bytes\n`);
