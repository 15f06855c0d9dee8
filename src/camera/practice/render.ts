import type { Sixths } from '../../exposure/index.js';
export interface FrameToRender {
  tv: Sixths;
  av: Sixths;
  iso: number;
  biasSixths: Sixths;
  takenAt: Date;
  model: string;
  serial: string;
  manual: boolean;
}
export async function renderFrame(_frame: FrameToRender): Promise<Buffer> {
  return Buffer.alloc(0);
}
