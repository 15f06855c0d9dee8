// What a link that can hold the button for a time tells the camera process beside what it does for the daemon.

export interface Holding {
  /** @returns milliseconds until what is held for a time, or is about to be, is let go by itself; 0 if nothing is */
  heldForMs(): number;
  /** The daemon is gone: whoever listens is answered at once. Settles when what is held for a time has been let go. */
  holdEnds(): Promise<void>;
}
