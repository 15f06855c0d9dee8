// Vibrates at the end of a set, on a device that fired it or is to call for somebody: in one way for a
// complete set, in another for one that is not. Each end vibrates once; if the alarm vibrates for it, that is
// enough. Must know nothing of the screen.
import { effect } from '@preact/signals';
import { ENDED } from '../../shared/fold.js';
import { call, canTremble, isAllowed } from './alarm.js';
import { daemon, firedHere, type View, view } from './store.js';

const COMPLETE_MS = [60];
const ENDED_EARLY_MS = [150, 100, 150];

/** The set that was last seen under way. */
let underWay: string | null = null;
/**
 * The run, and whether a set of it has just been reported as ended early: then the end of the run is not a
 * second event.
 */
let run: string | null = null;
let isTold = false;

effect(() => {
  const shown = view.value;
  if (daemon.value === null || shown.name === 'ask') return;
  const mayTremble = isAllowed.value || firedHere.value === shown.id;
  const inHand = shown.run;
  if (shown.name === 'running') run = shown.id;
  if (inHand !== null && !ENDED.has(inHand.state)) {
    underWay = inHand.set.id;
    isTold = false;
    return;
  }
  if (inHand !== null && inHand.set.id === underWay) {
    underWay = null;
    isTold = inHand.state !== 'complete';
    tremble(isTold ? ENDED_EARLY_MS : COMPLETE_MS, mayTremble);
  }
  if (shown.name !== 'ended' || run !== shown.id) return;
  run = null;
  if (!isTold && endsEarly(shown)) tremble(ENDED_EARLY_MS, mayTremble);
});

/** A schedule may end between its sets. */
const endsEarly = ({ schedule }: Extract<View, { name: 'ended' }>) =>
  schedule !== null && schedule.state !== 'complete';

function tremble(pattern: number[], mayTremble: boolean): void {
  if (!canTremble || !mayTremble) return;
  // The alarm is raised at the same moment at which the end is told.
  queueMicrotask(() => {
    if (isAllowed.peek() && call.peek() !== null) return;
    // Browsers complain of who tries before the page was touched.
    if (navigator.userActivation?.hasBeenActive !== false) navigator.vibrate(pattern);
  });
}
