// Learns a body: first how it brackets, over the way by which it is reached; then what it does if the library
// is called directly. The result of the first is kept whatever happens to the second.
import { asEvenrungError } from '../../shared/errors.js';
import {
  type Finder,
  type LearnOptions,
  type Learnt,
  type LearntDirectly,
  learnAndKeep,
  learnDirectly,
} from '../bodies/index.js';
import type { Body } from '../camera/index.js';
import type { Parts } from './parts.js';

type Profiles = Finder['profiles'];

/** @throws EvenrungError as learnAndKeep */
export async function learnAll(
  { bodies, report }: Pick<Parts, 'bodies' | 'report'>,
  profiles: Pick<Profiles, 'write'>,
  options: LearnOptions,
): Promise<Learnt> {
  const { learnt, isApart } = await bodies.withBody(async (body) => ({
    learnt: await learnAndKeep(body, await report.readinessAsked(), profiles, options),
    isApart: body.isApart,
  }));
  if (learnt.trouble !== null) return learnt;
  let kept: Learnt = learnt;
  const tryIt = async (body: Body): Promise<LearntDirectly> => {
    const found = await learnDirectly(body, body.library ?? '', await report.readinessAsked(), options);
    if (found.direct === null) return found;
    const profile = { ...learnt.profile, direct: found.direct };
    kept = { ...learnt, profile, path: await profiles.write(profile) };
    return found;
  };
  const found = isApart ? await bodies.withBody(tryIt) : await orWhyNot(() => bodies.withBodyDirectly(tryIt));
  if (found === null || found.direct !== null) return kept;
  const note = `Evenrung keeps reaching the camera the usual way, since the direct way did not work: ${found.why}`;
  return { ...kept, notes: [...kept.notes, note] };
}

/** If a camera cannot be reached directly, it is learnt all the same. */
async function orWhyNot(work: () => Promise<LearntDirectly | null>): Promise<LearntDirectly | null> {
  try {
    return await work();
  } catch (cause) {
    const { code, message } = asEvenrungError(cause);
    if (code === 'ending' || code === 'body-not-ready') throw cause;
    return { direct: null, why: message };
  }
}
