// A piece that the direct link was told of beforehand: it comes while the piece before it is written, and is what it would have been.
import { readFile } from 'node:fs/promises';
import path from 'node:path';
import { expect, test } from 'vitest';
import type { AskedPiece, MadeFile, PressOptions } from '../../src/camera/link.js';
import { type LinkedBody, withLinkedBody } from './linked-body.js';
import { OPERATION } from './ptp/codes.js';

const RELEASE: PressOptions = { button: null, holdSeconds: null, exposureSeconds: 1 / 60 };
const PIECE = 1500;
const WITHIN_4_S = { timeout: 4000, interval: 20 };

async function oneMore({ link }: LinkedBody): Promise<MadeFile> {
  await link.press(RELEASE);
  for (let looks = 0; looks < 100; looks += 1) {
    const [made] = (await link.listen(100)).made;
    if (made !== undefined) return made;
  }
  throw new Error('The body told of no file.');
}

/** Two files whose heads are here, and the rest of each as one piece. */
async function twoHeads(linked: LinkedBody) {
  const { link, into } = linked;
  const files: AskedPiece[] = [];
  for (const name of ['first', 'second']) {
    const file = await oneMore(linked);
    const to = path.join(into, name);
    await link.bring({ file, to, from: 0, most: PIECE });
    files.push({ file, to, from: PIECE, most: 10_000_000 });
  }
  const [first, second] = files as [AskedPiece, AskedPiece];
  const sent = () => linked.responder.count(OPERATION.getPartialObject);
  const isWhole = async (index: 0 | 1) =>
    (await readFile([first, second][index]?.to ?? '')).equals(
      linked.body.files[index]?.content ?? Buffer.alloc(0),
    );
  return { first, second, sent, isWhole };
}

const withBody = (during: (linked: LinkedBody) => Promise<void>) =>
  withLinkedBody('standard', during, { way: 'direct' });

test('the next file comes before anybody asks for it, and once', () =>
  withBody(async (linked) => {
    const { first, second, sent, isWhole } = await twoHeads(linked);
    const before = sent();
    const { isEnd } = await linked.link.bring({ ...first, next: second });
    expect(isEnd).toBe(true);
    expect(await isWhole(0)).toBe(true);
    await expect.poll(sent, WITHIN_4_S).toBe(before + 2);
    const piece = await linked.link.bring(second);
    expect(piece).toEqual({ bytes: (second.file.bytes ?? 0) - PIECE, isEnd: true });
    expect(await isWhole(1)).toBe(true);
    expect(sent()).toBe(before + 2);
  }));

test('all of a file in pieces that were foreseen is what the body made', () =>
  withBody(async (linked) => {
    const { first, sent, isWhole } = await twoHeads(linked);
    const before = sent();
    let pieces = 0;
    for (let from = PIECE, isEnd = false; !isEnd; pieces += 1) {
      const next = { ...first, from: from + PIECE, most: PIECE };
      const mayFollow = next.from < (first.file.bytes ?? 0);
      const asked = { ...first, from, most: PIECE, ...(mayFollow ? { next } : {}) };
      const piece = await linked.link.bring(asked);
      from += piece.bytes;
      isEnd = piece.isEnd;
    }
    expect(pieces).toBeGreaterThan(2);
    expect(await isWhole(0)).toBe(true);
    expect(sent()).toBe(before + pieces);
  }));

test('if something else is asked for, what came ahead does no harm', () =>
  withBody(async (linked) => {
    const { first, second, isWhole } = await twoHeads(linked);
    const small = { ...first, most: PIECE };
    await linked.link.bring({ ...small, next: { ...small, from: 2 * PIECE } });
    await linked.link.bring({ ...second, next: { ...small, from: 2 * PIECE } });
    expect(await isWhole(1)).toBe(true);
    // From the same place, but more of it; then from before it.
    await linked.link.bring({ ...first, from: 2 * PIECE });
    expect(await isWhole(0)).toBe(true);
    await linked.link.bring(first);
    expect(await isWhole(0)).toBe(true);
  }));

test('what fails ahead is told to whoever asks for it, and to nobody else', () =>
  withBody(async (linked) => {
    const { first, second, isWhole } = await twoHeads(linked);
    const gone = { ...second, file: { ...second.file, name: 'NOTHERE.JPG' } };
    const { isEnd } = await linked.link.bring({ ...first, next: gone });
    expect(isEnd).toBe(true);
    expect(await isWhole(0)).toBe(true);
    await expect(linked.link.bring(gone)).rejects.toMatchObject({ code: 'file-not-there' });
    await linked.link.bring(second);
    expect(await isWhole(1)).toBe(true);
  }));

test('whoever lets go of the body does not wait for long, and the process ends', () =>
  withBody(async (linked) => {
    const { first, second } = await twoHeads(linked);
    await linked.link.bring({ ...first, next: second });
    await linked.link.letGo();
    expect(linked.responder.count(OPERATION.closeSession)).toBe(1);
  }));
