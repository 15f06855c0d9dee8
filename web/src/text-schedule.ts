// What the panel says of runs on a schedule, of the room and charge left for them, and of the alarm.
import { formatDuration } from '../../shared/duration.js';
import type { SunEvent } from '../../shared/schedule.js';
import type { ScheduleState } from '../../shared/state.js';
import { USUAL_SPAN } from '../../shared/usual-span.js';
import type { Watch, WatchMark } from '../../shared/watch.js';
import type { ScheduleField, Unit } from './schedule-form.js';
import type { Went } from './time-line.js';
import { apertureAndIso, count, decimal, percent, sets, shutter, unbroken } from './words.js';

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
  held: 'Paused: sets are being skipped',
  complete: 'Schedule finished',
  stopped: 'Schedule stopped',
  halted: 'Schedule failed',
};

const went: Readonly<Record<Went, string>> = {
  complete: 'complete',
  incomplete: 'incomplete',
  missed: 'missed',
  'in-hand': 'firing',
  'to-come': 'to come',
  'not-made': 'not fired',
};

const leftNames: Readonly<Record<keyof Watch, string>> = {
  disk: 'Disk',
  card: 'Card',
  battery: 'Battery',
};

const leftMarks: Readonly<Record<WatchMark, string>> = {
  fine: 'OK:',
  low: 'Low:',
  'too-low': 'Too low:',
};

const unreadable: Readonly<Record<ScheduleField, string>> = {
  every: 'Enter the time from one set to the next, such as 4 minutes.',
  count: 'Enter the number of sets, such as 60.',
  until: 'Enter when the sets finish: a time of day, or minutes before or after sunrise, sunset or twilight.',
  start: 'Enter when the sets start: a time of day, or minutes before or after sunrise, sunset or twilight.',
  place: 'Enter both in decimal degrees, such as 47.5 and 8.5; south and west are negative.',
  overrun: 'Choose what happens if a set overruns.',
  slowest: 'Choose the slowest shutter.',
  fastest: 'Choose the fastest shutter.',
  iso: 'Enter both ends of the ISO range, or neither.',
  mostPerSet: 'Choose how far the base exposure may move between sets.',
  fewestFrames: 'Enter the fewest frames of a set, 1 to 61, or leave it blank.',
  mostFrames: 'Enter the most frames of a set, 1 to 61, or leave it blank.',
  framesChange: 'Enter how many frames may change between sets, 1 to 61, or leave it blank.',
  followSpan: 'Choose whether the span follows the scene.',
};

export const scheduleText = {
  states,
  went,
  form: {
    line: (on: boolean, every: string, unit: Unit) =>
      on
        ? `Repeat every ${every} ${Number(every) === 1 ? units[unit].slice(0, -1) : units[unit]}`
        : 'One set, no repeat',
    on: 'Repeat the set',
    every: 'Every',
    units,
    unit: 'Unit of the interval',
    starts: 'Start',
    ends: 'Finish',
    now: 'Now',
    afterCount: 'After a number of sets',
    atTime: 'At a time of day',
    suns,
    time: 'Time of day',
    count: 'Sets',
    shift: 'Minutes',
    side: 'Before or after',
    sides: { before: 'before', after: 'after' },
    place: 'Location',
    latitude: 'Latitude (N)',
    longitude: 'Longitude (E)',
    placeWhy: 'For sunrise, sunset and twilight. Saved in this browser and with the schedule.',
    ownPlace: "Use this device's location",
    askingPlace: 'Getting location',
    overrun: 'If a set overruns',
    overruns: { skip: 'Skip to the next start time', follow: 'Start the next set at once' },
    maySleep: 'Let the camera sleep between sets, if it wakes over the cable',
    follows: 'Base exposure follows the light',
    followsWhy: (hasAperture: boolean) =>
      `Shutter first, then ISO.${hasAperture ? ' The aperture stays.' : ''}`,
    meters: 'In aperture priority the camera follows the light by itself.',
    slowest: 'Slowest shutter',
    fastest: 'Fastest shutter',
    noLimit: 'No limit',
    isoFrom: 'ISO from',
    isoTo: 'to',
    isoWhy: 'Leave blank to keep ISO fixed.',
    mostPerSet: 'Largest change between sets',
    spanFollows: 'Span follows the scene',
    spanFollowsWhy:
      'If detail is missing at one end, the next set gets more frames there. If an end frame adds nothing in two sets in a row, it is left out.',
    framesFewest: 'Fewest frames',
    framesMost: 'Most frames',
    framesChange: 'Largest change, in frames',
    framesWhy: `If left blank: ${USUAL_SPAN.fewestFrames}, ${USUAL_SPAN.moreFrames} more than the first set, and ${USUAL_SPAN.mostPerSet}.`,
    takeShortest: (seconds: number) => `Every ${formatDuration(seconds)}`,
    unreadable,
    noPosition: {
      insecure: 'This browser gives its location only on the laptop itself, or over https: enter it by hand.',
      refused: 'Location is blocked in this browser: allow it there, or enter it by hand.',
      unknown: 'This device cannot find its location: enter it by hand.',
    },
  },
  foreseen: {
    heading: 'Schedule summary',
    asking: 'Planning the schedule',
    sets: 'Sets',
    ends: 'Ends around',
    releases: 'Shutter actuations',
    storage: 'Storage',
    noSize: 'Unknown',
    caution: 'Caution',
    beforeSunrise: 'Stop before sunrise',
    unattended: 'Before you leave it unattended',
    endAt: (until: string) => `Finish at ${until}`,
  },
  trigger: {
    hold: (number: number) => `Press and hold to fire ${sets(number)}`,
    size: (frameCount: string, everySeconds: number, ends: string) =>
      `${frameCount} every ${formatDuration(everySeconds)}, until about ${ends}`,
    planning: 'Planning the schedule',
    refused: 'Change the schedule first',
  },
  line: {
    heading: 'Timeline',
    size: (number: number, everySeconds: number) =>
      `${sets(number)}, one every ${formatDuration(everySeconds)}`,
    counts: (counts: Readonly<Record<Went, number>>) =>
      (Object.keys(went) as Went[])
        .filter((name) => counts[name] > 0)
        .map((name) => `${counts[name]} ${went[name]}`)
        .join(', '),
    before: (number: number) => `${count(number, 'earlier set', 'earlier sets')} not shown.`,
    behind: (number: number) => `${count(number, 'later set', 'later sets')} not shown.`,
    higher: 'Higher marks: brighter base exposure.',
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
    progress: 'Schedule progress',
  },
  left: {
    heading: 'Space and battery',
    enough: 'Enough',
    low: 'Running low',
    what: leftNames,
    marks: leftMarks,
    over: (number: number) => `over ${decimal(number, 0)} frames`,
    percent: (number: number) => percent(number / 100),
    unknown: 'unknown',
  },
  alarm: {
    heading: 'Alarm',
    line: (on: boolean) => (on ? 'Alarm: sounds on this device' : 'Alarm: off on this device'),
    allow: 'Sound an alarm on this device',
    why: 'Sounds if firing fails or ends early. Keep this page open and the screen on.',
    try: 'Try it',
    silence: 'Silence',
    blocked: 'Touch the page once to allow sound.',
    noSound: 'No sound in this browser: only the band at the top warns you.',
    noVibration: 'This device cannot vibrate.',
    seen: 'Dismiss',
    title: (words: string) => `! ${words}`,
  },
} as const;
