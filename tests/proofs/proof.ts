/** One goal of a proof: the figure reached and the bounds it must lie in. */
export interface Goal {
  readonly goal: string;
  readonly figure: number;
  readonly atLeast?: number;
  readonly atMost?: number;
  readonly met: boolean;
}

/** What a proof gets from its runner. */
export interface ProofContext {
  /** Commit the code stands at, 40 hexadecimal digits, or `unknown` outside a repository. */
  readonly commit: string;
  /**
   * A seed that follows from the commit (or from `--seed-from`) and the label alone; recorded in the figures.
   *
   * @returns an unsigned 32-bit whole number
   */
  readonly seed: (label: string) => number;
  /** Share of the whole work to do, in (0, 1]; below 1 nothing is written. */
  readonly scale: number;
  /** Prints a line of progress. */
  readonly say: (line: string) => void;
}

/** What `tests/proofs/<name>.ts` exports as `prove`. `goals` among the figures decide whether the proof held. */
export type Prove = (context: ProofContext) => Promise<ProofFigures>;

export interface ProofFigures {
  readonly goals?: readonly Goal[];
  readonly [figure: string]: unknown;
}

/** @returns a goal met when the figure lies within the bounds given; a figure that is no number meets none */
export function goal(name: string, figure: number, bounds: { atLeast?: number; atMost?: number }): Goal {
  const { atLeast = Number.NEGATIVE_INFINITY, atMost = Number.POSITIVE_INFINITY } = bounds;
  return { goal: name, figure, ...bounds, met: figure >= atLeast && figure <= atMost };
}
