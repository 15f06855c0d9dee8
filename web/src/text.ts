// Every English sentence and label of the panel, with those in the other text-*.ts. What the daemon says itself
// (reasons, warnings, how a run ended) arrives as it is to be shown and is not here.
import type { Least, ReleaseWay } from '../../shared/request.js';
import type { BodyView, FrameState, RunState } from '../../shared/state.js';
import type { Brackets } from './brackets.js';
import type { Counts } from './readiness.js';
import type { ReadingPart, Standing } from './readings.js';
import type { CircumstanceField, Mode } from './request.js';
import { accessText } from './text-access.js';
import { lightText } from './text-light.js';
import { phoneText } from './text-phone.js';
import { readingsText } from './text-readings.js';
import { scheduleText } from './text-schedule.js';
import { setLightText } from './text-set-light.js';
import { setsText } from './text-sets.js';
import { soundingText } from './text-sounding.js';
import { viewerText } from './text-viewer.js';
import {
  about,
  apertureAndIso,
  clock,
  count,
  frames,
  inOwnClock,
  passes,
  percent,
  shutter,
  smallPercent,
  unbroken,
} from './words.js';

/** @returns `2, 3 or 5` */
const oneOf = (words: readonly (number | string)[]) =>
  words.length < 2 ? words.join() : `${words.slice(0, -1).join(', ')} or ${words.at(-1)}`;

/** @returns `1/3 to 3`, `1/2 or 1`, `1` */
const fromTo = (words: readonly string[]) =>
  words.length > 2 ? `${words[0]} to ${words.at(-1)}` : oneOf(words);

/** @returns seconds to two digits: `32 s`, `0.28 s` */
const some = (seconds: number) => `${seconds.toLocaleString(undefined, { maximumSignificantDigits: 2 })} s`;

const byStops = (stops: number | null) =>
  stops === null ? '' : `, by about ${count(Math.max(1, Math.round(stops)), 'stop', 'stops')}`;

/** By so many frames at each end. */
const mayGrow = (extend: number) => `up to ${extend} more at each end`;

const modes: Readonly<Record<Mode, string>> = { manual: 'Manual mode', aperture: 'Aperture priority' };

const frameStates: Readonly<Record<FrameState, string>> = {
  planned: 'planned',
  armed: 'ready',
  fired: 'fired',
  stored: 'saved',
  verified: 'verified',
  rejected: 'rejected',
};

const runStates: Readonly<Record<RunState, string>> = {
  preparing: 'Preparing the camera',
  firing: 'Firing',
  'making-up': 'Reshooting frames',
  held: 'Paused',
  'putting-back': 'Restoring camera settings',
  complete: 'Set complete',
  stopped: 'Stopped',
  halted: 'Failed',
};

/**
 * A sentence of the daemon, with its moments as the browser writes them. A mixed number such as -1 1/2 must
 * not be broken at the end of a line.
 */
const said = (sentence: string) => inOwnClock(sentence).replace(/(\d) (\d\/\d)/g, '$1\u00a0$2');

export const text = {
  name: 'Evenrung',
  pages: 'Pages',
  said,
  frames,
  passes,
  about,
  shutter,
  frameStates,
  runStates,
  schedule: scheduleText,
  ...setsText,
  ...accessText,
  ...lightText,
  ...readingsText,
  ...soundingText,
  ...setLightText,
  ...viewerText,
  ...phoneText,

  more: 'Help with this',
  /** Links to pages of the notes, by their names. */
  pagesOn: {
    'real-camera': 'Connecting a camera',
    readiness: 'About these checks',
    schedules: 'How schedules work',
    phone: 'Pairing a phone',
    'finished-sets': 'Extending and copying sets',
    'set-folder': 'Inside the set folder',
  },

  unfinished: {
    heading: (scheduled: boolean) => (scheduled ? 'Interrupted schedule' : 'Interrupted set'),
    begun: (at: string) => `Started: ${at}.`,
    resume: 'Resume',
    end: (scheduled: boolean) => (scheduled ? 'End schedule' : 'End set'),
    lacking: (files: number) =>
      files === 1
        ? 'The file of a verified frame is missing or has changed. If you resume, the frame is reshot.'
        : `The files of ${files} verified frames are missing or have changed. If you resume, these frames are reshot.`,
    needsBody: 'Connect the camera to resume.',
  },

  trouble: { reconnecting: 'Reconnecting', waiting: 'Waiting' },

  connection: {
    connecting: 'Connecting',
    connected: 'Connected',
    lost: 'Not connected',
    lostSince: (at: Date) => `Not connected to Evenrung since ${clock(at)}.`,
    never: 'Evenrung does not answer.',
    stale: 'This page may be out of date.',
    runGoesOn: 'If Evenrung is still running on the laptop, firing goes on: check there.',
    retryIn: (seconds: number) => `Trying again in ${seconds} s.`,
    retrying: 'Trying again now.',
    tryNow: 'Try now',
  },

  body: {
    heading: 'Camera',
    looking: 'Looking for a camera',
    absent: 'No camera',
    practice: 'Practice camera: no real pictures.',
    practiceMore: 'Its pictures show an invented scene.',
    serial: (serial: string) => `serial ${serial}`,
    settings: apertureAndIso,
    lookAgain: 'Look for a camera',
    choose: 'Which camera?',
    use: (model: string, serial: string | null) =>
      serial === null ? `Use ${model}` : `Use ${model}, serial ${serial}`,
    about: 'About this camera',
    brackets: (brackets: readonly Brackets[]) =>
      brackets.length === 0
        ? 'No auto-bracket over the cable: the shutter is set for each frame.'
        : `Auto-bracket: ${brackets.map(({ frames, steps }) => `${oneOf(frames)} frames, ${fromTo(steps)} EV apart`).join('; ')}.`,
    longest: (seconds: number) =>
      unbroken(
        `Longest exposure over this cable: ${seconds < 10 ? some(seconds) : `${Math.round(seconds)} s`}.`,
      ),
    oneRelease: (mostInOneGo: number | null) =>
      `One release can fire a whole pass${mostInOneGo === null ? '' : `, up to ${mostInOneGo} frames`}.`,
    timing: ({ secondsPerFrame, secondsPerChange, secondsPerSetting, apart }: BodyView['timing']) =>
      [
        apart === null
          ? `Estimates allow ${some(secondsPerFrame)} per frame on top of its exposure`
          : `Estimates allow ${some(apart.secondsBeforeExposure)} before each exposure, ${some(apart.secondsAfterExposure)} after it, ${some(apart.secondsPerTransfer)} to fetch its file ${apart.secondsPerPiece === null ? 'before' : 'during'} the next frame`,
        `${some(secondsPerChange)} per setting change`,
        secondsPerSetting > 0 ? `${some(secondsPerSetting)} more for each value stepped through` : '',
      ]
        .filter((part) => part !== '')
        .join(', ')
        .concat('.'),
    knownFrom: {
      none: 'These are typical values, not measured on this camera.',
      written: 'Limits that cannot be read over the cable come from a hand-written profile.',
      learnt: 'Limits that cannot be read over the cable were measured on this camera.',
    },
    learn: { before: 'To measure this camera, run', command: 'evenrung learn', after: '.' },
  },

  readiness: {
    heading: 'Readiness',
    line: ({ stops, attention }: Counts) => {
      if (stops === 0 && attention === 0) return 'Ready';
      const problems = stops === 0 ? '' : count(stops, 'problem', 'problems');
      const things = stops === 0 ? count(attention, 'thing', 'things') : attention;
      const toCheck = attention === 0 ? '' : `${things} to check`;
      return [problems, toCheck].filter((part) => part !== '').join(', ');
    },
    fine: (number: number) => `${number} OK`,
    marks: { fine: 'OK:', attention: 'To check:', stops: 'Problem:' },
    open: 'To check',
    folded: 'OK',
    checkAgain: 'Check again',
    checking: 'Checking',
    checkedAt: (at: Date) => `Checked at ${clock(at)}`,
    setClock: 'Set camera clock',
    settingClock: 'Setting camera clock',
    moreStop: (number: number) => `${count(number, 'more problem', 'more problems')}.`,
  },

  ask: {
    heading: 'Set',
    frames: 'Frames',
    fewer: 'One fewer frame',
    more: 'One more frame',
    reaches: (darkest: string, brightest: string) =>
      darkest === brightest ? `${darkest} EV` : `${darkest} to ${brightest} EV`,
    ends: { brighter: 'Brighter end', darker: 'Darker end' },
    moreAt: { brighter: 'One more frame at the brighter end', darker: 'One more frame at the darker end' },
    fewerAt: {
      brighter: 'One fewer frame at the brighter end',
      darker: 'One fewer frame at the darker end',
    },
    endsWhy: 'Plus adds a frame at that end, minus removes one. The other frames stay.',
    evenly: 'Centre on base exposure',
    step: 'Step',
    steps: (ev: string) => `${ev} EV`,
    bracketed: "Camera's own steps",
    otherSteps: 'Other steps',
    base: 'Base exposure',
    wouldDo: 'Try instead:',
    changedElsewhere: 'Changed on another device.',
    unreadable: {
      frames: 'Enter the number of frames, such as 9.',
      settle: 'Enter a settling time from 0 to 60 seconds.',
      extend: 'Enter how many frames may be added at each end, from 0 to 60.',
      handHeldMm: 'Enter the focal length in millimetres, from 1 to 5000, or leave it blank.',
      lightEvPerMinute: 'Enter how many EV the light changes per minute, from 0 to 10, or leave it blank.',
      fileMegabytes: 'Enter the size of one file in megabytes, or leave it blank.',
      viewpoint: setsText.labels.unreadable,
      ...readingsText.readings.write,
    } satisfies Readonly<
      Record<
        ReadingPart | Standing | 'frames' | 'settle' | 'extend' | 'viewpoint' | CircumstanceField,
        string
      >
    >,
    metered: 'The camera meters it.',
    countsFrom: (label: string) => `Estimates assume ${shutter(label)}.`,
    seldom: (mode: Mode, settle: number | undefined, extend: number | undefined) =>
      [
        modes[mode],
        settle === undefined || settle === 0 ? 'no settling time' : `${settle} s settling time`,
        extend === undefined || extend === 0 ? '' : mayGrow(extend),
      ]
        .filter((part) => part !== '')
        .join(', '),
    mode: 'Mode',
    modes,
    moves: {
      manual: 'The shutter speed sets the exposure of each pass.',
      aperture: 'Exposure compensation sets the exposure of each pass.',
    },
    settle: 'Settling time (s)',
    settleWhy: 'The settling time before each pass lets vibration die down.',
    extend: 'Extra frames at each end, at most',
    extendWhy: 'Added to the set at once if its pictures lack detail at that end.',
    delay: 'Delay',
    delays: (seconds: number) => (seconds === 0 ? 'None' : `${seconds} s`),
  },

  glance: {
    set: (frameCount: number, step: string) =>
      frameCount === 1 ? frames(frameCount) : `${frames(frameCount)}, ${step} EV apart`,
    about: (darkest: string, brightest: string, base: string, settings: string) =>
      [
        darkest === brightest ? `${darkest} EV` : `${darkest} to ${brightest} EV`,
        base === '' ? '' : ` around ${shutter(base)}`,
        settings === '' ? '' : `, ${settings}`,
      ].join(''),
    mayGrow: (extend: number) => `If detail is missing, ${mayGrow(extend)}`,
    change: 'Edit set',
    done: 'Back',
  },

  circumstances: {
    line: (known: number) => (known === 0 ? 'Conditions' : `Conditions: ${known} given`),
    why: 'Leave a field blank if it does not apply.',
    handHeld: 'Handheld: focal length (mm)',
    handHeldWhy: 'Focal length: 35 mm equivalent, blank on a tripod.',
    mains: 'Flicker from mains lamps',
    mainsHz: { '': 'None', '50': '50 Hz', '60': '60 Hz' },
    light: 'Change of light (EV per minute)',
    noiseReduction: 'Long-exposure noise reduction',
    noiseReductions: { '': 'As set on the camera', yes: 'On', no: 'Off' },
    file: 'File size (MB)',
  },

  ways: {
    line: (least: Least, release: ReleaseWay | null) =>
      [
        least === 'time' ? 'Planned for shortest time' : 'Planned for smallest spread',
        release === 'pass' ? 'pass by pass' : '',
        release === 'frame' ? 'frame by frame' : '',
      ]
        .filter((part) => part !== '')
        .join(', '),
    least: 'Plan for',
    leasts: { time: 'Shortest time', spread: 'Smallest spread' },
    leastWhy: 'Spread is the time from the first opening of the shutter to the last closing.',
    release: 'Each release fires',
    releases: { frame: 'One frame', pass: 'A whole pass', whichever: 'Whichever spreads less' },
    releaseWhy:
      "One frame: each is verified before the next one is fired. A whole pass: fired at the camera's own speed, for moving subjects; its files are verified as they arrive, and missing frames are reshot afterwards.",
    inOneRelease: (passCount: number) => (passCount === 1 ? 'Fired in one release' : 'One release per pass'),
  },

  ladder: {
    heading: 'Ladder',
    rungs: 'Rungs, the brightest frame at the top',
    ev: (offset: string) => `${offset} EV`,
    span: (span: string, darkest: string, brightest: string) => `${span}, ${darkest} to ${brightest} EV`,
    size: (frameCount: number, passCount: number, seconds: number, spread: number | null) =>
      `${frames(frameCount)} in ${passes(passCount)}, ${about(seconds)}${spread === null ? '' : `, spread ${some(spread)}`}`,
    sizeOnly: (frameCount: number, passCount: number) => `${frames(frameCount)} in ${passes(passCount)}`,
    base: (label: string, settings: string) =>
      `Base exposure ${shutter(label)}${settings === '' ? '' : `, ${settings}`}`,
    legend: 'The number is the pass; its point marks the centre.',
    legendPlain: 'The number is the pass.',
    pass: (pass: number) => `Pass ${pass}`,
    centreOf: (pass: number) => `Centre of pass ${pass}`,
    takes: (actuations: number, gapSeconds: number, megabytes: number | null) =>
      [
        count(actuations, 'shutter actuation', 'shutter actuations'),
        gapSeconds > 0 ? `neighbouring frames at most ${Math.ceil(gapSeconds)} s apart` : '',
        megabytes === null ? '' : `${megabytes} MB`,
      ]
        .filter((part) => part !== '')
        .join(', '),
    notMade: 'not fired',
    ofSet: (ordinal: number) => `Set ${ordinal}`,
    brightest: 'Brightest',
    darkest: 'Darkest',
    warnings: 'Warnings',
    none: 'No plan yet.',
    refused: 'No plan for this set.',
    rung: (number: number, offset: string, shutterLabel: string, state: string, moved: string | null) =>
      `Frame ${number}, ${offset} EV, ${shutterLabel}, ${state}${moved === null ? '' : `, base exposure moved by ${moved} EV`}`,
    moved: (ev: string) => `Base exposure moved by ${ev} EV`,
    attempts: (attempts: number) => `fired ${attempts === 2 ? 'twice' : `${attempts} times`}`,
    picture: (number: number) => `Frame ${number}`,
    black: (of1: number) => `${percent(of1)} black`,
    blown: (of1: number) => `${percent(of1)} blown out`,
    share: percent,
    clipLegend: { black: 'black', blown: 'blown out (% of the frame)' },
  },

  trigger: {
    hold: (frameCount: number) => `Press and hold to fire ${frames(frameCount)}`,
    size: (passCount: number, release: ReleaseWay, seconds: number, delay: number) =>
      [
        release === 'frame' ? `in ${passes(passCount)}` : `in ${count(passCount, 'release', 'releases')}`,
        about(seconds),
        delay === 0 ? '' : `starts in ${delay} s`,
      ]
        .filter((part) => part !== '')
        .join(', '),
    space: 'or hold the space bar',
    holding: 'Keep holding',
    again: 'Press again to fire',
    tooShort: 'Keep holding until the bar is full.',
    starting: 'Starting',
    planning: 'Planning',
    refused: 'Change the set first',
    notConnected: 'Not connected to Evenrung',
    notReady: 'Not ready to fire',
    checkAgain: 'Press to check again',
    readCamera: 'Check camera',
    handDone: 'Done',
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
    stopping: 'Stopping after this frame',
    hold: 'Pause',
    letGo: 'Resume',
    holding: 'Pausing after this frame',
    heldWhy: 'Nothing is fired until someone resumes.',
    beginsIn: (seconds: number) => `Fires in ${seconds} s`,
    startedBy: (name: string) => `Started from ${name}`,
    /** @param kept null if there is no set folder */
    nothingMore: (kept: number | null) =>
      [
        'Firing has stopped.',
        kept === 0 ? 'No frame was verified.' : '',
        kept === null || kept === 0
          ? ''
          : `${count(kept, 'verified frame is', 'verified frames are')} in the set folder.`,
      ]
        .filter((part) => part !== '')
        .join(' '),
    /** @param stops by which that end would have to go on, about; null if nothing tells */
    lost: {
      black: (of1: number, stops: number | null) =>
        `Shadows still black: ${smallPercent(of1)} of the brightest frame${byStops(stops)}.`,
      blown: (of1: number, stops: number | null) =>
        `Highlights still blown out: ${smallPercent(of1)} of the darkest frame${byStops(stops)}.`,
    },
    wouldHold: {
      black: 'Brighter frames would hold them.',
      blown: 'Darker frames would hold them.',
    },
    addLacking: (darker: number, brighter: number) => {
      if (darker + brighter === 1) return `Add a ${darker === 1 ? 'darker' : 'brighter'} frame`;
      if (darker === 1 && brighter === 1) return 'Add a darker and a brighter frame';
      const ends = [darker === 0 ? '' : `${darker} darker`, brighter === 0 ? '' : `${brighter} brighter`];
      return `Add ${ends.filter((part) => part !== '').join(' and ')} frames`;
    },
    folder: 'Set folder',
    folderOfSets: 'Set folders',
    newSet: 'New set',
    notes: 'Notes',
  },

  failures: {
    noAnswer: 'Evenrung did not answer.',
    noAnswerToRun: 'No answer from Evenrung. Firing may have started anyway: check before you fire again.',
    unreadable: (status: number) => `Unexpected answer from Evenrung (${status}).`,
  },
} as const;
