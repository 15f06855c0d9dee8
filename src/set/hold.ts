// Whether somebody holds a run; anybody may ask for it and take it back at any time. Code that fires checks
// it before each frame, and waits. It knows neither runs nor bodies.

/** Bodies fall asleep after half a minute at the soonest. From memory, no source. */
export const KEEP_AWAKE_MS = 20_000;

export class Hold {
  private asked = false;
  private turned = new AbortController();

  get isAsked(): boolean {
    return this.asked;
  }

  /** Aborts as soon as it is asked for, or taken back. */
  get change(): AbortSignal {
    return this.turned.signal;
  }

  ask(): void {
    this.turn(true);
  }

  letGo(): void {
    this.turn(false);
  }

  private turn(asked: boolean): void {
    if (this.asked === asked) return;
    this.asked = asked;
    const { turned } = this;
    this.turned = new AbortController();
    turned.abort();
  }
}
