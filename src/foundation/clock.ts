/** Where time comes from. Handed in, so that a test can be the clock. */
export interface Clock {
  /** Seconds since the Unix epoch, with sub-millisecond resolution; never runs backward while the process lives. */
  nowS(): number;
  /**
   * Calls `callback` once, as soon as `nowS()` has reached `atS`; later in the same turn when that is past already.
   *
   * @returns a function that takes the call back.
   */
  schedule(atS: number, callback: () => void): () => void;
}
