// What the panel says of runs on a schedule, of what is left for them, and of the alarm.
import { formatDuration } from '../../shared/duration.js';
import type { SunEvent } from '../../shared/schedule.js';
import type { ScheduleState } from '../../shared/state.js';
import { USUAL_SPAN } from '../../shared/usual-span.js';
import type { Watch, WatchMark } from '../../shared/watch.js';
import type { ScheduleField, Unit } from './schedule-form.js';
import type { Went } from './time-line.js';
import { apertureAndIso, count, percent, sets, shutter, unbroken } from './words.js';

const suns: Readonly<Record<SunEvent, string>> = {
  sunset: 'Sunset',
  dusk: 'Dusk (civil)',
  'nautical dusk': 'Dusk (nautical)',
  'nautical dawn': 'Dawn (nautical)',
  dawn: 'Dawn (civil)',
  sunrise: 'Sunrise',
};

const units: Readonly<Record<Unit, string>> = { s: 'seconds', min: 'minutes', h: 'hours' };

const states: Readonly<Record<ScheduleState, string>> = {
  waiting: 'Waiting for the next set',
  firing: 'Firing',
  held: 'Held: slots pass',
  complete: 'Schedule done',
  stopped: 'Schedule stopped',
  halted: 'Schedule halted',
};

const went: Readonly<Record<Went, string>> = {
  complete: 'complete',
  incomplete: 'incomplete',
  missed: 'missed',
  'in-hand': 'in hand',
  'to-come': 'to come',
  'not-made': 'not made',
};

const whatIsLeft: Readonly<Record<keyof Watch, string>> = {
  disk: 'Disk',
  card: 'Card',
  battery: 'Battery',
};

const leftMarks: Readonly<Record<WatchMark, string>> = {
  fine: 'Fine:',
  low: 'Low:',
  'too-low': 'Too low:',
};

const unreadable: Readonly<Record<ScheduleField, string>> = {
  every: 'Write how long it is from one set to the next, for example 4 minutes.',
  count: 'Write how many sets, for example 60.',
  until: 'Write the time of day at which the sets end, or how many minutes from the sun.',
  start: 'Write the time of day at which the sets begin, or how many minutes from the sun.',
  place: 'Write both in decimal degrees, for example 47.5 and 8.5; south and west are negative.',
  overrun: 'Say what happens when a set outlasts its slot.',
  slowest: 'Choose the slowest shutter.',
  fastest: 'Choose the fastest shutter.',
  iso: 'Write both ends of the ISO range, or neither.',
  mostPerSet: 'Choose how far the base may move from one set to the next.',
  fewestFrames: 'Write how many frames a set has at least, 1 to 61, or nothing.',
  mostFrames: 'Write how many frames a set may have, 1 to 61, or nothing.',
  framesChange: 'Write how many frames may come and go from one set to the next, 1 to 61, or nothing.',
  followSpan: 'Say whether the span follows the scene.',
};

export const scheduleText = {
  states,
  went,
  form: {
    line: (on: boolean, every: string, unit: Unit) =>
      on
        ? `Again every ${every} ${Number(every) === 1 ? units[unit].slice(0, -1) : units[unit]}`
        : 'One set, now',
    on: 'Make the set again and again',
    every: 'Every',
    units,
    unit: 'Unit of the interval',
    starts: 'Begin',
    ends: 'End',
    now: 'Now',
    afterCount: 'By count',
    atTime: 'At a time',
    suns,
    time: 'Time of day',
    count: 'Sets',
    shift: 'Minutes',
    side: 'Before or after',
    sides: { before: 'before it', after: 'after it' },
    place: 'Place',
    latitude: 'Latitude, north',
    longitude: 'Longitude, east',
    placeWhy: 'For sunrise, sunset and twilight. It stays in this browser and in the record of the run.',
    ownPlace: 'Use the position of this device',
    askingPlace: 'Asking for the position',
    overrun: 'When a set takes longer than its slot',
    overruns: { skip: 'Wait for the next slot', follow: 'Begin the next one at once' },
    maySleep: 'The camera may fall asleep in between, and wakes when it is called',
    follows: 'The base follows the light',
    followsWhy: (hasAperture: boolean) =>
      `From set to set by shutter first, then by ISO.${hasAperture ? ' The aperture stays.' : ''}`,
    meters: 'In aperture priority the camera follows the light by itself.',
    slowest: 'Slowest shutter',
    fastest: 'Fastest shutter',
    noLimit: 'Any',
    isoFrom: 'ISO from',
    isoTo: 'to',
    isoWhy: 'Left empty, ISO stays.',
    mostPerSet: 'At most from set to set',
    spanFollows: 'The span follows the scene',
    spanFollowsWhy:
      'An end that has lost something gets more frames in the next set. An end frame that holds nothing by itself in two sets in a row is left out.',
    framesFewest: 'Fewest frames',
    framesMost: 'Most frames',
    framesChange: 'Frames that may change at once',
    framesWhy: `Left empty: ${USUAL_SPAN.fewestFrames}, ${USUAL_SPAN.moreFrames} more than the first set, and ${USUAL_SPAN.mostPerSet}.`,
    takeShortest: (seconds: number) => `Every ${formatDuration(seconds)}`,
    unreadable,
    noPosition: {
      insecure:
        'This browser tells its position only on the computer that runs Evenrung, or over https: type the place.',
      refused: 'This browser may not tell its position: allow it there, or type the place.',
      unknown: 'This device does not know its position: type the place.',
    },
  },
  foreseen: {
    heading: 'What the schedule takes',
    asking: 'Working out the schedule',
    sets: 'Sets',
    ends: 'Ends about',
    releases: 'Shutter releases',
    storage: 'Storage',
    noSize: 'Not known',
    caution: 'Mind',
    beforeSunrise: 'Stop before sunrise',
    unattended: 'Before you leave it alone',
    endAt: (until: string) => `End at ${until}`,
  },
  trigger: {
    hold: (number: number) => `Hold to fire ${sets(number)}`,
    size: (frameCount: string, everySeconds: number, ends: string) =>
      `${frameCount} every ${formatDuration(everySeconds)}, done about ${ends}`,
    planning: 'Working out the schedule',
    refused: 'Change the schedule first',
  },
  line: {
    heading: 'Time line',
    size: (number: number, everySeconds: number) =>
      `${sets(number)}, one every ${formatDuration(everySeconds)}`,
    counts: (counts: Readonly<Record<Went, number>>) =>
      (Object.keys(went) as Went[])
        .filter((name) => counts[name] > 0)
        .map((name) => `${counts[name]} ${went[name]}`)
        .join(', '),
    before: (number: number) => `${count(number, 'earlier slot is', 'earlier slots are')} not shown.`,
    behind: (number: number) => `${count(number, 'later slot is', 'later slots are')} not shown.`,
    higher: 'The higher a mark, the more light its base lets in.',
    base: (shutterLabel: string, iso: string | null) =>
      [shutter(shutterLabel), apertureAndIso(null, iso)].filter((part) => part !== '').join(', '),
    baseMoved: (ev: string) => `${ev} EV since the first set shown`,
    shift: (ev: string) => `${ev} EV`,
    each: 'Set by set',
    verified: (verified: number, of: number) => `${verified} of ${of}`,
    set: (ordinal: number) => `Set ${ordinal}`,
    slot: (slot: number) => `Slot ${slot + 1}`,
    more: 'Show more',
  },
  running: {
    of: (ordinal: number, number: number) => `Set ${ordinal} of ${number}`,
    next: (seconds: number) =>
      seconds <= 0 ? 'Next set now' : `Next set in ${unbroken(formatDuration(seconds))}`,
    first: (seconds: number) =>
      seconds <= 0 ? 'First set now' : `First set in ${unbroken(formatDuration(seconds))}`,
    at: (at: string) => `at ${at}`,
    progress: 'Slots that have had their turn',
  },
  left: {
    heading: 'What is left',
    enough: 'What lasts',
    low: 'What runs low',
    what: whatIsLeft,
    marks: leftMarks,
    over: (number: number) => `over ${number} frames`,
    percent: (number: number) => percent(number / 100),
    unknown: 'not told',
  },
  alarm: {
    heading: 'Alarm',
    line: (on: boolean) => (on ? 'Alarm: sounds on this device' : 'Alarm: silent on this device'),
    allow: 'Sound an alarm on this device',
    why: 'When a run halts, or stops by itself. This page has to stay open, with the screen on.',
    try: 'Try it',
    silence: 'Enough',
    blocked: 'The browser keeps this page silent until you touch it once.',
    noSound: 'This browser makes no sound here: only the band at the top tells.',
    noVibration: 'It does not vibrate here.',
    seen: 'Seen',
    title: (words: string) => `! ${words}`,
  },
} as const;
