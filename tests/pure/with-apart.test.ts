// What the planner is told of a link that takes release and fetch apart: as it was learnt, else as the link thinks.
import { describe, expect, it } from 'vitest';
import { type BodyProfile, bodyProfileSchema } from '../../shared/profile.js';
import { recogniseDialect } from '../../src/camera/dialects/index.js';
import type { ApartLimits, LinkLimits, Setting, Settings } from '../../src/camera/link.js';
import { withApart } from '../../src/camera/profile.js';

const LINK: ApartLimits = {
  ...{ library: 'a library', pieceBytes: 5_000_000, headBytes: 128 * 1024, bytesPerSecond: 50_000_000 },
};
const LIMITS: LinkLimits = {
  ...{ longestSeconds: 30, secondsPerChange: 0, secondsPerSetting: 0, secondsPerFrame: 0, apart: LINK },
};
const choice = (name: string, choices: readonly string[]): Setting => ({
  ...{ name, kind: 'choice', value: choices[0] ?? '', choices },
});
const SETTINGS: Settings = new Map(
  [choice('aeb', ['off', '+/- 1']), choice('shutterspeed', ['1', '1/2', '1/60'])].map((setting) => [
    setting.name,
    setting,
  ]),
);

type Timing = NonNullable<BodyProfile['direct']>['timing'];
const PROFILE = { version: 1, model: 'Body of the boathouse', serial: null } as const;
/** A profile as it lies in its file. */
const learnt = (timing: Timing): BodyProfile =>
  bodyProfileSchema.parse({
    ...PROFILE,
    direct: {
      ...{ library: 'a library', pipelined: true, oneRelease: false, pieceBytes: 2_000_000, mostInOneGo: 1 },
      timing,
    },
  });

function timingOf(link: ApartLimits, known: BodyProfile | null) {
  const dialect = recogniseDialect(SETTINGS);
  const limits = dialect.limits(SETTINGS, LIMITS);
  return withApart({ limits, known, dialect, settings: SETTINGS, link })?.limits.apart;
}

const TIMING: Timing = { secondsBeforeExposure: 0.1, secondsAfterExposure: 0.2, secondsPerTransfer: 0.4 };

describe('a piece of a file', () => {
  it('takes what the link thinks, as long as nobody has learnt it', () => {
    expect(timingOf(LINK, null)?.secondsPerPiece).toBe(5 / 50);
  });

  it('takes what was learnt', () => {
    expect(timingOf(LINK, learnt({ ...TIMING, secondsPerPiece: 0.15 }))?.secondsPerPiece).toBe(0.15);
  });

  it('of a profile of an earlier program is as large as that says, and as quick as the link thinks', () => {
    expect(timingOf(LINK, learnt(TIMING))?.secondsPerPiece).toBe(2 / 50);
  });

  it('never takes longer than all files of a frame', () => {
    expect(timingOf(LINK, learnt({ ...TIMING, secondsPerTransfer: 0.01 }))?.secondsPerPiece).toBe(0.01);
  });

  it('is none where files come whole, whatever a profile says', () => {
    const whole = { ...LINK, headBytes: 0 };
    for (const known of [null, learnt(TIMING), learnt({ ...TIMING, secondsPerPiece: 0.15 })])
      expect(timingOf(whole, known)?.secondsPerPiece).toBeNull();
  });
});
