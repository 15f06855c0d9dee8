// What is foreseen of the rest of files while nothing else is going to be asked for, and that nothing is otherwise.
import { expect, test } from 'vitest';
import { Fetching } from '../../src/camera/fetching.js';
import type { BringOptions, MadeFile, Piece } from '../../src/camera/link.js';

const LIMITS = { library: 'a library', pieceBytes: 4, headBytes: 2, bytesPerSecond: 1 };
const file = (name: string, bytes: number | null): MadeFile => ({ folder: '/card', name, bytes });

/** Brings whatever is asked for, of files that have so many bytes. */
function recorder(sizes: Readonly<Record<string, number>>) {
  const asked: BringOptions[] = [];
  const bring = async (options: BringOptions): Promise<Piece> => {
    asked.push(options);
    await new Promise((resolve) => setTimeout(resolve, 1));
    const left = (sizes[options.file.name] ?? 0) - options.from;
    return { bytes: Math.min(options.most, left), isEnd: left <= options.most };
  };
  return { asked, bring };
}

const told = ({ file: { name }, from, most }: Omit<BringOptions, 'next'>) => `${name} ${from}+${most}`;

async function fetched(
  files: readonly MadeFile[],
  sizes: Readonly<Record<string, number>>,
  isUndisturbed: boolean,
) {
  const { asked, bring } = recorder(sizes);
  const fetching = new Fetching(bring, LIMITS);
  fetching.expectPress();
  const heads = [];
  for (const one of files) heads.push(await fetching.head(one, `/to/${one.name}`, 0));
  fetching.isUndisturbed = isUndisturbed;
  fetching.pressed();
  await Promise.all(heads.map(({ whole }) => whole));
  return asked.slice(files.length);
}

const TWO = [file('a', 9), file('b', 6)];

test('undisturbed, each piece says which one comes next, also of the next file; it is what is asked for then', async () => {
  const asked = await fetched(TWO, { a: 9, b: 6 }, true);
  expect(asked.map(told)).toEqual(['a 2+4', 'a 6+4', 'b 2+4']);
  const foreseen = asked.map(({ next }) => next && told(next));
  expect(foreseen).toEqual(['a 6+4', 'b 2+4', undefined]);
  expect(asked.map(({ next }) => next?.to)).toEqual(['/to/a', '/to/b', undefined]);
});

test('while a release may come, nothing is foreseen: it would have to wait', async () => {
  const asked = await fetched(TWO, { a: 9, b: 6 }, false);
  expect(asked.map(told)).toEqual(['a 2+4', 'a 6+4', 'b 2+4']);
  expect(asked.map(({ next }) => next)).toEqual([undefined, undefined, undefined]);
});

test('of a file whose size nobody told, it is not known what comes next', async () => {
  const asked = await fetched([file('a', null), file('b', 6)], { a: 9, b: 6 }, true);
  expect(asked.map(({ next }) => next)).toEqual([undefined, undefined, undefined]);
});
