// What tests judge a body's readiness by if only the body's own settings matter.
import type { ReadinessAsked } from '../src/camera/index.js';

export const ASKED: ReadinessAsked = {
  mode: 'manual',
  freeBytes: null,
  frames: null,
  fileBytes: null,
  ticked: new Set(),
};
