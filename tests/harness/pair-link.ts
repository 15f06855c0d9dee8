// A link that tells of both files of a body that makes a raw file and a JPEG of each exposure. The practice camera makes the JPEG; a raw file
// of the smallest kind is built around it. Nothing in either was photographed.
import { readFile, writeFile } from 'node:fs/promises';
import type { Body, FiredFrame, FireOptions } from '../../src/camera/index.js';
import type { PracticeBody, PracticeOptions } from '../../src/camera/practice/model.js';
import { type RecordedExposure, readRecorded } from '../../src/frames/index.js';
import { makeRaw, type RawFacts } from '../raw-files.js';
import { TestLink } from './links.js';

/** What the body made of one exposure, as files among the arrivals. */
export interface PairOfFiles {
  readonly raw: FiredFrame;
  readonly jpeg: FiredFrame;
}

export class PairLink extends TestLink {
  /** Called after each release, counted from 1. @returns what comes back of it; by default both files */
  comes: (count: number, pair: PairOfFiles) => FiredFrame | Promise<FiredFrame> = (_, { raw, jpeg }) => ({
    ...raw,
    partner: jpeg,
  });
  /** What the raw file records otherwise than the JPEG. */
  inRaw: (count: number) => Partial<RawFacts> = () => ({});
  /** Whether it tells what the camera calls its files. */
  tellsNames = true;
  /** Files that come with the next release, and before it; see bringsLate. */
  readonly late: FiredFrame[] = [];
  private made = 0;

  constructor(of: PracticeBody | Partial<PracticeOptions> = {}) {
    super(of);
    this.saysSize = false;
  }

  override async fire(options: FireOptions): Promise<FiredFrame> {
    const jpeg = await super.fire(options);
    this.made += 1;
    const pair = await pairOf(jpeg, this.made, this.inRaw(this.made));
    return this.comes(this.made, this.tellsNames ? pair : { raw: nameless(pair.raw), jpeg });
  }
}

const nameless = ({ path, seconds }: FiredFrame): FiredFrame => ({ path, seconds });

/**
 * @param count the number that the camera gives both files
 * @param more what the raw file records otherwise than the JPEG
 */
export async function pairOf(
  jpeg: FiredFrame,
  count: number,
  more: Partial<RawFacts> = {},
): Promise<PairOfFiles> {
  const facts = { ...factsOf(await readRecorded(jpeg.path)), ...more };
  const shape = { order: 'little', pixelsLast: true } as const;
  const bytes = makeRaw({ preview: await readFile(jpeg.path), pixelBytes: 2000, ...facts }, shape);
  const raw: FiredFrame = { path: `${jpeg.path}-raw`, seconds: jpeg.seconds };
  await writeFile(raw.path, bytes);
  const name = `EVRG${String(count).padStart(4, '0')}`;
  return {
    raw: { ...raw, cameraName: `${name}.DNG` },
    jpeg: { ...jpeg, cameraName: `${name}.JPG` },
  };
}

/** What is in `link.late` comes with the next release, before its own files. */
export function bringsLate(body: Body, link: PairLink): void {
  const { releaseShutter } = body;
  body.releaseShutter = async (options) => {
    const late = link.late.splice(0);
    const { files, failure } = await releaseShutter.call(body, options);
    return { files: [...late, ...files], failure };
  };
}

/** The body is set to make two files, and every one of them comes here. */
export function makesPairs(body: Body): void {
  Object.defineProperty(body, 'makesPairs', { get: () => true });
}

/** What a raw file has to record that is of the same exposure. */
export function factsOf({ exposureTime, fNumber, iso, bias, takenAt }: RecordedExposure): RawFacts {
  const [moment = '', parts = ''] = takenAt?.split('.') ?? [];
  return {
    exposureTime: [Math.round((exposureTime ?? 0) * 1e6), 1e6],
    fNumber: [Math.round((fNumber ?? 0) * 10), 10],
    iso: iso ?? 0,
    bias: [Math.round((bias ?? 0) * 100), 100],
    ...(takenAt === null ? {} : { takenAt: [moment.replaceAll('-', ':').replace('T', ' '), parts] as const }),
  };
}

/** Cuts the end of a file off: what it records stands before that. */
export async function cutShort({ path: file }: FiredFrame): Promise<void> {
  const bytes = await readFile(file);
  await writeFile(file, bytes.subarray(0, bytes.length - 1000));
}
