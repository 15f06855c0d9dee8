// The one stream of events: numbered, folded into the state that everyone sees, and kept for clients that
// lost the network.
import { randomUUID } from 'node:crypto';
import { afterHappening, NOTHING_YET } from '../../shared/fold.js';
import type { DaemonState, Happening, NumberedEvent } from '../../shared/state.js';

/** Enough for a set of 61 frames, each made up twice, with some reserve. */
const EVENTS_KEPT = 2000;

export type Watcher = (event: NumberedEvent) => void;

export class EventLog {
  /** Numbers count from 1 within an epoch; a new daemon is a new epoch. */
  readonly epoch = randomUUID();
  private readonly watchers = new Set<Watcher>();
  private readonly kept: NumberedEvent[] = [];
  private current: DaemonState = NOTHING_YET;
  private last = 0;

  get state(): DaemonState {
    return this.current;
  }

  /** The number of the last event; 0 before the first. */
  get seq(): number {
    return this.last;
  }

  tell(happening: Happening): void {
    this.last += 1;
    this.current = afterHappening(this.current, happening);
    const event: NumberedEvent = { seq: this.last, at: new Date().toISOString(), happening };
    this.kept.push(event);
    if (this.kept.length > EVENTS_KEPT) this.kept.shift();
    for (const watcher of this.watchers) watcher(event);
  }

  /**
   * @returns the events after that number, or undefined if some of them are not kept any more (then the
   *   whole state is needed)
   */
  since(seq: number): readonly NumberedEvent[] | undefined {
    const missed = this.last - seq;
    if (missed < 0 || missed > this.kept.length) return undefined;
    return missed === 0 ? [] : this.kept.slice(-missed);
  }

  /** @returns a function that ends the watching */
  watch(watcher: Watcher): () => void {
    this.watchers.add(watcher);
    return () => this.watchers.delete(watcher);
  }
}
