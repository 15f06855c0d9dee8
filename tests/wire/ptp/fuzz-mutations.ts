// Ways to spoil a container, and which one a seed stands for. The head of a container: length (4 bytes), type (2), code (2),
// transaction (4), all little endian (ISO 15740, annex D).
import type { seeded } from '../../bench/cover.bench-helper.js';
import type { Place, Spoilt } from './fuzz-cable.js';

const HEAD_LENGTH = 12;

export type Random = ReturnType<typeof seeded>;

export const upTo = (random: Random, count: number): number => Math.floor(random() * count);

export function pick<T>(random: Random, items: readonly T[]): T {
  const item = items[upTo(random, items.length)];
  if (item === undefined) throw new Error('There is nothing to pick from.');
  return item;
}

/** May change the bytes in place: they are a copy. */
export type Mutation = (container: Buffer, random: Random) => Spoilt;

const COUNTS = [0xffffffff, 0x7fffffff, 0x80000000, 0x40000001, 0x10000, 0xffff];
const LENGTHS = [0, 1, 11, 12, 13, 0x7fffffff, 0xffffffff, 0x80000000];

const one = (container: Buffer): Spoilt => ({ transfers: [container] });

/** Sets the length in the head to what is there. */
function sized(container: Buffer): Buffer {
  if (container.length >= 4) container.writeUInt32LE(container.length, 0);
  return container;
}

const noise = (random: Random, length: number): Buffer =>
  Buffer.from(Array.from({ length }, () => upTo(random, 256)));

export const MUTATIONS: Readonly<Record<string, Mutation>> = {
  'bytes flipped': (container, random) => {
    // Behind the head, where there is anything: the head has mutations of its own.
    const from = container.length > HEAD_LENGTH ? HEAD_LENGTH : 0;
    for (let times = 1 + upTo(random, 8); times > 0; times -= 1) {
      const at = from + upTo(random, container.length - from);
      container.writeUInt8(container.readUInt8(at) ^ (1 + upTo(random, 255)), at);
    }
    return one(container);
  },
  'cut, and says so': (container, random) =>
    one(sized(container.subarray(0, HEAD_LENGTH + upTo(random, container.length - HEAD_LENGTH + 1)))),
  'cut in transit': (container, random) => one(container.subarray(0, upTo(random, container.length))),
  'extended, and says so': (container, random) =>
    one(sized(Buffer.concat([container, noise(random, 1 + upTo(random, 700))]))),
  'extended in transit': (container, random) =>
    one(Buffer.concat([container, noise(random, 1 + upTo(random, 700))])),
  'wrong length': (container, random) => {
    container.writeUInt32LE(pick(random, [...LENGTHS, container.length - 1, container.length + 1]) >>> 0, 0);
    return one(container);
  },
  'wrong type': (container, random) => {
    container.writeUInt16LE(pick(random, [0, 1, 2, 3, 4, 5, 0xffff]), 4);
    return one(container);
  },
  'wrong code': (container, random) => {
    container.writeUInt16LE(
      pick(random, [0, 0x2001, 0x2002, 0x2003, 0x2019, 0x201e, upTo(random, 0x10000)]),
      6,
    );
    return one(container);
  },
  'wrong transaction': (container, random) => {
    const number = container.readUInt32LE(8);
    container.writeUInt32LE(pick(random, [0, 0xffffffff, (number + 1) >>> 0, (number - 1) >>> 0]), 8);
    return one(container);
  },
  'given twice': (container) => ({ transfers: [container, container] }),
  dropped: () => ({ transfers: [] }),
  'after the next one': (container) => ({ transfers: [], later: container }),
  'a huge count': (container, random) => {
    const room = container.length - HEAD_LENGTH - 4;
    // Counts of arrays stand at the front more often than anywhere else.
    if (room >= 0) {
      const at = random() < 0.3 ? 0 : upTo(random, room + 1);
      container.writeUInt32LE(pick(random, COUNTS), HEAD_LENGTH + at);
    }
    return one(container);
  },
  'a long string': (container, random) => {
    if (container.length > HEAD_LENGTH) {
      container.writeUInt8(255, HEAD_LENGTH + upTo(random, container.length - HEAD_LENGTH));
    }
    return one(container);
  },
  'no data': (container) => one(sized(container.subarray(0, HEAD_LENGTH))),
  'a transfer of no length': (container, random) => ({
    transfers: random() < 0.5 ? [Buffer.alloc(0)] : [Buffer.alloc(0), container],
  }),
};

/** Nearly always the library waits for what does not come: a deadline and a start each, so these are drawn less often. */
const WAITED_FOR = ['cut in transit', 'wrong type', 'dropped', 'after the next one'];

export const MUTATION_URN = Object.keys(MUTATIONS).flatMap((name) =>
  WAITED_FOR.includes(name) ? [name] : [name, name, name],
);

export const placeKey = ({ operation, type }: Place): string => `${operation} ${type}`;
