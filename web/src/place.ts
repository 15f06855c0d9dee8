// The location, kept in this browser: it is a nuisance to type outdoors.
import { follows, remembered, textsOver } from './remember.js';
import { NO_PLACE, type PlaceFields } from './schedule-form.js';

const read = textsOver(NO_PLACE);

export const place = remembered<PlaceFields>('place', NO_PLACE, read);
follows(place, 'place', read);
