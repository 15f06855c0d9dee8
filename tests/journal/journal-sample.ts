// A run, a set and its frames as the journal takes them: nine frames of the boathouse, in three passes. Invented.
import { copyFile, mkdir, readFile, stat, writeFile } from 'node:fs/promises';
import path from 'node:path';
import Sqlite from 'better-sqlite3';
import type { WirePlan } from '../../shared/plan.js';
import type { FrameState, FrameView, Partner } from '../../shared/state.js';
import { journalFile, type RunBegun, type SetBegun } from '../../src/journal/index.js';

export const RUN: RunBegun = {
  id: 'run-1',
  kind: 'scheduled',
  request: { frames: 9, step: '1', base: '1/60' },
  options: { version: 1, content: { everyMinutes: 5, until: 'dawn' } },
  body: { link: 'practice', model: 'Body of the boathouse', serial: 'B-0007' },
  into: '/pictures/boathouse',
};

const OFFSETS = [-4, -3, -2, -1, 0, 1, 2, 3, 4];
const passOf = (offset: number) => Math.floor((offset + 4) / 3) + 1;
const secondsAt = (offset: number) => 2 ** (offset - 6);

export const PLAN: WirePlan = {
  base: { shutter: '1/60', exposureTime: 2 ** -6 },
  offsets: OFFSETS,
  passes: [-3, 0, 3].map((centre) => ({
    centre,
    step: 1,
    offsets: [centre - 1, centre, centre + 1],
    frames: [centre, centre - 1, centre + 1].map((offset) => ({
      offset,
      exposureTime: secondsAt(offset),
      shutter: `2^${offset - 6}`,
      wanted: true,
    })),
  })),
  release: 'frame',
  estimate: {
    seconds: 7,
    spreadSeconds: 5,
    passSeconds: [2, 2, 3],
    actuations: 9,
    bytes: null,
    longestGapSeconds: 2,
  },
  warnings: [],
  provenLeast: true,
  gapSeconds: 0,
};

/** @param number from 1 to 9 */
export const frame = (
  number: number,
  state: FrameState = 'planned',
  more: Partial<FrameView> = {},
): FrameView => ({
  number,
  pass: passOf(number - 5),
  offset: number - 5,
  exposureTime: secondsAt(number - 5),
  shutter: `2^${number - 11}`,
  state,
  attempts: state === 'planned' ? 0 : 1,
  recorded: null,
  clipped: null,
  file: null,
  reason: null,
  baseMoved: null,
  marks: [],
  ...more,
});

/** The second file of a frame. */
export const PARTNER: Partner = {
  state: 'there',
  file: '01.jpg',
  sha256: 'cd'.repeat(32),
  bytes: 400,
  recorded: { exposureTime: 0.001, fNumber: 8, iso: 100, bias: 0 },
};

export const setBegun = (id: string, run = RUN.id, more: Partial<SetBegun> = {}): SetBegun => ({
  id,
  run,
  folder: `/pictures/boathouse/${id}`,
  plan: PLAN,
  base: { shutter: '1/60', aperture: 'f/8', iso: '100' },
  frames: OFFSETS.map((offset) => frame(offset + 5)),
  startedAt: '2026-11-25T15:42:10.000Z',
  ...more,
});

const TABLES = ['runs', 'sets', 'passes', 'frames', 'asides', 'strays', 'notes', 'transitions'] as const;

/** @returns all that is in the tables, by a connection of its own, or of a copy of the files */
export function dump(file: string): string {
  const database = new Sqlite(file, { readonly: true });
  try {
    return JSON.stringify(
      Object.fromEntries(
        TABLES.map((table) => [table, database.prepare(`SELECT * FROM ${table} ORDER BY 1, 2`).all()]),
      ),
    );
  } finally {
    database.close();
  }
}

/** Lays the files of a journal down in another state folder, as a crash would leave them. @param logBytes cuts its log there */
export async function copyJournal(from: string, to: string, logBytes?: number): Promise<void> {
  await mkdir(path.dirname(journalFile(to)), { recursive: true });
  await copyFile(journalFile(from), journalFile(to));
  const log = `${journalFile(from)}-wal`;
  const whole = await stat(log).then(
    () => readFile(log),
    () => null,
  );
  if (whole !== null) await writeFile(`${journalFile(to)}-wal`, whole.subarray(0, logBytes));
}
