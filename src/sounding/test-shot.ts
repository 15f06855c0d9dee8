// One test frame: armed, fired, proved by what its file records, and made ready to be looked at. Knows no search.
import { asEvenrungError, EvenrungError } from '../../shared/errors.js';
import type { Body, BroughtFile } from '../camera/index.js';
import { fromEv, labelOf, toEv } from '../exposure/index.js';
import {
  judge,
  kindOf,
  readPicture,
  readRawPreview,
  readRecorded,
  recordedTv,
  shownFirst,
} from '../frames/index.js';
import type { JudgedFrame } from '../light/index.js';
import type { TestExposure } from '../plan/index.js';

export interface TestShot {
  readonly exposure: TestExposure;
  /** Tv in EV: of the setting or, in aperture priority, as the file records it. */
  readonly tv: number;
  /** The shutter time as it is written on cameras. */
  readonly label: string;
  readonly picture: JudgedFrame['picture'];
  /** JPEG; null if there is none to show. */
  readonly thumbnail: Buffer | null;
}

/**
 * @param into an existing folder that takes its files
 * @throws EvenrungError frame-missing, frame-wrong, frame-unreadable, and what links throw
 */
export async function fireTest(
  body: Body,
  exposure: TestExposure,
  { mode, into }: { readonly mode: 'manual' | 'aperture'; readonly into: string },
): Promise<TestShot> {
  const { shutter, offset } = exposure;
  await body.arm({
    centre: mode === 'manual' ? { by: 'shutter', shutter } : { by: 'compensation', compensation: offset },
    shape: null,
  });
  const { files, failure } = await body.releaseShutter({ into, exposureSeconds: shutter.seconds, frames: 1 });
  await Promise.all(files.flatMap((file) => [file.whole, file.partner?.whole]));
  if (failure !== null) throw failure;
  const last = files.at(-1);
  if (last === undefined) throw noFile();
  const all = await Promise.all([last, last.partner].filter((file) => file !== undefined).map(told));
  return proved(body, exposure, mode, all);
}

interface Told {
  readonly file: string;
  readonly kind: string | undefined;
}

const told = async ({ path: file }: BroughtFile): Promise<Told> => ({ file, kind: await kindOf(file) });

async function proved(
  body: Body,
  exposure: TestExposure,
  mode: 'manual' | 'aperture',
  files: readonly Told[],
): Promise<TestShot> {
  const [shown] = shownFirst(files);
  if (shown === undefined || shown.kind === undefined) throw noPicture();
  const recorded = await readRecorded(shown.file);
  const { fNumber, iso } = body.standing();
  const { shutter } = exposure;
  // In aperture priority the time is the camera's own choice.
  const exposureTime = mode === 'manual' ? recorded.exposureTime : shutter.seconds;
  const verdict = judge({ ...recorded, exposureTime }, { shutter, fNumber, iso });
  if (!verdict.right) throw notAsAsked(verdict.reasons);
  const tv = mode === 'manual' ? toEv(shutter.tv) : recordedTv(recorded.exposureTime);
  if (tv === null) throw notAsAsked(['The file does not record its exposure time.']);
  const { kind, file } = shown;
  const seen = await readPicture(file, kind).catch((cause: unknown) => {
    throw unreadable(asEvenrungError(cause).message);
  });
  return {
    ...{ exposure, tv, thumbnail: seen?.thumbnail ?? null },
    label: mode === 'manual' ? shutter.label : labelOf(fromEv(tv)),
    picture: isFinished(kind) ? { file, kind } : { preview: () => readRawPreview(file) },
  };
}

/**
 * Kinds of picture that the camera has developed; any other kind that it writes is raw, and contains a
 * preview.
 */
const isFinished = (kind: string): boolean => /^(?:jpe?g|hei[cf]|hif|avif|png)$/i.test(kind);

const noFile = () =>
  new EvenrungError(
    'frame-missing',
    'The camera was fired for a test frame, and no file came. Check its card and its cable, then sound again.',
    { released: true },
  );

const noPicture = () => unreadable('the file that came back is not a picture');

export const unreadable = (why: string): EvenrungError =>
  new EvenrungError(
    'frame-unreadable',
    `A test frame cannot be opened: ${why.replace(/\.$/, '')}. Set the camera to JPEG, or to raw and JPEG, then sound again.`,
  );

const notAsAsked = (reasons: readonly string[]) =>
  new EvenrungError(
    'frame-wrong',
    `A test frame is not as it was set. ${reasons.join(' ')} Check the mode dial, turn automatic ISO off and leave the camera alone, then sound again.`,
  );
