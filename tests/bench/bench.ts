/**
 * What a file `tests/bench/<name>.bench.ts` exports: `rows`, work that is timed again and again, or `figures`, numbers
 * that the file measures by itself (delays under load, memory), or both.
 */
export interface BenchFile {
  readonly rows?: () => Promise<readonly BenchRow[]>;
  readonly figures?: (context: BenchContext) => Promise<readonly BenchFigure[]>;
}

/** One piece of work, timed by the runner; its data is made before, outside the time. */
export interface BenchRow {
  readonly name: string;
  /** One whole run; what it returns is thrown away. */
  readonly run: () => unknown;
  /** The row that the others of its file are compared with; the first one where none says so. */
  readonly baseline?: boolean;
  /** How many things one run handles, for a rate. */
  readonly amount?: number;
  /** What those things are, e.g. `samples`. */
  readonly amountOf?: string;
  /** Seconds of recording that one run handles, for the ratio to real time. */
  readonly recordingS?: number;
}

export interface BenchFigure {
  readonly name: string;
  readonly value: number;
  readonly unit: string;
}

export interface BenchContext {
  readonly say: (line: string) => void;
}
