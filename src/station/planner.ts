// Plans for the body that is there, and foresees schedules for it. From then on, the body's readiness is
// judged for the last request. It fires nothing.

import { cautionsIn } from '../../shared/cautions.js';
import { EvenrungError } from '../../shared/errors.js';
import { type AskedSet, isMetered, type SetRequest } from '../../shared/request.js';
import type { LightRequest } from '../../shared/run-request.js';
import type { ScheduleRequest } from '../../shared/schedule.js';
import type { ForeseenSchedule } from '../../shared/state.js';
import type { BodyInHand, BodyReport } from '../bodies/index.js';
import type { Body } from '../camera/index.js';
import type { BodyLimits } from '../exposure/index.js';
import {
  type Conditions,
  extendedMost,
  type MeteredAt,
  type Plan,
  placeReadings,
  planWritten,
} from '../plan/index.js';
import { followerFor, foreseeSchedule, mostOfSpan, type SpanLimits, zoneHere } from '../series/index.js';
import type { Clock } from '../system/index.js';
import type { OneAtATime } from './one-at-a-time.js';

export interface PlannerOptions {
  readonly bodies: Pick<BodyInHand, 'must' | 'tell'>;
  readonly report: Pick<BodyReport, 'askFor' | 'stockOf'>;
  readonly one: Pick<OneAtATime, 'isFiring'>;
  readonly clock: Clock;
  /** Narrows the body's limits to what the command line allows. */
  readonly narrow?: ((limits: BodyLimits) => BodyLimits) | undefined;
}

/** The parts of a request that the readiness of a body depends on. */
type AskedBefore = Pick<SetRequest, 'mode' | 'conditions'> & { readonly frames: number };

export class Planner {
  private readonly options: PlannerOptions;

  constructor(options: PlannerOptions) {
    this.options = options;
  }

  /** @throws EvenrungError as resolve and planWritten */
  plan(asked: AskedSet): Plan {
    const request = this.resolve(asked);
    const { conditions: _, extend: __, ...wanted } = request;
    this.askFor({ ...request, frames: request.offsets.length });
    return planWritten(wanted, this.limits(), this.conditionsOf(request, this.options.bodies.must()));
  }

  /**
   * @returns the request with its frames and its base; if they follow from readings, by the body's present
   *   settings
   * @throws EvenrungError as placeReadings; no-body, body-not-ready
   */
  resolve(asked: AskedSet): SetRequest {
    const limits = this.limits();
    if (asked.mode === 'manual' && !limits.shutters.some(({ settable }) => settable)) throw noShutter();
    return isMetered(asked) ? placeReadings(asked, limits, meteredAt(this.options.bodies.must())) : asked;
  }

  private limits(): BodyLimits {
    return this.limitsOf(this.options.bodies.must());
  }

  /** The limits that a body is used within: its own, narrowed to what the command line allows. */
  limitsOf({ limits }: Pick<Body, 'limits'>): BodyLimits {
    return this.options.narrow?.(limits) ?? limits;
  }

  conditionsOf(
    { conditions, base, mode }: Pick<SetRequest, 'conditions' | 'base' | 'mode'>,
    body: Body,
  ): Conditions {
    const { fNumber, iso, shutterTv } = body.standing();
    return {
      ...conditions,
      fileBytes: conditions.fileBytes ?? this.options.report.stockOf(body.identity).fileBytes,
      noiseReduction: conditions.noiseReduction ?? body.profile?.noiseReduction,
      baseWritten: base,
      standingTv: mode === 'manual' ? (shutterTv ?? undefined) : undefined,
      fNumber: fNumber ?? undefined,
      iso: iso ?? undefined,
    };
  }

  /** How ready the body is depends on the request: if the answer changes, it is told anew. */
  askFor({ mode, frames, conditions }: AskedBefore): void {
    const { bodies, report, one } = this.options;
    const asked = { mode, frames, fileBytes: conditions.fileBytes ?? null };
    if (report.askFor(asked) && !one.isFiring) void bodies.tell();
  }

  /**
   * @param request the one that the plan was made for: its sets may be extended
   * @param span limits within which their span follows the scene; null if it stays
   */
  foresee(
    plan: Plan,
    request: SetRequest,
    schedule: ScheduleRequest,
    span: SpanLimits | null,
  ): ForeseenSchedule {
    const body = this.options.bodies.must();
    const limits = this.limitsOf(body);
    const conditions = this.conditionsOf(request, body);
    const most = mostOfSpan(plan, request, { limits, conditions, ...schedule, span });
    const { estimate } = extendedMost(most.plan, request.extend, limits, conditions);
    return foreseeSchedule(schedule, estimate, {
      now: new Date(this.options.clock.wall()),
      timeZone: zoneHere(),
      cautions: cautionsIn(plan.warnings),
      counted: most.counted,
    });
  }

  /**
   * The limits of a base that follows the light have to be settings of this body.
   * @throws EvenrungError base-not-offered
   */
  mustFollow(request: SetRequest, light: LightRequest, { schedule }: ForeseenSchedule): void {
    const body = this.options.bodies.must();
    followerFor(request, light, schedule, body, this.conditionsOf(request, body));
  }
}

const meteredAt = (body: Body): MeteredAt => {
  const { fNumber, iso } = body.standing();
  return { fNumber, iso, files: body.files, measured: body.profile?.room };
};

const noShutter = () =>
  new EvenrungError(
    'body-not-ready',
    "The camera's shutter cannot be set: turn its mode dial to M (manual), then look for the camera again. Or choose aperture priority.",
  );
