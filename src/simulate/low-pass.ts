/**
 * Butterworth low-pass of second order on six channels (bilinear transform, prewarped at the cut-off; Oppenheim and
 * Schafer, Discrete-Time Signal Processing, 7.1), transposed direct form II.
 */
export class LowPass {
  readonly #b0: number;
  readonly #b1: number;
  readonly #a1: number;
  readonly #a2: number;
  readonly #s1 = new Float64Array(6);
  readonly #s2 = new Float64Array(6);

  constructor(cutoffHz: number, rateHz: number) {
    if (!(cutoffHz > 0 && cutoffHz < rateHz / 2))
      throw new RangeError(`cutoffHz = ${cutoffHz} Hz is outside 0..${rateHz / 2} Hz`);
    const k = Math.tan((Math.PI * cutoffHz) / rateHz);
    const norm = 1 / (1 + Math.SQRT2 * k + k * k);
    this.#b0 = k * k * norm;
    this.#b1 = 2 * this.#b0;
    this.#a1 = 2 * (k * k - 1) * norm;
    this.#a2 = (1 - Math.SQRT2 * k + k * k) * norm;
  }

  /** As if the input had stood at `value` for ever. */
  settle(value: Float64Array): void {
    for (let i = 0; i < 6; i++) {
      const x = value[i] as number;
      this.#s2[i] = (this.#b0 - this.#a2) * x;
      this.#s1[i] = (this.#b1 - this.#a1) * x + (this.#s2[i] as number);
    }
  }

  step(input: Float64Array, output: Float64Array): void {
    for (let i = 0; i < 6; i++) {
      const x = input[i] as number;
      const y = this.#b0 * x + (this.#s1[i] as number);
      this.#s1[i] = this.#b1 * x - this.#a1 * y + (this.#s2[i] as number);
      this.#s2[i] = this.#b0 * x - this.#a2 * y;
      output[i] = y;
    }
  }
}
