// The virtual body of the bench `wire`, in a process of its own: moving 25 MB a file would otherwise be counted as the daemon's
// cost. Does what the channel says; ends when the bench is gone.
import { readFileSync } from 'node:fs';
import { secondsOf } from '../../src/exposure/index.js';
import { AMOUNT_OPERATION } from '../wire/ptp/amount-face.js';
import { OPERATION } from '../wire/ptp/codes.js';
import { DRIVE_ENTRY_OPERATION, DRIVE_ENTRY_PROPERTY } from '../wire/ptp/drive-entry-face.js';
import { type FaceName, type PluggedBody, plugIn } from '../wire/ptp/plugged-body.js';
import type { PtpRequest } from '../wire/ptp/responder.js';
import type { BodyOrder, BodyReady, Tally } from './wire-messages.js';
import { usePixels } from './wire-render.js';
import type { TimingTable } from './wire-timing.js';

const [, , named = '', written = '', picture = ''] = process.argv;
const face = named as FaceName;
const timing = JSON.parse(written) as TimingTable;

/** Heavy files that the body keeps: those of a whole set may wait to be fetched, and what was fetched may be asked for once more. */
const HEAVY_KEPT = 16;

/** Buttons are moved like settings under vendor extension 0x11. */
const BUTTONS: ReadonlySet<number> = new Set([
  DRIVE_ENTRY_PROPERTY.halfPress,
  DRIVE_ENTRY_PROPERTY.fullPress,
]);

/** The same code means something else under each vendor extension. */
const WRITES: Readonly<Record<FaceName, readonly number[]>> = {
  amount: [AMOUNT_OPERATION.setProperty],
  hidden: [AMOUNT_OPERATION.setProperty],
  pattern: [OPERATION.setPropertyValue],
  'drive-entry': [DRIVE_ENTRY_OPERATION.write, DRIVE_ENTRY_OPERATION.move],
  'drive-entry-leaping': [DRIVE_ENTRY_OPERATION.write, DRIVE_ENTRY_OPERATION.move],
  'drive-entry-walking': [DRIVE_ENTRY_OPERATION.write, DRIVE_ENTRY_OPERATION.move],
  standard: [OPERATION.setPropertyValue],
};

/** @returns the property that a transaction writes or moves, or null where it does neither */
function writtenProperty({ code, parameters: [property = 0], data }: PtpRequest): number | null {
  if (!WRITES[face].includes(code)) return null;
  if (code === AMOUNT_OPERATION.setProperty) return data?.readUInt32LE(4) ?? null;
  return BUTTONS.has(property) ? null : property;
}

const pause = (seconds: number) => new Promise<void>((resolve) => setTimeout(resolve, seconds * 1000));

/** Of the frames since the last tally: seconds by the body's clock. */
let firstOpened = Number.POSITIVE_INFINITY;
let lastClosed = Number.NEGATIVE_INFINITY;

async function plug(): Promise<PluggedBody> {
  usePixels({ jpeg: readFileSync(picture), fileBytes: timing.file?.bytes ?? null });
  const plugged = await plugIn(face, { timing: timing.body });
  const { body, usb } = plugged;
  // A body that nobody tethers keeps its frames on the card; the library moves that while it is connected.
  await body.change('target', 'card');
  body.beforeTelling((files, { tv }) => {
    const [file] = files;
    if (file === undefined) return files;
    const opened = file.takenAt.getTime() / 1000;
    firstOpened = Math.min(firstOpened, opened);
    lastClosed = Math.max(lastClosed, opened + secondsOf(tv) * timing.body.exposureScale);
    return files;
  });
  if (timing.file === null) return plugged;
  usb.bytesPerSecond = timing.file.bytesPerSecond;
  body.beforeTelling((files) => {
    body.files.splice(0, body.files.length - HEAVY_KEPT);
    return files;
  });
  return plugged;
}

const plugged = await plug();
const { body, responder } = plugged;

let waited = 0;
if (timing.transactionSeconds > 0) {
  responder.intercept('any', async (_request, proceed) => {
    const began = performance.now();
    await pause(timing.transactionSeconds);
    waited += (performance.now() - began) / 1000;
    return proceed();
  });
}

/** What is slow the first time is none of the daemon's. */
const [firstFile] = await body.release();
if (timing.file !== null && firstFile?.content.length !== timing.file.bytes)
  throw new Error(`A file has ${firstFile?.content.length} bytes.`);
body.files.length = 0;
body.shots.length = 0;

function tally(): Tally {
  const writes: Record<number, number> = {};
  for (const { request } of responder.transactions) {
    const property = writtenProperty(request);
    if (property !== null) writes[property] = (writes[property] ?? 0) + 1;
  }
  const told: Tally = {
    type: 'tally',
    transactions: responder.transactions.length,
    writes,
    shots: body.shots.map(({ tv }) => tv),
    spread: Number.isFinite(firstOpened) ? lastClosed - firstOpened : null,
    waited,
    state: JSON.stringify(body.state),
  };
  responder.transactions.length = 0;
  body.shots.length = 0;
  waited = 0;
  firstOpened = Number.POSITIVE_INFINITY;
  lastClosed = Number.NEGATIVE_INFINITY;
  return told;
}

const { shutter: found } = body.state;

/** By hand: the shutter goes back to where it was. */
async function rest(): Promise<void> {
  if (body.state.shutter !== found) await body.change('shutter', found);
}

const say = (answer: BodyReady | Tally) => process.send?.(answer);

process.on('message', (order: BodyOrder) => {
  void (async () => {
    if (order === 'rest') await rest();
    say(tally());
  })();
});
process.on('disconnect', () => {
  void plugged.remove().finally(() => process.exit());
});
say({ type: 'ready', environment: plugged.environment });
