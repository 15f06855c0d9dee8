// Soundings as the panel is told of them, for its screens: at dusk, in every state. Its pictures are the practice scene's own.
import type { Page } from 'playwright-core';
import type { SoundingView } from '../../shared/sounding.js';
import type { DaemonState } from '../../shared/state.js';
import { renderFrame } from '../../src/camera/practice/render.js';
import { sixths } from '../../src/exposure/index.js';

const frame = (number: number, offset: number, shutter: string, bright: number, dark: number) => ({
  ...{ number, offset, shutter },
  lost: { bright, dark },
});

/** As src/sounding says it of the boathouse at dusk. */
const PROPOSED: SoundingView = {
  ...{ id: 'dusk', state: 'proposed', startedBy: 'this computer', mode: 'manual', step: 1, most: 8 },
  ...{ startedAt: '2026-11-25T16:42:00.000Z', endedAt: '2026-11-25T16:42:08.000Z' },
  frames: [
    frame(1, 0, '1/60', 0.0661, 0.3651),
    frame(2, -3, '1/500', 0.0126, 0.7127),
    frame(3, -6, '1/4000', 0, 0.9132),
    frame(4, 4, '1/4', 0.2725, 0.0111),
    frame(5, 7, '2', 0.6053, 0),
    frame(6, -4.333, '1/1250', 0, 0.83),
    frame(7, 4.333, '0.3', 0.3544, 0),
  ],
  now: null,
  proposal: {
    set: { from: '-4', to: '+5', step: '1', base: '1/100', mode: 'manual' },
    ...{ frames: 10, passes: 4, span: 9, seconds: 4 },
    darkest: {
      ...{ shutter: '1/1600', testFrame: 6, isHeld: true },
      sentence:
        'Frame 1, the darkest (1/1600 s), holds the highlights: nothing in it is too bright but 1 small spot such as a lamp or a glint; 1 stop brighter, 0.54% of the picture would be.',
    },
    brightest: {
      ...{ shutter: '0.3', testFrame: 7, isHeld: true },
      sentence:
        'Frame 10, the brightest (0.3 s), opens the shadows: nothing in it is too dark; 1 stop darker, 14% of the picture would be.',
    },
    caution: null,
    command: 'evenrung fire --from -4 --to +5 --step 1 --base 1/100',
  },
  ...{ sentence: null, error: null },
};

const { proposal, frames } = PROPOSED;
const nothing = { proposal: null, endedAt: null } as const;

export const SOUNDINGS = {
  firing: {
    ...{ ...PROPOSED, ...nothing, state: 'firing', now: 'Brighter, until a frame opens the shadows.' },
    frames: [...frames.slice(0, 3), { number: 4, offset: 4, shutter: '1/4', lost: null }],
  },
  proposed: PROPOSED,
  short: {
    ...PROPOSED,
    proposal: proposal && {
      ...proposal,
      brightest: {
        ...{ ...proposal.brightest, isHeld: false },
        sentence:
          'Even in frame 10, the brightest (0.3 s), 2% of the picture is too dark, and the camera has no slower shutter: open up, or raise the ISO. Then sound again.',
      },
    },
  },
  sun: {
    ...{ ...PROPOSED, ...nothing, state: 'sun', error: 'sun-in-frame', frames: frames.slice(0, 3) },
    sentence:
      'The sun may be in the frame, so nothing more is fired: part of the picture is white even in a frame so dark that only the sun or its reflection can be. Put a certified solar filter in front of the lens, or keep the sun out of the frame. Never look at it through an optical finder; it burns eyes, sensor, shutter and iris.',
  },
  failed: {
    ...{ ...PROPOSED, ...nothing, state: 'failed', error: 'not-sounded' },
    sentence:
      'Every test frame is black, even the brightest: take the lens cap off, open up or raise the ISO, then sound again.',
  },
} as const satisfies Readonly<Record<string, SoundingView>>;

export const withSounding =
  (which: keyof typeof SOUNDINGS) =>
  (state: DaemonState): DaemonState => ({
    ...{ ...state, run: null, schedule: null, line: [] },
    sounding: SOUNDINGS[which] as SoundingView,
  });

/** Answers for the daemon with pictures of the scene: 1/1250 s and 0.3 s at f/8 and ISO 100. */
export const withTestFrames = (page: Page): Promise<unknown> =>
  page.route('**/api/sound/*/frames/*/thumbnail', async (route) => {
    const isDark = route.request().url().includes('/frames/6/');
    const body = await renderFrame({
      ...{ tv: sixths(isDark ? 62 : 10), av: sixths(36), iso: 100, biasSixths: sixths(0), picture: 'small' },
      ...{ takenAt: new Date(0), model: 'Practice', serial: '1', manual: true },
    });
    await route.fulfill({ body, contentType: 'image/jpeg' });
  });
