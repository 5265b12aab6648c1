/** Folds samples into columns of a drawing: the least and the greatest value of each channel in each, so that no extreme is lost. */
export interface ColumnFold {
  readonly columns: number;
  readonly channels: number;
  /** Least and greatest value, `[channel][column][least, greatest]`, NaN where the column holds no sample. */
  readonly extremes: Float32Array;
}

/** @returns columns that hold nothing yet. */
export function emptyColumns(channels: number, columns: number): ColumnFold {
  return { channels, columns, extremes: new Float32Array(channels * columns * 2).fill(Number.NaN) };
}

/**
 * Takes the least and the greatest value of one channel between two places of the drawing, both included.
 *
 * @param from,to places in columns from the left edge, fractions cut off; what lies outside is left out.
 */
export function foldExtremes(
  fold: ColumnFold,
  channel: number,
  from: number,
  to: number,
  least: number,
  greatest: number,
): void {
  const { columns, extremes } = fold;
  const first = Math.max(0, Math.floor(from));
  const last = Math.min(columns - 1, Math.floor(to));
  for (let column = first; column <= last; column++) {
    const at = 2 * (channel * columns + column);
    const [low, high] = [extremes[at] as number, extremes[at + 1] as number];
    if (!(low <= least)) extremes[at] = least;
    if (!(high >= greatest)) extremes[at + 1] = greatest;
  }
}
