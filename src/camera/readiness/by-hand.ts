// Things that a person has to check, since most bodies do not tell them over the wire. If a body does, the
// wire counts.
import type { ReadinessCode } from '../../../shared/readiness.js';
import { isOn } from './labels.js';
import { askPerson, attention, fine, type Rule } from './question.js';

interface HandTick {
  readonly code: ReadinessCode;
  /** A switch that must be off, under the names that bodies have for it. */
  readonly switches: readonly string[];
  /** What to check, and why. */
  readonly ask: string;
  /** The sentence once it has been ticked. */
  readonly done: string;
  /** The sentence if the switch is on. */
  readonly wrong: string;
}

const TICKS: readonly HandTick[] = [
  {
    code: 'stabiliser',
    // Not in libgphoto2 2.5.30; the name that later ones have (from memory).
    switches: ['vibrationreduction'],
    ask: 'Turn off the stabiliser of lens and camera: on a tripod it can shift the picture.',
    done: 'The stabiliser is off',
    wrong: 'The stabiliser is on, and on a tripod it can shift the picture. Turn it off.',
  },
  {
    code: 'assist-lamp',
    switches: ['assistlight'],
    ask: 'Turn off the focus-assist lamp: it lights the foreground.',
    done: 'The focus-assist lamp is off',
    wrong: 'The focus-assist lamp is on, and lights the foreground. Turn it off.',
  },
  {
    code: 'eyepiece-cover',
    switches: [],
    ask: 'Cover the eyepiece of an optical finder: light from behind shows in long exposures and misleads the meter. If there is no optical finder, just tick.',
    done: 'No light comes in through the eyepiece',
    wrong: '',
  },
  {
    code: 'electronic-shutter',
    // Not in libgphoto2 2.5.30; the name that later ones have (from memory).
    switches: ['silentphotography'],
    ask: 'Use the mechanical shutter: an electronic one may not reach long times, and causes bands under mains light.',
    done: 'The shutter is the mechanical one',
    wrong:
      'The electronic shutter is on: it may not reach long times, and causes bands under mains light. Use the mechanical one.',
  },
];

export const HAND_TICKS: readonly Rule[] = TICKS.map(({ code, switches, ask, done, wrong }) => ({
  code,
  look: ({ settings, link }) => {
    const told = switches.map((name) => isOn(settings, name)).find((value) => value !== undefined);
    if (told !== undefined) return told ? attention(wrong) : fine(`${done}.`);
    // The invented body has nothing to look at.
    return askPerson(link === 'practice' ? `On a camera: ${uncapitalised(ask)}` : ask, `${done}, as ticked.`);
  },
}));

const uncapitalised = (sentence: string): string => sentence.charAt(0).toLowerCase() + sentence.slice(1);
