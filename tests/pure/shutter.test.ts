// The rest of every file comes, at whichever moment the last one before it was through.
import { describe, expect, it } from 'vitest';
import type { BroughtFile } from '../../src/camera/fetching.js';
import type { MadeFile } from '../../src/camera/index.js';
import { type ApartLink, Shutter } from '../../src/camera/shutter.js';

const FOLDER = '/card';
const made = (name: string): MadeFile => ({ folder: FOLDER, name, bytes: 2 });
const steps = async (count: number): Promise<void> => {
  for (let step = 0; step < count; step += 1) await Promise.resolve();
};

/** Two files of two bytes, the first of which is a head: the second file's head comes so many steps after the first file's rest, or before it. */
function linkWith(late: number): ApartLink {
  let restIsHere: () => void = () => undefined;
  const rest = new Promise<void>((resolve) => {
    restIsHere = resolve;
  });
  let told: MadeFile[] = [];
  return {
    press: async () => {
      told = [made('a.jpg')];
    },
    unpress: async () => undefined,
    listen: async () => ({ made: told.splice(0), isOver: false }),
    list: async () => [],
    bring: async ({ file, from }) => {
      // The body tells of the second file while the rest of the first one is on its way.
      if (file.name === 'a.jpg' && from === 1) {
        told = [made('b.jpg')];
        await new Promise((resolve) => setTimeout(resolve, 5));
      }
      if (file.name === 'a.jpg' && from === 1) {
        restIsHere();
        await steps(-late);
      }
      if (file.name === 'b.jpg' && from === 0) await rest.then(() => steps(late));
      return { bytes: 1, isEnd: from === 1 };
    },
  };
}

const LIMITS = { library: 'a library', pieceBytes: 1, headBytes: 1, bytesPerSecond: 1 };
const RELEASE = {
  into: '/',
  frames: 2,
  filesPerFrame: 1,
  exposureSeconds: 0,
  button: null,
  holdSeconds: null,
};

const wholes = (files: readonly BroughtFile[]) => Promise.all(files.map(({ whole }) => whole));

describe('a head that comes as the file before it is through', () => {
  it.each(Array.from({ length: 33 }, (_, index) => index - 16))(
    '%i steps later: its rest comes',
    async (late) => {
      const { files } = await new Shutter(linkWith(late), LIMITS).release(RELEASE);
      expect(files).toHaveLength(2);
      const late1s = new Promise((_, reject) => setTimeout(reject, 1000, new Error('It does not come.')));
      await Promise.race([wholes(files), late1s]);
    },
  );
});

describe('a burst that makes a file too many', () => {
  /** Tells of three files at once, and of the last frame's a moment later. */
  function linkWithOneTooMany() {
    const left = [[made('a.jpg'), made('a-more.jpg'), made('b.jpg')], [made('c.jpg')], []];
    let card: MadeFile[] = [];
    let isPressed = false;
    return {
      press: async () => {
        isPressed = true;
      },
      unpress: async () => undefined,
      listen: async () => {
        const told = isPressed ? (left.shift() ?? []) : [];
        card = [...card, ...told];
        return { made: told, isOver: isPressed && left.length === 0 };
      },
      list: async () => card.map((file) => ({ ...file, writtenAt: null })),
      bring: async () => ({ bytes: 2, isEnd: true }),
    };
  }

  it('is heard to its end before the card is listed, and what is fetched from there is no file of the next release', async () => {
    const shutter = new Shutter(linkWithOneTooMany(), LIMITS);
    const { files, failure } = await shutter.release({ ...RELEASE, frames: 3 });
    expect([files.length, failure]).toEqual([3, null]);
    const [late, ...others] = await shutter.list();
    expect([late?.name, others]).toEqual(['c.jpg', []]);
    await shutter.fetch(made('c.jpg'), '/', () => undefined);
    const told: string[] = [];
    await shutter.release({ ...RELEASE, frames: 0, made: ({ name }) => void told.push(name) });
    expect(told).toEqual([]);
  });
});
