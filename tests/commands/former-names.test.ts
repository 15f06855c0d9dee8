// Names that commands had formerly go on working: what is said and how it ends is the same as with the present ones.
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { run } from '../built.js';
import { type Doors, openDoors } from '../two-doors.js';

let doors: Doors;
beforeAll(async () => {
  doors = await openDoors();
});
afterAll(() => doors.close());

const HERE = 'HERE';
const FIRE = ['fire', '--frames', '3', '--step', '1', '--into', '/tmp'];

describe('the same, by either name', () => {
  it.each([
    [['bodies', '--body', 'practice'], ['cameras', '--body', 'practice'], 0, /^Practice body, serial number/],
    [['run', 'hold', '--at', HERE], ['run', 'pause', '--at', HERE], 2, /^Nothing is being fired\./],
    [['run', 'go-on', '--at', HERE], ['run', 'resume', '--at', HERE], 2, /^Nothing is being fired\./],
    [['run', 'stop', '--to', HERE], ['run', 'stop', '--at', HERE], 2, /^Nothing is being fired\./],
    [
      ['sets', 'again', '3f2a', '--frames', '3'],
      ['sets', 'reshoot', '3f2a', '--frames', '3'],
      2,
      /^There is no set whose id begins with '3f2a'/,
    ],
    [
      ['devices', 'drop', '7c41', '--at', HERE],
      ['devices', 'remove', '7c41', '--at', HERE],
      2,
      /^No paired device has an id that begins with '7c41'/,
    ],
    [['devices', '--to', HERE], ['devices', '--at', HERE], 0, /^No device is paired\.$/m],
    [
      ['sound', '--to', HERE, '--camera', 'x'],
      ['sound', '--at', HERE, '--camera', 'x'],
      2,
      /^--camera is set where/,
    ],
    [[...FIRE, '--to', HERE], [...FIRE, '--at', HERE], 2, /^--into is set where/],
  ])('%j and %j', async (former, present, code, said) => {
    const address = `http://127.0.0.1:${doors.port.here}`;
    const typed = (args: readonly string[]) => run(args.map((word) => (word === HERE ? address : word)));
    // One after the other: some of them own the state folder while they run.
    const before = await typed(former);
    const now = await typed(present);
    expect(now.code).toBe(code);
    expect(`${now.stdout}${now.stderr}`).toMatch(said);
    expect(before).toEqual(now);
  });

  it('two addresses, by both names, are refused', async () => {
    const { code, stderr } = await run(['run', 'stop', '--at', 'http://a', '--to', 'http://b']);
    expect([code, stderr]).toEqual([2, expect.stringMatching(/^--at and --to both give an address/)]);
  });
});
