// Offsets are counted in sixths of an EV. How they are written stands in shared/, because the panel writes them too.
export {
  formatEv,
  fromEv,
  LARGEST_EV,
  parseEv,
  SIXTHS_PER_EV,
  type Sixths,
  toEv,
} from '../../shared/ev.js';
