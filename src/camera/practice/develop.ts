// From an exposure to files: a JPEG, a raw file, or both, under the settings as they were at the release.
import { exifOf } from './exif.js';
import { makeRaw } from './raw.js';
import { type FrameToRender, renderFrame } from './render.js';
import type { PracticeOptions, PracticeState } from './shapes.js';
import type { Content } from './store.js';

/** @returns the files in the order in which they are made; the same frame gives the same bytes */
export async function develop(
  frame: FrameToRender,
  format: PracticeState['format'],
  pairOrder: PracticeOptions['pairOrder'],
): Promise<readonly Content[]> {
  const jpeg: Content = { kind: 'jpeg', content: await renderFrame(frame) };
  if (format === 'jpeg') return [jpeg];
  const raw: Content = { kind: 'raw', content: await makeRaw(jpeg.content, exifOf(frame)) };
  if (format === 'raw') return [raw];
  return pairOrder === 'raw-first' ? [raw, jpeg] : [jpeg, raw];
}
