// What a link that can hold the button for a time offers the camera process, in addition to what it does for
// the daemon.

export interface Holding {
  /**
   * @returns milliseconds until a button that is held for a time, or is about to be, is let go by itself; 0
   *   if none is
   */
  heldForMs(): number;
  /**
   * The daemon is gone: calls that are listening are answered at once. Settles when a button that is held for
   * a time has been let go.
   */
  holdEnds(): Promise<void>;
}
