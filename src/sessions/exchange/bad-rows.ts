/** One row of a CSV recording that was skipped. */
export interface BadRow {
  /** Line in the file, counted from 1; the header is line 1. */
  readonly line: number;
  readonly reason: string;
}

/** How many skipped rows are told one by one. */
export const badRowsTold = 20;

/** Counts skipped rows and keeps the first `badRowsTold` of them. */
export class BadRowBook {
  count = 0;
  readonly first: BadRow[] = [];
  /** Rows skipped because their time was not later than that of the row before. */
  timeCount = 0;

  add(line: number, reason: string): void {
    this.count += 1;
    if (this.first.length < badRowsTold) this.first.push({ line, reason });
  }

  addTime(line: number, reason: string): void {
    this.timeCount += 1;
    this.add(line, reason);
  }
}
