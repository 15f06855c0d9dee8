// What the daemon does with a frame in hand, stage by stage, each alone: where its own cost goes.
import { copyFile, mkdtemp, rm } from 'node:fs/promises';
import path from 'node:path';
import { readPicture, readRecorded, SetFolder } from '../../src/frames/index.js';
import { namedBy } from '../set-naming.js';

export interface Stage {
  readonly name: string;
  /** Milliseconds, one a round. */
  readonly times: number[];
}

async function timed(stage: Stage, work: () => Promise<unknown>): Promise<void> {
  const began = performance.now();
  await work();
  stage.times.push(performance.now() - began);
}

/**
 * @param frame a JPEG as it came back; it stays as it is
 * @param scratch an existing folder
 * @param rest milliseconds before each round: what has not run for a while runs slower
 */
export async function stagesOf(
  frame: string,
  scratch: string,
  rounds: number,
  rest: number,
): Promise<Stage[]> {
  const kind: Stage = { name: 'kind of file', times: [] };
  const recorded: Stage = { name: 'recorded exposure', times: [] };
  const picture: Stage = { name: 'small copy, clipping', times: [] };
  const kept: Stage = { name: 'renamed into the set', times: [] };
  const into = await mkdtemp(path.join(scratch, 'stages-'));
  const folder = await SetFolder.create(into, namedBy(new Date()));
  // The process that decodes is there in a set that goes on.
  await readPicture(frame, 'jpg');
  for (let number = 1; number <= rounds; number += 1) {
    const file = path.join(folder.incoming, `incoming.${number}`);
    await copyFile(frame, file);
    await new Promise((resolve) => setTimeout(resolve, rest));
    await timed(kind, () => folder.kindOf(file));
    await timed(recorded, () => readRecorded(file));
    await timed(picture, () => readPicture(file, 'jpg'));
    await timed(kept, () => folder.keep(file, `${number}_0EV`, 'jpg'));
  }
  await rm(into, { recursive: true });
  return [kind, recorded, picture, kept];
}
