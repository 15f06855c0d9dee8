// Soundings: test frames that tell how far the light of a scene reaches.
export {
  type SeenShot,
  type Sounded,
  type SoundingOptions,
  type SoundingStep,
  sound,
  sweepUp,
} from './sounding.js';
