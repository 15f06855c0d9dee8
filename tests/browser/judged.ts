// Sets whose pictures were judged, as a daemon would tell of them: what they lack, what moved, how far the judging is. Whole frame is made up.
import type { Page } from 'playwright-core';
import type { LightView } from '../../shared/light.js';
import type { DaemonState, FrameView, RunView } from '../../shared/state.js';

export const withRun =
  (change: (run: RunView) => RunView) =>
  (state: DaemonState): DaemonState => {
    if (state.run === null) throw new Error('No set was fired.');
    return { ...state, run: change(state.run) };
  };
/** What is told while frames are still to come. */
export function soFar({ light, frames }: RunView, made: number): LightView | null {
  if (light === null || made === 0) return null;
  const sentence = `${made} of ${frames.length} pictures are judged so far: the last one shows what the set holds.`;
  return { ...light, sentence, coverage: null, again: [], proof: null };
}

export const withLight = (change: (light: LightView) => Partial<LightView>) =>
  withRun((run) => {
    if (run.light === null) throw new Error('No picture was judged.');
    return { ...run, light: { ...run.light, ...change(run.light) } };
  });

/** Both ends are left out, and by how much. */
export const lacking = withLight(({ coverage }) => {
  if (coverage === null) throw new Error('No picture was judged.');
  return {
    sentence:
      'Highlights and shadows are missing: 3% of the picture is too bright even in the darkest frame (about 2 stops darker would hold it), and 12% of the picture is too dark even in the brightest frame (about 1 stop brighter would hold it), not counting 3 small bright spots such as lamps or glints (0.02% of the picture).',
    coverage: {
      ...coverage,
      ...{ holds: false, isInStep: true },
      highlights: { share: 0.03, stops: 1.8, small: { count: 3, share: 0.0002 } },
      shadows: { share: 0.12, stops: 0.9, small: { count: 0, share: 0 } },
    },
  };
});

const MOVED: readonly (FrameView['marks'][number] & Pick<FrameView, 'number'>)[] = [
  {
    number: 4,
    code: 'camera-moved',
    sentence: 'The camera moved: this picture is shifted by about 3.2 pixels against most of the others.',
  },
  {
    number: 5,
    code: 'camera-moved',
    sentence: 'The camera moved: this picture is shifted by about 3.1 pixels against most of the others.',
  },
  {
    ...{ number: 5, code: 'less-sharp' as const },
    sentence:
      'It is softer than the sharpest frames, by a blur of about 2 pixels: check the focus, and that nothing shakes the camera.',
  },
  {
    ...{ number: 8, code: 'subject-moved' as const },
    sentence:
      'Something moved between frame 7 and this one, at the bottom on the right: 2% of what can be compared.',
  },
];
const withMoved = (frames: readonly FrameView[]): FrameView[] =>
  frames.map((frame) => ({
    ...frame,
    marks: MOVED.filter(({ number }) => number === frame.number).map(({ code, sentence }) => ({
      code,
      sentence,
    })),
  }));
export const moved = (state: DaemonState): DaemonState =>
  withRun((run) => ({ ...run, frames: withMoved(run.frames) }))(
    withLight(() => ({ again: [4, 5, 8] }))(state),
  );

/** The page is told the same of each set. */
export const setMoved = (page: Page) =>
  page.route(/\/api\/sets\/[^/?]+$/, async (route) => {
    const answer = await route.fetch();
    const set = await answer.json();
    const light = set.light === null ? null : { ...set.light, again: [4, 5, 8] };
    await route.fulfill({ response: answer, json: { ...set, light, frames: withMoved(set.frames) } });
  });
