// How far a run is, as the panel reckons it from the frames alone.
import { expect, it } from 'vitest';
import type { RunView } from '../../shared/state.js';
import { progressOf } from '../../web/src/progress.js';

/** @param states of frames of 1 s each, in two passes whose plan takes 12 s */
function runOf(
  state: RunView['state'],
  passes: RunView['passes'],
  states: RunView['frames'][number]['state'][],
) {
  const frames = states.map((of, index) => ({ number: index + 1, state: of, exposureTime: 1 }));
  return { state, passes, frames, plan: { estimate: { seconds: 12 } } } as unknown as RunView;
}

it('the pass is the one in hand, and what is left goes by the frames that are not there yet', () => {
  const run = runOf(
    'firing',
    ['done', 'firing'],
    ['verified', 'verified', 'verified', 'armed', 'planned', 'planned'],
  );
  expect(progressOf(run, 0.5)).toMatchObject({
    pass: 2,
    passes: 2,
    verified: 3,
    frames: 6,
    secondsLeft: 5.5,
  });
  expect(progressOf(run, 0.5).frame?.number).toBe(4);
});

it('while frames are made up there is no pass in hand, though the one that was cut off stands open', () => {
  const run = runOf('making-up', ['firing', 'planned'], ['verified', 'armed', 'planned']);
  expect(progressOf(run, 0).pass).toBeNull();
});

it('where one release fires a whole pass, time passes for all that are in hand once', () => {
  const run = runOf(
    'firing',
    ['firing', 'planned'],
    ['fired', 'fired', 'fired', 'planned', 'planned', 'planned'],
  );
  // A second beside each exposure: half of it is left for each that was fired, and two seconds for each that is to come.
  expect(progressOf(run, 0).secondsLeft).toBe(3 * 0.5 + 3 * 2);
  expect(progressOf(run, 1).secondsLeft).toBe(3 * 0.5 - 1 + 3 * 2);
  expect(progressOf(run, 60).secondsLeft).toBe(3 * 2);
});
