// Offsets are counted in sixths of an EV. How they are written is defined in shared/, because the panel
// writes them too.
export {
  evInWords,
  formatEv,
  fromEv,
  isSameEv,
  LARGEST_EV,
  leastOf,
  magnitude,
  minusSixths,
  mostOf,
  NO_EV,
  negated,
  ONE_EV,
  parseEv,
  plusSixths,
  SIXTHS_PER_EV,
  type Sixths,
  sixths,
  timesSixths,
  toEv,
} from '../../shared/ev.js';
