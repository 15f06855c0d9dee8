// What tests ask a body's readiness for where nothing more is known than what the body tells.
import type { ReadinessAsked } from '../src/camera/index.js';

export const ASKED: ReadinessAsked = {
  mode: 'manual',
  freeBytes: null,
  frames: null,
  fileBytes: null,
  ticked: new Set(),
};
