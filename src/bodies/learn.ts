// A body is learnt: made ready, given its lesson, left as it was found, however the lesson went. It knows nothing of plans and sets.
import { mkdtemp, rm } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { asEvenrungError, EvenrungError } from '../../shared/errors.js';
import type { BodyProfile, DirectProfile } from '../../shared/profile.js';
import { type Body, notPutBack, type ReadinessAsked } from '../camera/index.js';
import { DirectLesson, type DirectLessonOptions } from './direct-lesson.js';
import { type LearnOptions, Lesson } from './lesson.js';
import type { ProfileStore } from './profiles.js';
import { putBackSteadily } from './put-back.js';

export interface Learnt {
  readonly profile: BodyProfile;
  /** The path of the profile. */
  readonly path: string;
  /** What could not be put back, in a sentence; null if the body is as it was found. */
  readonly trouble: string | null;
  /** Other remarks, a sentence each. */
  readonly notes: readonly string[];
}

/** @throws EvenrungError as learnBody; state-not-writable */
export async function learnAndKeep(
  body: Body,
  asked: ReadinessAsked,
  profiles: Pick<ProfileStore, 'write'>,
  options: LearnOptions = {},
): Promise<Learnt> {
  const folder = await mkdtemp(path.join(os.tmpdir(), 'evenrung-learn-'));
  try {
    const { profile, trouble } = await learnBody(body, { ...asked, mode: 'manual' }, folder, options);
    return { profile, trouble, path: await profiles.write(profile), notes: [] };
  } finally {
    await rm(folder, { recursive: true, force: true });
  }
}

/**
 * @param folder takes the frames, and is left empty
 * @returns what was learnt, and what could not be put back, if anything
 * @throws EvenrungError not-learnt with the reason, body-not-ready, ending, and whatever links throw;
 *   not-put-back if, in addition, the body could not be left as found
 */
export async function learnBody(
  body: Body,
  asked: ReadinessAsked,
  folder: string,
  options: LearnOptions = {},
): Promise<{ profile: BodyProfile; trouble: string | null }> {
  const lesson = new Lesson(body, folder, options);
  let profile: BodyProfile;
  try {
    await body.makeReady(asked);
    profile = await lesson.learn();
  } catch (cause) {
    const error = asEvenrungError(cause);
    if ((await putBackSteadily(body)) === null) throw error;
    throw new EvenrungError('not-put-back', `${error.message} ${notPutBack(body.debts)}`, {
      cause: error.code,
    });
  }
  // No lesson measures the room of a frame, so a value that somebody wrote stays.
  const room = body.profile?.room;
  return {
    profile: room === undefined ? profile : { ...profile, room },
    trouble: await putBackSteadily(body),
  };
}

/**
 * The result with a link that calls the library directly, or why it did not work; exactly one of the two is
 * not null.
 */
export type LearntDirectly =
  | { readonly direct: DirectProfile; readonly why: null }
  /** @param why one sentence */
  | { readonly direct: null; readonly why: string };

/**
 * Tries out on the body what a link that takes release and fetch apart can do. The body is left as it was
 * found, however that goes.
 * @param body reached over such a link
 * @throws EvenrungError ending, body-not-ready, and whatever links throw
 */
export async function learnDirectly(
  body: Body,
  library: string,
  asked: ReadinessAsked,
  options: DirectLessonOptions = {},
): Promise<LearntDirectly> {
  const folder = await mkdtemp(path.join(os.tmpdir(), 'evenrung-learn-'));
  try {
    let direct: DirectProfile | null = null;
    let why: string | null = null;
    try {
      await body.makeReady({ ...asked, mode: 'manual' });
      direct = await new DirectLesson(body, library, folder, options).learn();
    } catch (cause) {
      const { code, message } = asEvenrungError(cause);
      if (code === 'ending' || code === 'body-not-ready') {
        await putBackSteadily(body);
        throw cause;
      }
      why = message;
    }
    const owed = await putBackSteadily(body);
    if (direct === null) return { direct: null, why: why ?? '' };
    return owed === null ? { direct, why: null } : { direct: null, why: owed };
  } finally {
    await rm(folder, { recursive: true, force: true });
  }
}
