import { type ImuBlock, sampleFlag } from '../foundation/imu-block.ts';

/** Samples of one free flight, prepared for the fit. Rates are smoothed and differentiated inside the flight only. */
export interface FlightData {
  /** Number of (averaged) samples, n. */
  readonly length: number;
  /** Instants, s of the recording, n. */
  readonly timeS: Float64Array;
  /** Specific force in the sensor's axes, m/s², 3n. */
  readonly accelMps2: Float64Array;
  /** Smoothed angular rate, rad/s, 3n. */
  readonly rateRadps: Float64Array;
  /** Its derivative, rad/s², 3n. */
  readonly rateDotRadps2: Float64Array;
  /** How many raw samples stand behind each axis value; 0 where an axis was clipped or the ball struck, 3n. */
  readonly weight: Float64Array;
  /** Raw samples averaged into one. */
  readonly stride: number;
  /** Whether a gyroscope axis was clipped for most of the flight, x y z. */
  readonly rateClipped: readonly [boolean, boolean, boolean];
  /** Standard error of the decay that clipped axes were given, as a share of their rate per second; 0 without any. */
  readonly decayErrorPerS: number;
}

/** Half width of the window in which the rate is taken as a straight line, s: far below a turn, far above a sample. */
const rateWindowS = 0.03;

/** Averaging stops where the ball would turn by more than this, rad: the mean then shrinks drag by angle² / 24, 0.3 %. */
const largestTurnRad = 0.25;

/** Averaged samples shall lie at least this close, s. */
const coarsestStepS = 0.0155;

/**
 * Cuts, smooths and thins the samples `[start, end)` of a block.
 *
 * Latency: none, the window is finished. The rate of each sample is the value at its instant of the least-squares line
 * through the samples within ± 30 ms (at least ± 2 samples); at the ends the window is one-sided.
 *
 * @param struck samples of the block whose force is left out, 1 each: something ticked or brushed the ball then.
 * @throws RangeError without a gyroscope or with fewer than 6 samples.
 */
export function prepareFlight(
  block: ImuBlock,
  start: number,
  end: number,
  struck: Uint8Array | null = null,
): FlightData {
  const gyro = block.gyroRadps;
  const count = end - start;
  if (!gyro) throw new RangeError('a flight fit needs a gyroscope: this stream has none');
  if (count < 6) throw new RangeError(`a flight fit needs at least 6 samples, got ${count}`);
  const stepS = ((block.timeS[end - 1] as number) - (block.timeS[start] as number)) / (count - 1);
  const { rate, rateDot, rateClipped, decayErrorPerS } = flightRates(block, gyro, start, end);
  let fastest = 0;
  for (let i = 0; i < count; i += 4) {
    fastest = Math.max(
      fastest,
      Math.hypot(rate[3 * i] as number, rate[3 * i + 1] as number, rate[3 * i + 2] as number),
    );
  }
  const stride = Math.max(1, Math.floor(Math.min(coarsestStepS, largestTurnRad / Math.max(fastest, 1)) / stepS));
  const length = Math.floor(count / stride);
  const timeS = new Float64Array(length);
  const accelMps2 = new Float64Array(3 * length);
  const rateRadps = new Float64Array(3 * length);
  const rateDotRadps2 = new Float64Array(3 * length);
  const weight = new Float64Array(3 * length);
  for (let k = 0; k < length; k++) {
    const from = start + k * stride;
    let t = 0;
    for (let i = from; i < from + stride; i++) t += block.timeS[i] as number;
    timeS[k] = t / stride;
    const without = clippedIn(block.flags, from, from + stride) || struck?.subarray(from, from + stride).includes(1);
    for (let axis = 0; axis < 3; axis++) {
      let f = 0;
      let w = 0;
      let d = 0;
      for (let i = from; i < from + stride; i++) {
        f += block.accelMps2[3 * i + axis] as number;
        w += rate[3 * (i - start) + axis] as number;
        d += rateDot[3 * (i - start) + axis] as number;
      }
      accelMps2[3 * k + axis] = f / stride;
      rateRadps[3 * k + axis] = w / stride;
      rateDotRadps2[3 * k + axis] = d / stride;
      weight[3 * k + axis] = without ? 0 : stride;
    }
  }
  return { length, timeS, accelMps2, rateRadps, rateDotRadps2, weight, stride, rateClipped, decayErrorPerS };
}

/** The rates of the samples `[start, end)` of a free flight, smoothed; an axis at its end follows the decay of the others. */
export function flightRates(block: ImuBlock, gyro: Float64Array, start: number, end: number) {
  const { rate, rateDot } = smoothRate(block.timeS, gyro, start, end);
  const rateClipped = clippedAxes(block, gyro, start, end);
  const timeS = block.timeS.subarray(start, end);
  const decayErrorPerS = rateClipped.some(Boolean) ? decayClipped(rate, rateDot, timeS, rateClipped) : 0;
  return { rate, rateDot, rateClipped, decayErrorPerS };
}

/** Usual decay of a ball's spin, 1/s, its spread, and how well a component of 1 rad/s shows it. */
const decay = { meanPerS: 0.02, spreadPerS: 0.02, perRadps: 0.03 } as const;

/**
 * An axis at its end stands still at one value while the ball's spin decays; the square of a fast rate shows that in the force. All
 * components decay alike, so the axes that are not at their end tell how.
 *
 * @returns standard error of the decay, 1/s.
 */
function decayClipped(
  rate: Float64Array,
  rateDot: Float64Array,
  timeS: Float64Array,
  clipped: readonly [boolean, boolean, boolean],
): number {
  const n = timeS.length;
  // The mean, not the middle: where samples are missing they differ, and a slope about the middle would take in the size itself.
  const middleS = timeS.reduce((sum, t) => sum + t, 0) / n;
  let squares = 0;
  let sizes = 0;
  let moment = 0;
  for (let i = 0; i < n; i++) {
    let square = 0;
    for (let axis = 0; axis < 3; axis++) if (!clipped[axis]) square += (rate[3 * i + axis] as number) ** 2;
    const t = (timeS[i] as number) - middleS;
    const size = Math.sqrt(square);
    squares += t * t;
    sizes += size / n;
    moment += t * size;
  }
  const variance = (decay.perRadps / Math.max(sizes, 1e-3)) ** 2;
  const seen = sizes > 1e-3 ? -moment / squares / sizes : decay.meanPerS;
  const prior = decay.spreadPerS ** 2;
  const perS = (seen * prior + decay.meanPerS * variance) / (prior + variance);
  for (let axis = 0; axis < 3; axis++) {
    if (!clipped[axis]) continue;
    // Where the axis stood: the middle of the flight is surely free of touches.
    const end = rate[3 * (n >> 1) + axis] as number;
    for (let i = 0; i < n; i++) {
      const at = end * (1 - perS * ((timeS[i] as number) - middleS));
      rate[3 * i + axis] = at;
      rateDot[3 * i + axis] = -perS * at;
    }
  }
  return Math.sqrt((prior * variance) / (prior + variance));
}

function clippedIn(flags: Uint8Array, from: number, to: number): boolean {
  for (let i = from; i < to; i++) if ((flags[i] as number) & sampleFlag.accelClipped) return true;
  return false;
}

/** A clipped axis sits at one value; its sign and size tell it from the others. */
function clippedAxes(
  block: ImuBlock,
  gyro: Float64Array,
  start: number,
  end: number,
): readonly [boolean, boolean, boolean] {
  const counts = [0, 0, 0];
  for (let i = start; i < end; i++) {
    if (!((block.flags[i] as number) & sampleFlag.gyroClipped)) continue;
    const sizes = [0, 1, 2].map((axis) => Math.abs(gyro[3 * i + axis] as number));
    const top = Math.max(...sizes);
    for (let axis = 0; axis < 3; axis++) {
      if ((sizes[axis] as number) > 0.98 * top) counts[axis] = (counts[axis] as number) + 1;
    }
  }
  const many = (end - start) * 0.3;
  return [(counts[0] as number) > many, (counts[1] as number) > many, (counts[2] as number) > many];
}

/** Local straight lines through the rate: value (rad/s) and slope (rad/s²) at every sample of `[start, end)`, 3 values each. */
export function smoothRate(time: Float64Array, gyro: Float64Array, start: number, end: number) {
  const count = end - start;
  const rate = new Float64Array(3 * count);
  const rateDot = new Float64Array(3 * count);
  let low = start;
  let high = start;
  for (let i = start; i < end; i++) {
    const t0 = time[i] as number;
    while (low < i && t0 - (time[low] as number) > rateWindowS) low++;
    while (high < end && (time[high] as number) - t0 <= rateWindowS) high++;
    const from = Math.max(start, Math.min(low, i - 2));
    const to = Math.min(end, Math.max(high, i + 3));
    let s0 = 0;
    let s1 = 0;
    let s2 = 0;
    const sum = [0, 0, 0, 0, 0, 0];
    for (let j = from; j < to; j++) {
      const dt = (time[j] as number) - t0;
      s0++;
      s1 += dt;
      s2 += dt * dt;
      for (let axis = 0; axis < 3; axis++) {
        const w = gyro[3 * j + axis] as number;
        sum[axis] = (sum[axis] as number) + w;
        sum[3 + axis] = (sum[3 + axis] as number) + w * dt;
      }
    }
    const determinant = s0 * s2 - s1 * s1;
    for (let axis = 0; axis < 3; axis++) {
      const m0 = sum[axis] as number;
      const m1 = sum[3 + axis] as number;
      rate[3 * (i - start) + axis] = (s2 * m0 - s1 * m1) / determinant;
      rateDot[3 * (i - start) + axis] = (s0 * m1 - s1 * m0) / determinant;
    }
  }
  return { rate, rateDot };
}
