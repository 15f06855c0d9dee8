// Makes the sets of a run on a schedule: plans each one anew, with a base and a span that may have followed
// the light, enters it in the journal, and measures how it came out. sequence.ts says when a set is due;
// bodies and folders come from the station.
import { randomUUID } from 'node:crypto';
import { asEvenrungError } from '../../shared/errors.js';
import type { Labels } from '../../shared/labels.js';
import type { LightView } from '../../shared/light.js';
import type { SetRequest } from '../../shared/request.js';
import type { LightRequest } from '../../shared/run-request.js';
import type { Schedule } from '../../shared/schedule.js';
import type { RunView } from '../../shared/state.js';
import type { Watch } from '../../shared/watch.js';
import type { Stock, StockMemo } from '../bodies/index.js';
import type { Body } from '../camera/index.js';
import { type BodyLimits, NO_EV, type Sixths, toEv } from '../exposure/index.js';
import type { SetFolder } from '../frames/index.js';
import type { Journal } from '../journal/index.js';
import { type Conditions, type Plan, resolveBase } from '../plan/index.js';
import type { Run, RunOptions } from '../set/index.js';
import { Follower, type FollowMemo, type NextBase } from './follow.js';
import { type NextSpan, SpanFollower, type SpanMemo } from './follow-span.js';
import { type Level, measureLevel } from './level.js';
import { slotStart } from './schedule/resolve.js';
import type { SequenceMemo } from './sequence-memo.js';
import type { BegunSet, EndedSet, MakeAsked, SetMaker } from './set-maker.js';
import type { SpanLimits } from './span.js';

/**
 * How long the end of a set waits for its pictures to be judged; after that, the next set asks once more.
 * Common practice, no source.
 */
const JUDGED_WITHIN_MS = 2000;

/** What the station provides. */
export interface Hands {
  /**
   * Looks for a body if there is none.
   * @throws EvenrungError no-body and the like
   */
  body(): Promise<Body>;
  /**
   * Reads the body's settings anew. Never rejects; that a body is gone is told as an event.
   * @returns null if there is none
   */
  look(): Promise<Body | null>;
  /** @throws EvenrungError as planSet */
  plan(request: SetRequest): Plan;
  conditionsOf(request: SetRequest): Conditions;
  /** The body's limits as `plan` applies them. */
  limitsOf(body: Body): BodyLimits;
  /** @throws EvenrungError folder-not-writable */
  folder(set: RunView['set']): Promise<SetFolder>;
  makeRun(
    options: Pick<
      RunOptions,
      'set' | 'plan' | 'body' | 'folder' | 'begun' | 'iso' | 'baseShifts' | 'extend' | 'conditions'
    >,
  ): Run;
  /** Fires the set. Never rejects. */
  carryOut(run: Run, body: Body): Promise<EndedSet>;
  freeBytes(): Promise<number | null>;
  tellWatch(watch: Watch): void;
}

export interface ScheduledSetsOptions {
  readonly run: string;
  readonly request: SetRequest;
  readonly labels: Labels;
  readonly schedule: Schedule;
  readonly light: LightRequest | null;
  /** The limits within which the span follows the scene; null if it stays. */
  readonly span: SpanLimits | null;
  readonly hands: Hands;
  /** Kept up to date by whoever fires the sets. */
  readonly stock: Stock;
  readonly journal: Journal | undefined;
  readonly memo?: ScheduledMemo | undefined;
}

/** What the journal keeps for the run. Plain JSON. */
export interface ScheduledMemo {
  readonly version: 1;
  readonly sequence: SequenceMemo;
  readonly stock: StockMemo;
  readonly follow: FollowMemo | null;
  /** Missing in runs of programs that knew no span that follows the scene. */
  readonly span?: SpanMemo | null;
}

export class ScheduledSets implements SetMaker {
  private readonly options: ScheduledSetsOptions;
  private follower: Follower | undefined;
  private readonly spanner: SpanFollower | null;
  /** The last set, if its pictures were not judged when it ended. */
  private unjudged: { readonly run: Run; readonly ended: EndedSet } | null = null;
  private sequenceMemo: SequenceMemo | undefined;
  /** Releases of one set, by the last plan. */
  private actuations: number | undefined;
  /** Whether the base may have moved since the beginning of the run. */
  private hasMoved: boolean;

  constructor(options: ScheduledSetsOptions) {
    this.options = options;
    this.hasMoved = options.memo?.follow != null;
    this.spanner = spannerFor(options);
    this.sequenceMemo = options.memo?.sequence;
  }

  /** Keeps the state of the run between its sets. */
  keep(sequence: SequenceMemo): void {
    this.sequenceMemo = sequence;
    this.keepMemo();
  }

  async look(setsToCome: number): Promise<Watch | null> {
    const { hands, request, stock } = this.options;
    const body = await hands.look();
    if (body === null) return null;
    const watch = stock.look(body, {
      framesPerSet: this.framesPerSet(),
      setsToCome,
      freeBytes: await hands.freeBytes(),
      statedBytes: request.conditions.fileBytes ?? null,
    });
    hands.tellWatch(watch);
    return watch;
  }

  async keepAwake(): Promise<void> {
    await this.options.hands.look();
  }

  async make(asked: MakeAsked): Promise<BegunSet | null> {
    const { hands, labels } = this.options;
    const body = await hands.body();
    await this.judgeLate();
    const set = { id: randomUUID(), ordinal: asked.ordinal, ...labels };
    const folder = await hands.folder(set);
    try {
      // From here until the set is in the journal, nothing is awaited: no time can pass between the choice of
      // the slot and its entry.
      const slot = asked.slotNow();
      const begun = slot === null ? null : this.begin(asked, slot, { body, set, folder });
      if (begun === null) await folder.removeIfEmpty();
      return begun;
    } catch (cause) {
      await folder.removeIfEmpty();
      throw cause;
    }
  }

  private begin(
    { keep }: MakeAsked,
    slot: number,
    { body, set, folder }: Pick<RunOptions, 'body' | 'set'> & { readonly folder: SetFolder },
  ): BegunSet {
    const { hands, request, labels, schedule, journal, run: id } = this.options;
    const base = this.followed(body)?.next(slotStart(schedule, slot)) ?? null;
    const moved = base === null ? request : this.movedTo(request, base);
    const span = this.nextSpan(moved, body);
    const plan = hands.plan(span === null ? moved : spanning(moved, span));
    this.actuations = plan.estimate.actuations;
    const run = hands.makeRun({
      set,
      plan,
      body,
      folder,
      iso: base?.iso ?? null,
      baseShifts: shiftsOf(base),
      extend: request.extend,
      conditions: hands.conditionsOf(request),
    });
    for (const next of [base, span])
      for (const sentence of [next?.reason ?? null, ...(next?.news ?? [])])
        if (sentence !== null) run.noteBefore(sentence);
    const { base: standing, frames, startedAt, plan: wire } = run.view;
    const isoOfBase = base?.iso ?? null;
    const begun = {
      ...{ id: set.id, run: id, ...labels, folder: folder.path, plan: wire, frames, startedAt },
      base: isoOfBase === null ? standing : { ...standing, iso: String(isoOfBase) },
    };
    const begin = () => {
      journal?.beginSet(begun);
      keep((memo) => {
        this.sequenceMemo = memo;
        if (span !== null) this.spanner?.begun(span);
        this.keepMemo();
      });
    };
    if (journal === undefined) begin();
    else journal.together(begin);
    return this.begunSet(run, body, slot, base);
  }

  /** Once the base has moved, the readings no longer hold for its frames. */
  private movedTo({ readings, ...others }: SetRequest, { shutter, shift }: NextBase): SetRequest {
    this.hasMoved ||= shift !== 0 || shutter.label !== others.base;
    return { ...others, ...(this.hasMoved ? {} : { readings }), base: shutter.label };
  }

  /**
   * Takes up the set that was under way when an earlier program ended.
   * @param slot counted from 0
   */
  resume(run: Run, body: Body, slot: number): BegunSet {
    return this.begunSet(run, body, slot, null);
  }

  private begunSet(run: Run, body: Body, slot: number, base: NextBase | null): BegunSet {
    const { hands, schedule } = this.options;
    const { base: shown, frames, startedAt, set } = run.view;
    return {
      id: set.id,
      startedAt,
      frames: frames.length,
      shutter: shown.shutter,
      iso: base?.iso === null || base === null ? shown.iso : String(base.iso),
      shiftEv: base === null ? 0 : toEv(base.shift),
      stop: () => run.stop(),
      hold: () => run.hold(),
      letGo: () => run.letGo(),
      carryOut: async () => {
        const ended = await hands.carryOut(run, body);
        const follower = this.followed(body);
        follower?.setMade(slotStart(schedule, slot), await levelOf(run, this.spanner?.keeps));
        await this.judge(run, ended);
        this.keepMemo();
        return ended;
      },
    };
  }

  private nextSpan(request: SetRequest, body: Body): NextSpan | null {
    const { hands } = this.options;
    if (this.spanner === null) return null;
    const { conditions: _, extend: __, ...wanted } = request;
    const limits = hands.limitsOf(body);
    const base = resolveBase(wanted.base, limits, wanted.mode);
    const conditions = hands.conditionsOf(request);
    return this.spanner.next({ request: { ...wanted, base }, limits, conditions });
  }

  /** Has the pictures of a set judged for the span of the next one. */
  private async judge(run: Run, ended: EndedSet): Promise<void> {
    if (this.spanner === null) return;
    const light = await run.judged(JUDGED_WITHIN_MS);
    if (light === null) this.unjudged = { run, ended };
    else this.told(run, ended, light);
  }

  /** Between two sets there is time even for pictures that take long to judge. */
  private async judgeLate(): Promise<void> {
    const { unjudged } = this;
    if (unjudged === null) return;
    this.unjudged = null;
    const { run, ended } = unjudged;
    this.told(run, ended, await run.judged(0));
  }

  private told(run: Run, { state }: EndedSet, light: LightView | null): void {
    this.spanner?.setMade({ isComplete: state === 'complete', frames: run.view.frames, light });
  }

  /** If this cannot be kept now, it is kept with the next set: it only improves the next base. */
  private keepMemo(): void {
    const { journal, run, stock } = this.options;
    const { sequenceMemo } = this;
    if (sequenceMemo === undefined) return;
    const memo: ScheduledMemo = {
      version: 1,
      sequence: sequenceMemo,
      stock: stock.memo,
      follow: this.follower?.memo ?? null,
      span: this.spanner?.memo ?? null,
    };
    journal?.keepOrLater(() => journal.rememberForRun(run, memo));
  }

  /** The most frames that a set may come to: the next one may have more than the last. */
  private framesPerSet(): number {
    const { request, span } = this.options;
    const last = this.actuations ?? request.offsets.length;
    return span === null ? last : Math.max(last, Math.min(last + span.mostPerSet, span.mostFrames));
  }

  /**
   * Made once a body has been met, since its shutters and ISO settings are the steps that the base can take.
   */
  private followed(body: Body): Follower | undefined {
    const { light, request, schedule, hands, memo } = this.options;
    if (light === null) return undefined;
    this.follower ??= followerFor(request, light, schedule, body, hands.conditionsOf(request), memo?.follow);
    return this.follower;
  }
}

/**
 * @throws EvenrungError base-not-offered if a limit is not a setting of the body; malformed-request if the
 *   limits leave nothing
 */
export function followerFor(
  { conditions: _, extend: __, ...wanted }: SetRequest,
  light: LightRequest,
  { everySeconds }: Schedule,
  body: Pick<Body, 'limits' | 'isoLabels' | 'standing'>,
  conditions: Conditions,
  memo?: FollowMemo | null,
): Follower {
  const { limits, isoLabels } = body;
  return new Follower(
    {
      request: { ...wanted, base: resolveBase(wanted.base, limits, wanted.mode) },
      ...{ light, conditions, limits, isoLabels, standingIso: body.standing().iso, everySeconds },
    },
    memo ?? undefined,
  );
}

/** @returns null if there is none, or if a newer program wrote it */
export function scheduledMemoIn(memo: unknown): ScheduledMemo | null {
  const written = memo as Partial<ScheduledMemo> | null;
  return written?.version === 1 && written.sequence !== undefined ? (memo as ScheduledMemo) : null;
}

function spannerFor({ span, request, schedule, memo }: ScheduledSetsOptions): SpanFollower | null {
  if (span === null) return null;
  const { offsets, step, extend } = request;
  const { everySeconds } = schedule;
  return new SpanFollower({ offsets, step, limits: span, everySeconds, extend }, memo?.span ?? undefined);
}

/** With another span, the readings no longer hold for its frames. */
function spanning({ readings, ...others }: SetRequest, { offsets }: NextSpan): SetRequest {
  const isAsAsked =
    offsets.length === others.offsets.length && offsets.every((one, at) => one === others.offsets[at]);
  return { ...others, ...(isAsAsked ? { readings } : {}), offsets };
}

const shiftsOf = (base: NextBase | null): RunOptions['baseShifts'] =>
  base === null || base.shift === 0
    ? []
    : [{ at: new Date().toISOString(), ev: toEv(base.shift), reason: base.reason ?? '' }];

/** A frame that cannot be measured tells nothing of the light. */
async function levelOf(run: Run, at: Sixths = NO_EV): Promise<Level | null> {
  try {
    const picture = await run.middlePicture(at);
    return picture === null ? null : measureLevel(picture.pixels, picture);
  } catch (cause) {
    run.note(`The light of this set could not be measured: ${asEvenrungError(cause).message}`);
    return null;
  }
}
