// The faults of a release that brings several files, on the practice body: each changes what is told, and nothing else.
import { expect, it } from 'vitest';
import { AT_ONCE, PracticeBody } from '../../src/camera/practice/model.js';
import { sixths } from '../../src/exposure/index.js';
import { frameMissing, frameTooMany, halfAPair, outOfOrder } from '../faults/burst-faults.js';

/** @returns what a held bracket of three told of, in two words a file, and what lies on the card */
async function told(fault: (body: PracticeBody) => void, format: 'jpeg' | 'raw-and-jpeg' = 'jpeg') {
  const body = new PracticeBody(AT_ONCE);
  await body.change('format', format);
  await body.change('drive', 'continuous');
  await body.change('bracketStep', sixths(6));
  fault(body);
  const names: string[] = [];
  const over = new Promise<void>((resolve) => {
    body.heed((event) => {
      if (event.is === 'file') names.push(event.file.name);
      else resolve();
    });
  });
  body.press({ place: 'card' });
  await over;
  body.letGo();
  expect(body.shots).toHaveLength(3);
  return { names, card: body.files.map(({ name }) => name) };
}

const [ONE, TWO, THREE] = ['IMG_0001.JPG', 'IMG_0002.JPG', 'IMG_0003.JPG'];

it('one frame too few: it is on the card', async () => {
  expect(await told((body) => frameMissing(body, 2))).toEqual({
    names: [ONE, THREE],
    card: [ONE, TWO, THREE],
  });
});

it('one frame too many: it is on the card, too', async () => {
  const { names, card } = await told((body) => frameTooMany(body, 2));
  expect(names).toEqual([ONE, TWO, 'EXT_0002.JPG', THREE]);
  expect(card.toSorted()).toEqual(['EXT_0002.JPG', ONE, TWO, THREE]);
});

it('out of order', async () => {
  const { names, card } = await told((body) => outOfOrder(body, 1));
  expect(names).toEqual([TWO, ONE, THREE]);
  expect(card).toEqual([ONE, TWO, THREE]);
});

it('one file of a pair is never told of', async () => {
  const { names, card } = await told((body) => halfAPair(body, 2), 'raw-and-jpeg');
  expect(names).toEqual(['IMG_0001.DNG', ONE, 'IMG_0002.DNG', 'IMG_0003.DNG', THREE]);
  expect(card).toHaveLength(6);
});

it('a body that does not stop at the end of its bracket begins it anew', async () => {
  const body = new PracticeBody({ ...AT_ONCE, stopsAfterBracket: false });
  await body.change('drive', 'continuous');
  await body.change('bracketStep', sixths(6));
  const over = new Promise<void>((resolve) => {
    let files = 0;
    body.heed((event) => {
      files += 1;
      if (files === 5) body.letGo();
      if (event.is === 'over') resolve();
    });
  });
  body.press();
  await over;
  const positions = body.shots.map(({ bracketPosition }) => bracketPosition);
  expect(positions.slice(0, 5)).toEqual([0, -1, 1, 0, -1]);
  expect(positions.length).toBeLessThan(8);
});
