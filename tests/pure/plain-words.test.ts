// Whatever is written behind an option or sent over the wire, what is wrong with it is said in plain words: neither those of the
// library that checks it, nor of the one that reads the command line.
import { type Command, CommanderError } from 'commander';
import pino from 'pino';
import { afterEach, beforeEach, describe, expect, it, vi } from 'vitest';
import { z } from 'zod';
import { pairRequestSchema } from '../../shared/access.js';
import { askedSchema } from '../../shared/asked.js';
import { EvenrungError } from '../../shared/errors.js';
import { againSchema, relabelSchema, setsQuerySchema } from '../../shared/kept.js';
import { listed, shortened } from '../../shared/plain-words.js';
import { bodyProfileSchema } from '../../shared/profile.js';
import { firstIssue, parseSetRequest, setRequestSchema } from '../../shared/request.js';
import { parseRunRequest, runRequestSchema } from '../../shared/run-request.js';
import { scheduleRequestSchema } from '../../shared/schedule.js';
import { readSetRecord, setRecordSchema } from '../../shared/set-record.js';
import { soundRequestSchema } from '../../shared/sounding.js';
import { watcherMessageSchema } from '../../shared/stream.js';
import { writtenRunRequest } from '../../src/commands/options/run-options.js';
import { sentenceOf } from '../../src/commands/process.js';
import { newProgram } from '../../src/commands/program.js';
import { readFields } from '../../src/server/fields.js';

/** Words of the libraries, and of the language itself. */
const NOT_OURS =
  /\b(expected|received|invalid|too (big|small)|ZodError|unrecognized|discriminator|undefined|null|argument|allowed choices|union|regex|pattern)\b|[<>]=|\[object|\bNaN\b(?!')/i;

/** Of the command line: what is wrong stands in one sentence. */
const SENTENCE = /^(?:[A-Z'-]|\d).*\.$/s;

describe('every option of every command', () => {
  beforeEach(() => {
    vi.spyOn(process.stdout, 'write').mockImplementation(() => true);
  });
  afterEach(() => {
    vi.restoreAllMocks();
  });

  /** Read as always, and judged as a request where it becomes one; nothing is begun. */
  function program(): Command {
    const all = newProgram(pino({ level: 'silent' }));
    const idle = (command: Command): void => {
      const name = command.name();
      if (name === 'fire')
        command.action(({ to, ...others }) => {
          parseRunRequest(writtenRunRequest({ ...others, ...(to?.ev === undefined ? {} : { to: to.ev }) }));
        });
      else if (name !== 'plan' && name !== 'schedule') command.action(() => undefined);
      command.commands.forEach(idle);
    };
    all.commands.forEach(idle);
    return all;
  }

  const leaves = (command: Command, path: readonly string[] = []): [readonly string[], Command][] => [
    ...(path.length === 0 ? [] : [[path, command] as [readonly string[], Command]]),
    ...command.commands.flatMap((child) => leaves(child, [...path, child.name()])),
  ];
  const OPTIONS = leaves(program()).flatMap(([path, command]) =>
    command.options
      .filter(({ required }) => required)
      .map(({ long }) => [path.join(' '), long ?? ''] as const),
  );
  const ABSURD = [
    ...['', ' ', '-', '90', '-7', '1e400', 'NaN', '90000', '9'.repeat(40), 'x'.repeat(500)],
    ...['0', '1/0', '../..', '$(true)', "it's", '\u0000', 'a\nb', '[object Object]', '\u2212\u221e', 'null'],
  ];
  /** What a command needs beside the option, so that this one is what is wrong. */
  const BESIDE: Readonly<Record<string, readonly string[]>> = {
    plan: ['--step', '1'],
    schedule: ['--step', '1', '--every', '4min', '--count', '3'],
    fire: ['--step', '1'],
  };
  const WITH_LIGHT = ['--slowest', '--fastest', '--iso-least', '--iso-most', '--most-shift'];
  const WITH_SPAN = ['--frames-fewest', '--frames-most', '--frames-change'];
  const METERED = [
    ...['--darkest', '--brightest', '--aperture', '--iso'],
    ...['--files', '--room-above', '--room-below'],
  ];
  const SCHEDULED = ['--every', '--count', '--until', '--start', '--place', '--overrun'];

  const argumentsFor = (path: string, option: string, value: string): string[] => {
    const beside = [...(BESIDE[path] ?? [])];
    const isFrames = ['--frames', '--from', '--to', '--span', ...METERED].includes(option);
    if (beside.length > 0 && !isFrames) beside.push('--frames', '3');
    if (METERED.includes(option) && option !== '--darkest') beside.push('--darkest', '1/4');
    if (METERED.includes(option) && option !== '--brightest') beside.push('--brightest', '1/2000');
    if (option === '--from') beside.push('--to', '1');
    if (option === '--to' && path in BESIDE) beside.push('--from', '-1');
    if (path === 'fire' && [...WITH_LIGHT, ...WITH_SPAN, ...SCHEDULED].includes(option))
      beside.push('--every', '4min');
    if (
      path === 'fire' &&
      [...WITH_LIGHT, ...WITH_SPAN, ...SCHEDULED].includes(option) &&
      option !== '--until'
    )
      beside.push('--count', '3');
    if (WITH_LIGHT.includes(option)) beside.push('--follow-light');
    if (WITH_SPAN.includes(option)) beside.push('--follow-span');
    if (option === '--count' || option === '--until') {
      const count = beside.indexOf('--count');
      if (count >= 0) beside.splice(count, 2);
    }
    const link = 'http://127.0.0.1:1/#pair=abc';
    const isNamed = path.startsWith('sets ') || path.startsWith('devices ');
    const given = path === 'pair' ? [link] : isNamed ? ['3f2a'] : [];
    // The last one counts, so it comes after what is beside it.
    return [...path.split(' '), ...given, ...beside, `${option}=${value}`];
  };

  const messageOf = async (args: readonly string[]): Promise<string | null> => {
    try {
      await program().parseAsync(['node', 'evenrung', ...args]);
      return null;
    } catch (cause) {
      if (cause instanceof CommanderError) return sentenceOf(cause);
      if (cause instanceof EvenrungError) return cause.message;
      throw cause;
    }
  };

  it('are all of them', () => {
    expect(OPTIONS.length).toBeGreaterThan(90);
    expect(OPTIONS).toContainEqual(['fire', '--delay']);
    expect(OPTIONS).toContainEqual(['sets reshoot', '--frames']);
  });

  it.each(OPTIONS)('%s %s with absurd values', async (path, option) => {
    for (const value of ABSURD) {
      const message = await messageOf(argumentsFor(path, option, value));
      if (message === null) continue;
      const told = `${option} '${value.slice(0, 20)}': ${message}`;
      expect(message.replaceAll(shortened(value), ''), told).not.toMatch(NOT_OURS);
      expect(message, told).toMatch(SENTENCE);
      expect(message.length, told).toBeLessThan(260);
      expect(message, told).not.toMatch(/\p{Cc}/u);
    }
  });

  it.each([
    ['fire', '--delay', '90', "--delay cannot be '90': give 0 to 60 seconds."],
    ['plan', '--settle', '61', "--settle cannot be '61': give 0 to 60 seconds."],
    ['plan', '--hand-held', '6000', "--hand-held cannot be '6000': give 1 to 5000 mm."],
    ['plan', '--light-rate', '11', "--light-rate cannot be '11': give 0 to 10 EV a minute."],
    ['plan', '--file-size', '10001', "--file-size cannot be '10001': give 0 to 10000 megabytes."],
    ['plan', '--mains', '55', "--mains cannot be '55': give 50 or 60."],
    ['serve', '--port', '70000', "--port cannot be '70000': give a number from 0 to 65535."],
    ['sets reshoot', '--frames', 'x', "--frames cannot be 'x': give the numbers of frames, such as 3,4."],
  ])('%s %s %s', async (path, option, value, sentence) => {
    expect(await messageOf(argumentsFor(path, option, value))).toBe(sentence);
  });
});

describe('every field that is sent', () => {
  const SCHEMAS: Readonly<Record<string, z.ZodType>> = {
    ...{ setRequestSchema, runRequestSchema, scheduleRequestSchema, askedSchema, pairRequestSchema },
    ...{ relabelSchema, againSchema, setsQuerySchema, bodyProfileSchema, watcherMessageSchema },
    soundRequestSchema,
  };
  const WRONG: readonly unknown[] = [
    ...[null, true, 0, -1, 1.5, 1e9, Number.NaN, Number.POSITIVE_INFINITY, '', 'x', 'x'.repeat(9000)],
    ...[[], [null], {}, { x: 1 }, Array(500).fill(1)],
  ];
  interface Shape {
    readonly properties?: Readonly<Record<string, Shape>>;
    readonly anyOf?: readonly Shape[];
    readonly $ref?: string;
    readonly $defs?: Readonly<Record<string, Shape>>;
  }
  /** Each field of it, and of what is in it. */
  function paths(root: Shape, shape: Shape = root, path: readonly string[] = []): (readonly string[])[] {
    const named = shape.$ref?.replace('#/$defs/', '');
    if (named !== undefined) return paths(root, root.$defs?.[named], path);
    const inside = Object.entries(shape.properties ?? {}).flatMap(([name, inner]) => [
      [...path, name],
      ...paths(root, inner, [...path, name]),
    ]);
    return [...inside, ...(shape.anyOf ?? []).flatMap((one) => paths(root, one, path))];
  }
  const withField = ([name = '', ...rest]: readonly string[], value: unknown): Record<string, unknown> => ({
    [name]: rest.length === 0 ? value : withField(rest, value),
  });

  it.each(Object.keys(SCHEMAS))('%s', (name) => {
    const schema = SCHEMAS[name] as z.ZodType;
    const shape = z.toJSONSchema(schema, { io: 'input', unrepresentable: 'any' }) as Shape;
    const all = [...paths(shape), ['nobody-knows']];
    expect(all.length).toBeGreaterThan(1);
    let refused = 0;
    for (const sent of [...WRONG, ...all.flatMap((path) => WRONG.map((value) => withField(path, value)))]) {
      try {
        readFields(schema, sent);
      } catch (cause) {
        refused += 1;
        expect((cause as EvenrungError).message).not.toMatch(NOT_OURS);
        expect((cause as EvenrungError).message).toMatch(SENTENCE);
      }
    }
    expect(refused).toBeGreaterThan(WRONG.length);
  });

  it('names the field and what it may be', () => {
    const said = (sent: unknown) => {
      try {
        parseRunRequest(sent);
      } catch (cause) {
        return (cause as EvenrungError).message.replace('The request is not understood: ', '');
      }
      return null;
    };
    const three = { frames: 3, step: 1 };
    expect(said({ ...three, delay: 90 })).toBe('delay: give 0 to 60 seconds.');
    expect(said({ ...three, delay: 'soon' })).toBe('delay: give 0 to 60 seconds.');
    expect(said({ ...three, mode: 'auto' })).toBe('mode: give manual or aperture.');
    expect(said({ ...three, nobody: 1 })).toBe("there is no field 'nobody'.");
    expect(said({ frames: 3 })).toBe('step: it is missing: give the step between frames, such as 1 or 2/3.');
    expect(said({ ...three, name: 'x'.repeat(301) })).toBe(
      'name: it is too long: give at most 300 characters.',
    );
    expect(said({ ...three, base: '1'.repeat(30) })).toBe(
      'base: it is not a shutter time: write it like 1/60, 0.5 or 30.',
    );
    expect(said({ ...three, schedule: { every: '4min', until: 'x'.repeat(70) } })).toMatch(
      /^schedule\.until: it is not a moment: write it like 21:40, /,
    );
  });

  it('a record that is none', () => {
    for (const text of ['[]', '{"version":2}', '{"version":1,"frames":3}', '{"version":"x"}'])
      try {
        readSetRecord(text);
        expect.unreachable(text);
      } catch (cause) {
        expect((cause as EvenrungError).message).not.toMatch(NOT_OURS);
      }
    expect(setRecordSchema.safeParse({}).success).toBe(false);
  });

  it('a schema that was looked at without them still gets no words of its own by accident', () => {
    const bare = setRequestSchema.safeParse({ step: 1, mode: 3 });
    expect(bare.success ? '' : firstIssue(bare.error)((field) => field)).toMatch(NOT_OURS);
    expect(() => parseSetRequest({ step: 1, mode: 3 })).toThrow('mode: give manual or aperture.');
  });
});

describe('what is shown of what was written', () => {
  it('is short, and steers no terminal', () => {
    expect(shortened('1/60')).toBe('1/60');
    expect(shortened('x'.repeat(50))).toBe(`${'x'.repeat(40)}...`);
    expect(shortened('a\u001b[2Jb\nc')).toBe('a [2Jb c');
  });

  it('a list reads as a sentence', () => {
    expect([listed(['a']), listed(['a', 'b']), listed(['a', 'b', 'c'])]).toEqual([
      'a',
      'a or b',
      'a, b or c',
    ]);
  });
});
