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
  held: 'Held',
  'putting-back': 'Putting the settings back',
  complete: 'Set complete',
  stopped: 'Stopped',
  halted: 'Halted',
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

  more: 'More about this',
  /** Links to pages of the notes, by their names. */
  pagesOn: {
    'real-camera': 'How a camera is connected',
    readiness: 'Why each item is there',
    schedules: 'How schedules work',
    phone: 'How a phone is paired',
    'finished-sets': 'How sets are extended and copied',
    'set-folder': 'What the folder contains',
  },

  unfinished: {
    heading: (scheduled: boolean) => (scheduled ? 'A schedule was cut off' : 'A set was cut off'),
    begun: (at: string) => `It was begun at ${at}.`,
    resume: 'Go on with it',
    end: 'End it',
    lacking: (files: number) =>
      files === 1
        ? 'The file of a verified frame is missing, or was changed. If you go on, the frame is made again.'
        : `The files of ${files} verified frames are missing, or were changed. If you go on, these frames are made again.`,
    needsBody: 'To go on, the camera has to be found first.',
  },

  trouble: { reconnecting: 'Reconnecting', waiting: 'Waiting' },

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
    settings: apertureAndIso,
    lookAgain: 'Look for a camera again',
    choose: 'Which camera?',
    use: (model: string, serial: string | null) =>
      serial === null ? `Use ${model}` : `Use ${model}, serial ${serial}`,
    about: 'About this body',
    brackets: (brackets: readonly Brackets[]) =>
      brackets.length === 0
        ? 'It has no auto-bracket that can be used over the cable: the shutter is set for every frame.'
        : `Brackets ${brackets.map(({ frames, steps }) => `${oneOf(frames)} frames, ${fromTo(steps)} EV apart`).join('; ')}.`,
    longest: (seconds: number) =>
      `The longest exposure whose file comes back is ${seconds < 10 ? some(seconds) : `${Math.round(seconds)} s`}.`,
    oneRelease: (mostInOneGo: number | null) =>
      `One release can fire a whole pass${mostInOneGo === null ? '' : `, ${mostInOneGo} frames at most`}.`,
    timing: ({ secondsPerFrame, secondsPerChange, secondsPerSetting, apart }: BodyView['timing']) =>
      [
        apart === null
          ? `Plans count ${some(secondsPerFrame)} a frame beside its exposure`
          : `Plans count ${some(apart.secondsBeforeExposure)} before each exposure, ${some(apart.secondsAfterExposure)} after it, ${some(apart.secondsPerTransfer)} for its file ${apart.secondsPerPiece === null ? 'before' : 'while'} the next frame is made`,
        `${some(secondsPerChange)} for each change of a setting`,
        secondsPerSetting > 0 ? `${some(secondsPerSetting)} more for every setting on the way` : '',
      ]
        .filter((part) => part !== '')
        .join(', ')
        .concat('.'),
    knownFrom: {
      none: 'That is assumed, not learnt from this body.',
      written: 'What the cable does not tell comes from a profile that was written by hand.',
      learnt: 'What the cable does not tell was learnt from this body.',
    },
    learn: { before: 'The command', command: 'evenrung learn', after: 'finds it out.' },
  },

  readiness: {
    heading: 'Readiness',
    line: ({ stops, attention }: Counts) => {
      if (stops === 0 && attention === 0) return 'Ready';
      const look = attention === 0 ? '' : `${attention} ${attention === 1 ? 'wants' : 'want'} a look`;
      if (stops > 0) {
        const first = `${count(stops, 'thing stops', 'things stop')} the run`;
        return look === '' ? first : `${first}, ${look}`;
      }
      return `${count(attention, 'thing wants', 'things want')} a look`;
    },
    fine: (number: number) => `${number} ${number === 1 ? 'is' : 'are'} fine`,
    marks: { fine: 'Fine:', attention: 'Wants a look:', stops: 'Stops the run:' },
    open: 'What to see to',
    folded: 'What is fine',
    checkAgain: 'Check again',
    checking: 'Checking',
    checkedAt: (at: Date) => `Checked at ${clock(at)}`,
    setClock: 'Set its clock',
    settingClock: 'Setting its clock',
    moreStop: (number: number) => `${count(number, 'more thing stops', 'more things stop')} the run.`,
  },

  ask: {
    heading: 'The set',
    frames: 'Frames',
    fewer: 'One frame fewer',
    more: 'One frame more',
    reaches: (darkest: string, brightest: string) =>
      darkest === brightest ? `At ${darkest} EV` : `From ${darkest} to ${brightest} EV`,
    ends: { brighter: 'Brighter end', darker: 'Darker end' },
    moreAt: { brighter: 'One frame more at the brighter end', darker: 'One frame more at the darker end' },
    fewerAt: {
      brighter: 'One frame fewer at the brighter end',
      darker: 'One frame fewer at the darker end',
    },
    endsWhy: 'Plus adds a frame at that end, minus takes one away. The other frames stay.',
    evenly: 'Even about the base',
    step: 'Step',
    steps: (ev: string) => `${ev} EV`,
    bracketed: 'Steps of this body',
    otherSteps: 'Other steps',
    base: 'Base',
    wouldDo: 'What would do:',
    changedElsewhere: 'This was changed on another device.',
    unreadable: {
      frames: 'Write the number of frames, for example 9.',
      settle: 'Write how many seconds to wait before each pass, from 0 to 60.',
      extend: 'Write how many frames may be added at each end, from 0 to 60.',
      handHeldMm: 'Write the focal length in millimetres, from 1 to 5000, or nothing.',
      lightEvPerMinute: 'Write by how many EV the light changes in a minute, from 0 to 10, or nothing.',
      fileMegabytes: 'Write how many megabytes a file has, or nothing.',
      viewpoint: setsText.labels.unreadable,
      ...readingsText.readings.write,
    } satisfies Readonly<
      Record<
        ReadingPart | Standing | 'frames' | 'settle' | 'extend' | 'viewpoint' | CircumstanceField,
        string
      >
    >,
    metered: 'The body meters it.',
    countsFrom: (label: string) => `Times are counted from ${shutter(label)}.`,
    seldom: (mode: Mode, settle: number | undefined, extend: number | undefined) =>
      [
        modes[mode],
        settle === undefined || settle === 0 ? 'no wait before a pass' : `${settle} s wait before each pass`,
        extend === undefined || extend === 0 ? '' : mayGrow(extend),
      ]
        .filter((part) => part !== '')
        .join(', '),
    mode: 'Mode',
    modes,
    moves: {
      manual: 'The shutter moves the centre of each pass.',
      aperture: 'Exposure compensation moves the centre of each pass.',
    },
    settle: 'Wait, in seconds',
    settleWhy: 'The wait before each pass lets a trembling tripod come to rest.',
    extend: 'Frames to add at each end, at most',
    extendWhy:
      'They are fired into the set at once, if its pictures show that something is missing at that end.',
    delay: 'First frame',
    delays: (seconds: number) => (seconds === 0 ? 'At once' : `After ${seconds} s`),
  },

  glance: {
    set: (frameCount: number, step: string) =>
      frameCount === 1 ? frames(frameCount) : `${frames(frameCount)}, ${step} EV apart`,
    about: (darkest: string, lightest: string, base: string, settings: string) =>
      [
        darkest === lightest ? `${darkest} EV` : `From ${darkest} to ${lightest} EV`,
        base === '' ? '' : ` about ${shutter(base)}`,
        settings === '' ? '' : `, ${settings}`,
      ].join(''),
    mayGrow: (extend: number) => `If something is missing, ${mayGrow(extend)}`,
    change: 'Change what is fired',
    done: 'Back to the bar',
  },

  circumstances: {
    line: (known: number) =>
      known === 0 ? 'Circumstances' : `Circumstances: ${count(known, 'thing', 'things')} known`,
    why: 'What is left empty is not judged.',
    handHeld: 'Held by hand, focal length in mm',
    handHeldWhy: 'As on a 35 mm frame; empty on a tripod.',
    mains: 'Mains light',
    mainsHz: { '': 'None', '50': '50 Hz', '60': '60 Hz' },
    light: 'Light changes, EV a minute',
    noiseReduction: 'Dark frame after long exposures',
    noiseReductions: { '': 'As the body tells', yes: 'Yes', no: 'No' },
    file: 'One file, in MB',
  },

  ways: {
    line: (least: Least, release: ReleaseWay | null) =>
      [
        least === 'time' ? 'Planned for the least time' : 'Planned for the least spread',
        release === 'pass' ? 'pass by pass' : '',
        release === 'frame' ? 'frame by frame' : '',
      ]
        .filter((part) => part !== '')
        .join(', '),
    least: 'Keep short',
    leasts: { time: 'The time that the set takes', spread: 'The spread of its exposures' },
    leastWhy: 'The spread is the time from the first opening of the shutter to the last closing.',
    release: 'One release fires',
    releases: { frame: 'One frame', pass: 'A whole pass', whichever: 'Whichever has less spread' },
    releaseWhy:
      'One frame: each is proved before the next one is fired. A whole pass: fired at the speed of the camera, for what moves; its files are proved as they come, and what is missing is made up afterwards.',
    inOneRelease: (passCount: number) =>
      passCount === 1 ? 'The pass takes one release' : 'Each pass takes one release',
  },

  ladder: {
    heading: 'Ladder',
    rungs: 'Rungs, the lightest frame at the top',
    ev: (offset: string) => `${offset} EV`,
    span: (span: string, darkest: string, lightest: string) =>
      `Span ${span} EV, from ${darkest} to ${lightest} EV`,
    size: (frameCount: number, passCount: number, seconds: number, spread: number | null) =>
      `${frames(frameCount)} in ${passes(passCount)}, ${about(seconds)}${spread === null ? '' : `, spread ${some(spread)}`}`,
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
        gapSeconds > 0 ? `frames next to each other at most ${Math.ceil(gapSeconds)} s apart in time` : '',
        megabytes === null ? '' : `${megabytes} MB`,
      ]
        .filter((part) => part !== '')
        .join(', '),
    notMade: 'not made',
    ofSet: (ordinal: number) => `Set ${ordinal}`,
    lightest: 'Lightest',
    darkest: 'Darkest',
    warnings: 'Warnings',
    none: 'No plan yet.',
    refused: 'No ladder for this request.',
    rung: (number: number, offset: string, shutterLabel: string, state: string, moved: string | null) =>
      `Frame ${number}, ${offset} EV, ${shutterLabel}, ${state}${moved === null ? '' : `, base moved by ${moved} EV`}`,
    moved: (ev: string) => `Base moved by ${ev} EV`,
    attempts: (attempts: number) => `fired ${attempts === 2 ? 'twice' : `${attempts} times`}`,
    picture: (number: number) => `Frame ${number} as it came back`,
    black: (of1: number) => `${percent(of1)} black`,
    blown: (of1: number) => `${percent(of1)} blown out`,
    share: percent,
    clipLegend: { black: 'black', blown: 'blown out, as a share of the frame' },
  },

  trigger: {
    hold: (frameCount: number) => `Hold to fire ${frames(frameCount)}`,
    size: (passCount: number, release: ReleaseWay, seconds: number, delay: number) =>
      [
        release === 'frame' ? `in ${passes(passCount)}` : `in ${count(passCount, 'release', 'releases')}`,
        about(seconds),
        delay === 0 ? '' : `from ${delay} s on`,
      ]
        .filter((part) => part !== '')
        .join(', '),
    space: 'or hold the space bar',
    holding: 'Keep holding',
    again: 'Press once more to fire',
    tooShort: 'Hold until the bar is full.',
    starting: 'Starting the run',
    planning: 'Planning',
    refused: 'Change the request first',
    notConnected: 'Not connected to the daemon',
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
    stopping: 'Stopping after the frame in hand',
    hold: 'Hold',
    letGo: 'Go on',
    holding: 'Holding after the frame in hand',
    heldWhy: 'Nothing is fired until somebody lets it go on.',
    beginsIn: (seconds: number) => `Fires in ${seconds} s`,
    startedBy: (name: string) => `Fired by ${name}`,
    /** @param kept null if there is no set folder */
    nothingMore: (kept: number | null) =>
      [
        'Nothing more is fired.',
        kept === 0 ? 'No frame is verified.' : '',
        kept === null || kept === 0
          ? ''
          : `${count(kept, 'verified frame is', 'verified frames are')} kept in the set folder.`,
      ]
        .filter((part) => part !== '')
        .join(' '),
    /** @param stops by which that end would have to go on, about; null if nothing tells */
    lost: {
      black: (of1: number, stops: number | null) =>
        `Even the lightest frame has ${smallPercent(of1)} black${byStops(stops)}.`,
      blown: (of1: number, stops: number | null) =>
        `Even the darkest frame has ${smallPercent(of1)} blown out${byStops(stops)}.`,
    },
    wouldHold: {
      black: 'More frames on the lighter side would hold it.',
      blown: 'More frames on the darker side would hold it.',
    },
    addLacking: (darker: number, brighter: number) => {
      if (darker + brighter === 1) return `Add a ${darker === 1 ? 'darker' : 'brighter'} frame`;
      if (darker === 1 && brighter === 1) return 'Add a darker and a brighter frame';
      const ends = [darker === 0 ? '' : `${darker} darker`, brighter === 0 ? '' : `${brighter} brighter`];
      return `Add ${ends.filter((part) => part !== '').join(' and ')} frames`;
    },
    folder: 'Set folder',
    folderOfSets: 'The set folders are in',
    newSet: 'New set',
    notes: 'Notes',
  },

  failures: {
    noAnswer: 'The daemon did not answer.',
    noAnswerToRun:
      'No answer came from the daemon. The run may have begun all the same: look before you fire again.',
    unreadable: (status: number) => `The daemon answered with ${status} and nothing that could be read.`,
  },
} as const;
