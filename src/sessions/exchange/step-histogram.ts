/** Time steps of a recording in bins 0.5 % wide: median and mean of the usual step with bounded memory. */
export class StepHistogram {
  static readonly #shortestS = 1e-7;
  static readonly #binRatio = 1.005;
  readonly #counts = new Float64Array(4200);
  readonly #sumsS = new Float64Array(4200);
  #total = 0;

  add(stepS: number): void {
    const bin = Math.floor(Math.log(stepS / StepHistogram.#shortestS) / Math.log(StepHistogram.#binRatio));
    const at = Math.min(Math.max(bin, 0), this.#counts.length - 1);
    this.#counts[at] = (this.#counts[at] as number) + 1;
    this.#sumsS[at] = (this.#sumsS[at] as number) + stepS;
    this.#total += 1;
  }

  /** @returns the median step, s, or null before the first step. */
  medianS(): number | null {
    let seen = 0;
    for (let bin = 0; bin < this.#counts.length; bin++) {
      const count = this.#counts[bin] as number;
      seen += count;
      if (count > 0 && seen >= this.#total / 2) return (this.#sumsS[bin] as number) / count;
    }
    return null;
  }

  /** @returns the mean of the steps not longer than `longestS`, s, or null when there is none. */
  meanUpToS(longestS: number): number | null {
    let count = 0;
    let sumS = 0;
    for (let bin = 0; bin < this.#counts.length; bin++) {
      const inBin = this.#counts[bin] as number;
      if (inBin === 0) continue;
      const meanS = (this.#sumsS[bin] as number) / inBin;
      if (meanS > longestS) break;
      count += inBin;
      sumS += this.#sumsS[bin] as number;
    }
    return count > 0 ? sumS / count : null;
  }
}
