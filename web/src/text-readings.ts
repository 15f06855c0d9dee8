// What the panel says of a set that is asked for by two spot readings. The daemon says where they fall.
import type { AskedBy, ReadingPart, Standing } from './readings.js';
import { frames, shutter } from './words.js';

const write: Readonly<Record<ReadingPart | Standing, string>> = {
  darkest: 'Write what the meter reads of the darkest part: 1/4, EV 3.3 or 20 cd/m2.',
  brightest: 'Write what the meter reads of the brightest part: 1/2000, EV 12.3 or 600 cd/m2.',
  aperture: 'Write the f-number of the set, for example 8, or nothing.',
  iso: 'Write the ISO of the set, for example 100, or nothing.',
};

export const readingsText = {
  readings: {
    by: 'Ask by',
    ways: { frames: 'Number', readings: 'Two readings' } satisfies Readonly<Record<AskedBy, string>>,
    parts: {
      darkest: 'Darkest part, metered',
      brightest: 'Brightest part, metered',
    } satisfies Readonly<Record<ReadingPart, string>>,
    forms: '1/60, EV 9.3 or 120 cd/m2',
    write,
    where: {
      darkest: 'Point a spot meter at the darkest part that must keep detail.',
      brightest: 'Then at the brightest one. A shutter time counts at the aperture and ISO of the camera.',
    } satisfies Readonly<Record<ReadingPart, string>>,
    standings: { aperture: 'Aperture of the set', iso: 'ISO of the set' } satisfies Readonly<
      Record<Standing, string>
    >,
    standingForms: { aperture: 'f/8', iso: '100' } satisfies Readonly<Record<Standing, string>>,
    standingsWhy: 'EV and cd/m2 need aperture and ISO; shutter times need neither.',
    notTold: 'The camera does not tell.',
    makes: (count: number, base: string) => `${frames(count)}, base ${shutter(base)}`,
    help: 'How readings are placed',
  },
} as const;
