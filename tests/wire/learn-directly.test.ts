// Learning what a camera does if the library is called directly, on every virtual body: what held stands in its profile, and it is
// reached so from then on.
import { mkdtemp, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import path from 'node:path';
import { describe, expect, it } from 'vitest';
import { EventLog, Station } from '../../src/station/index.js';
import { CAMERA_PROCESS } from '../built.js';
import { FACES, type FaceName, plugIn } from './ptp/plugged-body.js';

/** How many frames of a bracket each fires from one release, at 1 EV. */
const IN_ONE: Readonly<Record<FaceName, number>> = {
  amount: 3,
  hidden: 1,
  pattern: 9,
  'drive-entry': 9,
  'drive-entry-leaping': 9,
  'drive-entry-walking': 9,
  standard: 1,
};

/** Vendor extension 0x11 hands its files over whole. */
const comesWhole = (face: FaceName) => face.startsWith('drive-entry');

async function withStation(face: FaceName, during: (station: Station, events: EventLog) => Promise<void>) {
  const plugged = await plugIn(face);
  const root = await mkdtemp(path.join(tmpdir(), 'evenrung-learn-'));
  const events = new EventLog();
  const station = new Station({
    ...{
      choice: 'usb',
      into: root,
      stateFolder: path.join(root, 'state'),
      configFolder: path.join(root, 'config'),
    },
    ...{ events, log: () => undefined },
    link: { entry: CAMERA_PROCESS, env: plugged.environment },
  });
  try {
    await during(station, events);
  } finally {
    await station.close();
    await plugged.remove();
    await rm(root, { recursive: true, force: true });
  }
}

const bodyOf = ({ state: { body } }: EventLog) => (body !== null && 'body' in body ? body.body : undefined);
const reached = (events: EventLog) => bodyOf(events)?.reached?.way;

describe.each(FACES)('%s', (face) => {
  it('is reached over the binding at first, and directly once it was learnt', () =>
    withStation(face, async (station, events) => {
      await station.look();
      expect(reached(events)).toBe('binding');
      const { profile, trouble, notes } = await station.learn({ longestSeconds: 0 });
      expect(notes).toEqual([]);
      expect(trouble).toBeNull();
      expect(profile.direct).toMatchObject({
        ...{ pipelined: true, oneRelease: IN_ONE[face] > 1, mostInOneGo: IN_ONE[face] },
        library: expect.stringMatching(/^libgphoto2 2\.\d+\.\d+/),
      });
      expect(reached(events)).toBe('direct');
      const apart = bodyOf(events)?.timing.apart;
      if (comesWhole(face)) {
        expect(apart?.secondsPerPiece).toBeNull();
        // What each further frame of a burst takes is its file's; what comes before an exposure cannot be told from what comes after it.
        expect(apart?.secondsBeforeExposure).toBe(0);
      } else expect(apart?.secondsPerPiece).toBeLessThanOrEqual(apart?.secondsPerTransfer ?? -1);
      await station.start({ frames: 5, step: 1, base: '1/60' });
      await station.settled();
      expect(events.state.run?.state).toBe('complete');
      expect(events.state.run?.frames.map(({ attempts }) => attempts)).toEqual(Array(5).fill(1));
    }));
});
