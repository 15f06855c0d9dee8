// Every English sentence and label of the panel. What the daemon says itself (reasons, warnings, how a run ended) arrives
// as it is to be shown and is not here.
import type { FrameState, RunState } from '../../shared/state.js';

const count = (number: number, one: string, many: string) => `${number} ${number === 1 ? one : many}`;

const frames = (number: number) => count(number, 'frame', 'frames');
const passes = (number: number) => count(number, 'pass', 'passes');

/** @returns `under 1 s`, `about 6 s`, `about 2 min 5 s` */
function about(seconds: number): string {
  if (seconds < 1) return 'under 1 s';
  const whole = Math.ceil(seconds);
  if (whole < 100) return `about ${whole} s`;
  const rest = whole % 60;
  return `about ${Math.floor(whole / 60)} min${rest === 0 ? '' : ` ${rest} s`}`;
}

const shutter = (label: string) => (/\d$/.test(label) ? `${label} s` : label);
const share = (of1: number) => `${of1 < 0.01 ? (of1 * 100).toFixed(1) : Math.round(of1 * 100)} %`;
const clock = (at: Date) =>
  at.toLocaleTimeString('en-GB', { hour: '2-digit', minute: '2-digit', second: '2-digit' });

const frameStates: Readonly<Record<FrameState, string>> = {
  planned: 'planned',
  armed: 'armed',
  fired: 'fired',
  stored: 'stored',
  verified: 'verified',
  rejected: 'rejected',
};

const runStates: Readonly<Record<RunState, string>> = {
  preparing: 'Getting the body ready',
  firing: 'Firing',
  'making-up': 'Making up frames',
  'putting-back': 'Putting the settings back',
  complete: 'Set complete',
  stopped: 'Stopped',
  halted: 'Halted',
};

/** A mixed number such as -1 1/2 must not fall apart at the end of a line. */
const together = (sentence: string) => sentence.replace(/(\d) (\d\/\d)/g, '$1\u00a0$2');

export const text = {
  name: 'Evenrung',
  together,
  frames,
  passes,
  about,
  shutter,
  frameStates,
  runStates,

  connection: {
    connecting: 'Connecting',
    connected: 'Connected',
    lost: 'Not connected',
    lostSince: (at: Date) => `Not connected to the daemon since ${clock(at)}.`,
    never: 'The daemon does not answer.',
    stale: 'What you see may be out of date.',
    runGoesOn: 'If the daemon is still running, so is the run: look at the laptop.',
    retryIn: (seconds: number) => `Trying again in ${seconds} s.`,
    retrying: 'Trying again now.',
    tryNow: 'Try now',
  },

  body: {
    heading: 'Body',
    looking: 'Looking for a camera',
    absent: 'No camera',
    practice: 'Practice body: nothing is being photographed.',
    practiceMore: 'Its frames show an invented scene.',
    serial: (serial: string) => `serial ${serial}`,
    settings: (aperture: string | null, iso: string | null) =>
      [
        aperture === null ? null : `f/${aperture.replace(/^f\/?/i, '')}`,
        iso === null ? null : `ISO ${iso.replace(/^iso\s*/i, '')}`,
      ]
        .filter((part) => part !== null)
        .join(', '),
    lookAgain: 'Look for a camera again',
  },

  ask: {
    heading: 'The set',
    frames: 'Frames',
    fewer: 'One frame fewer',
    more: 'One frame more',
    step: 'Step',
    steps: (ev: string) => `${ev} EV`,
    bracketed: 'Steps of this body',
    otherSteps: 'Other steps',
    base: 'Base',
    wouldDo: 'What would do:',
    framesUnreadable: 'Write the number of frames, for example 9.',
  },

  ladder: {
    heading: 'Ladder',
    rungs: 'Rungs, the lightest frame at the top',
    ev: (offset: string) => `${offset} EV`,
    span: (span: string, darkest: string, lightest: string) =>
      `Span ${span} EV, from ${darkest} to ${lightest} EV`,
    size: (frameCount: number, passCount: number, seconds: number) =>
      `${frames(frameCount)} in ${passes(passCount)}, ${about(seconds)}`,
    sizeOnly: (frameCount: number, passCount: number) => `${frames(frameCount)} in ${passes(passCount)}`,
    base: (label: string, settings: string) =>
      `Base ${shutter(label)}${settings === '' ? '' : `, ${settings}`}`,
    legend: 'The number at the side is the pass; its point marks the centre.',
    legendPlain: 'The number at the side is the pass.',
    pass: (pass: number) => `Pass ${pass}`,
    centreOf: (pass: number) => `Centre of pass ${pass}`,
    takes: (actuations: number, gapSeconds: number, megabytes: number | null) =>
      [
        count(actuations, 'shutter actuation', 'shutter actuations'),
        gapSeconds > 0 ? `neighbours at most ${Math.ceil(gapSeconds)} s apart` : '',
        megabytes === null ? '' : `${megabytes} MB`,
      ]
        .filter((part) => part !== '')
        .join(', '),
    lightest: 'Lightest',
    darkest: 'Darkest',
    warnings: 'Warnings',
    none: 'No plan yet.',
    refused: 'No ladder for this request.',
    rung: (number: number, offset: string, shutterLabel: string, state: string) =>
      `Frame ${number}, ${offset} EV, ${shutterLabel}, ${state}`,
    attempts: (attempts: number) => `${attempts} attempts`,
    picture: (number: number) => `Frame ${number} as it came back`,
    black: (of1: number) => `Even here ${share(of1)} is black`,
    blown: (of1: number) => `Even here ${share(of1)} is blown out`,
  },

  trigger: {
    hold: (frameCount: number) => `Hold to fire ${frames(frameCount)}`,
    size: (passCount: number, seconds: number) => `in ${passes(passCount)}, ${about(seconds)}`,
    holding: 'Keep holding',
    again: 'Press once more to fire',
    tooShort: 'Hold until the bar is full.',
    starting: 'Starting the run',
    planning: 'Planning',
    refused: 'Change the request first',
    notConnected: 'Not connected to the daemon',
  },

  run: {
    lastKnown: (state: RunState) => `Last known: ${runStates[state]}`,
    pass: (pass: number, of: number) => `Pass ${pass} of ${of}`,
    made: (made: number, of: number) => `${made} of ${of} frames verified`,
    now: (number: number, offset: string, shutterLabel: string) =>
      `Frame ${number}, ${offset} EV, ${shutter(shutterLabel)}`,
    left: (seconds: number) => `${about(seconds)} left`,
    progress: 'Frames verified',
    stop: 'Stop',
    stopping: 'Stopping after the frame in hand',
    folder: 'Set folder',
    newSet: 'New set',
  },

  failures: {
    noAnswer: 'The daemon did not answer.',
    noAnswerToRun:
      'No answer came from the daemon. The run may have begun all the same: look before you fire again.',
    unreadable: (status: number) => `The daemon answered with ${status} and nothing that could be read.`,
  },
} as const;
