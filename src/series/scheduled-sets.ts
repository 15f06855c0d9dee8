// Makes the sets of a run on a schedule: plans each anew, with base and span that may have followed the light, keeps it in the journal,
// and measures what came of it. When a set is due, sequence.ts says; body and folders come from the station.
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

/** The end of a set waits no longer for its pictures: the next set asks once more. Common practice, no source. */
const JUDGED_WITHIN_MS = 2000;

/** What the station lends. */
export interface Hands {
  /** Looks for one where there is none. @throws EvenrungError no-body and the like */
  body(): Promise<Body>;
  /** Reads its settings anew. Never rejects: one that is gone is said to be. @returns null where there is none */
  look(): Promise<Body | null>;
  /** @throws EvenrungError as planSet */
  plan(request: SetRequest): Plan;
  conditionsOf(request: SetRequest): Conditions;
  /** What a body may do, as `plan` takes it. */
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
  /** Within which the span follows; null where it stays. */
  readonly span: SpanLimits | null;
  readonly hands: Hands;
  /** Kept up by whoever fires the sets. */
  readonly stock: Stock;
  readonly journal: Journal | undefined;
  readonly memo?: ScheduledMemo | undefined;
}

/** Plain JSON: what the journal keeps for the run. */
export interface ScheduledMemo {
  readonly version: 1;
  readonly sequence: SequenceMemo;
  readonly stock: StockMemo;
  readonly follow: FollowMemo | null;
  /** Left out by programs that knew no span that follows. */
  readonly span?: SpanMemo | null;
}

export class ScheduledSets implements SetMaker {
  private readonly options: ScheduledSetsOptions;
  private follower: Follower | undefined;
  private readonly spanner: SpanFollower | null;
  /** The last set, whose pictures were not judged when it ended. */
  private unjudged: { readonly run: Run; readonly ended: EndedSet } | null = null;
  private sequenceMemo: SequenceMemo | undefined;
  /** Releases that the last plan counted. */
  private actuations: number | undefined;
  /** Whether the base may be another one than at the beginning of the run. */
  private hasMoved: boolean;

  constructor(options: ScheduledSetsOptions) {
    this.options = options;
    this.hasMoved = options.memo?.follow != null;
    this.spanner = spannerFor(options);
    this.sequenceMemo = options.memo?.sequence;
  }

  /** Keeps how the run stands between its sets. */
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
      // Nothing is waited for any more from here until it is kept.
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

  /** Once the base has moved, readings would say of its frames what does not hold any more. */
  private movedTo({ readings, ...others }: SetRequest, { shutter, shift }: NextBase): SetRequest {
    this.hasMoved ||= shift !== 0 || shutter.label !== others.base;
    return { ...others, ...(this.hasMoved ? {} : { readings }), base: shutter.label };
  }

  /** @param slot counted from 0 @returns the set that was in hand when an earlier program ended */
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

  /** What the pictures of a set tell of its span. */
  private async judge(run: Run, ended: EndedSet): Promise<void> {
    if (this.spanner === null) return;
    const light = await run.judged(JUDGED_WITHIN_MS);
    if (light === null) this.unjudged = { run, ended };
    else this.told(run, ended, light);
  }

  /** Between two sets there is time enough for pictures that take long to be judged. */
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

  /** What cannot be kept now is kept with the next set: it only makes the next base better. */
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

  /** The next set may have more than the last one. */
  private framesPerSet(): number {
    const { request, span } = this.options;
    const last = this.actuations ?? request.offsets.length;
    return span === null ? last : Math.max(last, Math.min(last + span.mostPerSet, span.mostFrames));
  }

  /** Made when a body is there for the first time: its shutters and ISO settings are the ways that the base can go. */
  private followed(body: Body): Follower | undefined {
    const { light, request, schedule, hands, memo } = this.options;
    if (light === null) return undefined;
    this.follower ??= followerFor(request, light, schedule, body, hands.conditionsOf(request), memo?.follow);
    return this.follower;
  }
}

/** @throws EvenrungError base-not-offered where a limit is no setting of the body; malformed-request where they leave nothing */
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

/** @returns null where there is none, or a newer program wrote it */
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

/** With another span, readings would say of its frames what does not hold any more. */
function spanning({ readings, ...others }: SetRequest, { offsets }: NextSpan): SetRequest {
  const isAsAsked =
    offsets.length === others.offsets.length && offsets.every((one, at) => one === others.offsets[at]);
  return { ...others, ...(isAsAsked ? { readings } : {}), offsets };
}

const shiftsOf = (base: NextBase | null): RunOptions['baseShifts'] =>
  base === null || base.shift === 0
    ? []
    : [{ at: new Date().toISOString(), ev: toEv(base.shift), reason: base.reason ?? '' }];

/** What cannot be measured tells nothing of the light. */
async function levelOf(run: Run, at: Sixths = NO_EV): Promise<Level | null> {
  try {
    const picture = await run.middlePicture(at);
    return picture === null ? null : measureLevel(picture.pixels, picture);
  } catch (cause) {
    run.note(`The light of this set could not be measured: ${asEvenrungError(cause).message}`);
    return null;
  }
}
