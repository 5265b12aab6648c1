/** One row of a CSV recording that was skipped. */
export interface BadRow {
  /** Line in the file, counted from 1; the header is line 1. */
  readonly line: number;
  readonly reason: string;
}

/** Where time goes back from one row to the next, times as the file has them. */
export interface StepBack {
  readonly line: number;
  readonly time: string;
  readonly timeAbove: string;
}

/** How many skipped rows are told one by one. */
export const badRowsTold = 20;

/** Counts skipped rows and keeps the first `badRowsTold` of them. */
export class BadRowBook {
  count = 0;
  readonly first: BadRow[] = [];
  /** Rows skipped because their time was not later than that of a row before. */
  timeCount = 0;
  /** Those of them that repeat the time of the row before. */
  repeatCount = 0;
  /** Rows whose time is earlier than that of the row right above: one where a clock starts again, many in a mixed-up file. */
  stepBackCount = 0;
  /** The first of them. */
  firstStepBack: StepBack | null = null;

  add(line: number, reason: string): void {
    this.count += 1;
    if (this.first.length < badRowsTold) this.first.push({ line, reason });
  }

  addTime(line: number, reason: string): void {
    this.timeCount += 1;
    this.add(line, reason);
  }

  stepBack(step: StepBack): void {
    this.stepBackCount += 1;
    this.firstStepBack ??= step;
  }
}
