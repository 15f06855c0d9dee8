// Settings are put back while the last pictures are looked at; what is made again after that is fired with the body made ready once more.
import { mkdtemp, rm, stat, truncate } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import type { FiredFrame, FireOptions, Setting } from '../../src/camera/index.js';
import { AT_ONCE, PRACTICE_SHAPES, PracticeBody } from '../../src/camera/practice/model.js';
import { PracticeLink } from '../../src/camera/practice/practice-link.js';
import { fireSet } from '../harness/set.js';

let root = '';
beforeEach(async () => {
  root = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
});
afterEach(async () => {
  await rm(root, { recursive: true, force: true });
});

/** Cuts the file of a release, counted from 1, in half; keeps what was done in order. */
class CuttingLink extends PracticeLink {
  private readonly camera: PracticeBody;
  readonly done: string[] = [];
  private readonly cut: number;
  private released = 0;

  constructor(body: PracticeBody, cut: number) {
    super(body);
    this.camera = body;
    this.cut = cut;
  }

  override async fire(options: FireOptions): Promise<FiredFrame> {
    const drive = JSON.stringify(this.camera.state.drive);
    const fired = await super.fire(options);
    this.released += 1;
    this.done.push(`fired ${drive}`);
    if (this.released === this.cut) await truncate(fired.path, Math.floor((await stat(fired.path)).size / 2));
    return fired;
  }

  override changeSetting(name: string, value: string): Promise<Setting> {
    this.done.push(`changed ${name}`);
    return super.changeSetting(name, value);
  }
}

async function found(shape: (typeof PRACTICE_SHAPES)[number]): Promise<PracticeBody> {
  const body = new PracticeBody({ ...AT_ONCE, shape });
  await body.change('drive', 'continuous');
  return body;
}

describe.each(PRACTICE_SHAPES)('a body of the shape %s, found in continuous drive', (shape) => {
  it('whose last picture is cut short: made again in single drive, and left as it was found', async () => {
    const body = await found(shape);
    const before = { ...body.state };
    const link = new CuttingLink(body, 3);
    const { state, record, run } = await fireSet(root, { frames: 3, link });
    expect([state, run.error]).toEqual(['complete', null]);
    expect(record?.setAside).toHaveLength(1);
    expect(body.shots).toHaveLength(4);
    expect(link.done.filter((what) => what === 'fired "continuous"')).toEqual([]);
    expect({ ...body.state }).toEqual(before);
    // The settings were back before the picture was known to be cut, and are back again.
    const lastFired = link.done.findLastIndex((what) => what.startsWith('fired'));
    const firedBefore = link.done.findLastIndex((what, at) => what.startsWith('fired') && at < lastFired);
    const drive = shape === 'pattern' || shape === 'drive-entry' ? 'capturemode' : 'drivemode';
    const between = link.done.slice(firedBefore, lastFired).filter((what) => what === `changed ${drive}`);
    expect(between.length).toBeGreaterThanOrEqual(2);
    expect(record?.notPutBack).toEqual([]);
    expect(record?.putBack.filter((name) => name === drive)).toHaveLength(1);
  });
});
