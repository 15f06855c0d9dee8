// Begins a run on a schedule: enters it in the journal, and has its slots carried out.
import { randomUUID } from 'node:crypto';
import type { SetRequest } from '../../shared/request.js';
import type { RunRequest } from '../../shared/run-request.js';
import type { ForeseenSchedule } from '../../shared/state.js';
import type { Body } from '../camera/index.js';
import {
  placedOf,
  SCHEDULED_OPTIONS_VERSION,
  type ScheduledOptions,
  type SpanLimits,
} from '../series/index.js';
import type { BegunRun } from './firing.js';
import type { Parts } from './parts.js';
import { carryOutSeries, type SeriesAsked, sequenceOf, setsOf } from './series.js';

/**
 * Returns as soon as the run is under way.
 * @param span limits within which the span follows the scene; null if it stays
 * @throws EvenrungError folder-not-writable, storing-failed, ending
 */
export async function beginSeries(
  parts: Parts,
  request: RunRequest & { readonly set: SetRequest },
  span: SpanLimits | null,
  foreseen: ForeseenSchedule,
  { body, startedBy }: { readonly body: Body; readonly startedBy: string },
): Promise<BegunRun> {
  const { one, folders, journal } = parts;
  await folders.check();
  one.mustNotBeEnding();
  const run = randomUUID();
  const { light, maySleep, labels, writtenSet } = request;
  const placed = placedOf(request.set);
  const kept: ScheduledOptions = {
    ...{ foreseen, light, span, maySleep, labels, startedBy },
    ...(placed === null ? {} : { placed }),
  };
  const asked: SeriesAsked = { run, request: request.set, kept, body, startedBy };
  const sets = setsOf(parts, asked);
  const sequence = sequenceOf(parts, asked, sets);
  journal?.together(() => {
    const options = { version: SCHEDULED_OPTIONS_VERSION, content: kept };
    journal.beginRun({
      ...{ id: run, kind: 'scheduled', request: writtenSet, options, body: body.identity },
      into: folders.into,
    });
    sets.keep(sequence.memo);
  });
  return carryOutSeries(parts, asked, sequence);
}
