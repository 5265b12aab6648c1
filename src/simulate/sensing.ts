import { type MotionSegment, newState, stateLayout } from './ball-state.ts';
import { LowPass } from './low-pass.ts';
import type { Random } from './random.ts';
import { SensorFaults } from './sensor-faults.ts';
import { innerRateHz, type SensorModel } from './sensor-model.ts';
import type { SensorSwitches } from './switches.ts';
import { multiplyQuat, rotate, type Vec3 } from './vectors.ts';

/** Samples of one sensor in a row; raw numbers are those of the chip where the sensor quantises. */
export interface SampleRun {
  /** Number of the first sample since the session's start. */
  readonly firstIndex: number;
  readonly length: number;
  /** True time of each sample, session seconds (the filter's delay is in the values, not here). */
  readonly timeS: Float64Array;
  /** ax ay az gx gy gz a sample, SI. */
  readonly values: Float64Array;
  /** Bit 1 accelerometer, bit 2 gyroscope at the end of its range. */
  readonly clipped: Uint8Array;
}

/** Turns the ball's motion into what one sensor reads, stretch by stretch, in order. */
export class Sensing {
  readonly #sensor: SensorModel;
  readonly #faults: SensorFaults;
  readonly #gravityMps2: number;
  readonly #periodS: number;
  readonly #offsetBallM: Vec3;
  readonly #state = newState();
  readonly #lowPass: LowPass | null;
  readonly #innerRateHz: number;
  /** Filtered values at the last four inner instants, oldest first. */
  #recent: Float64Array[] = [0, 1, 2, 3].map(() => new Float64Array(6));
  #innerCount = 0;
  #sampleCount = 0;

  constructor(sensor: SensorModel, switches: SensorSwitches, random: Random, gravityMps2: number) {
    this.#sensor = sensor;
    this.#faults = new SensorFaults(sensor, switches, random);
    this.#gravityMps2 = gravityMps2;
    this.#periodS = 1 / (sensor.rateHz * (1 + sensor.rateError));
    this.#offsetBallM = rotate(sensor.sensorToBall, sensor.offsetM);
    this.#innerRateHz = innerRateHz(sensor);
    this.#lowPass = sensor.filter.kind === 'none' ? null : new LowPass(sensor.filter.cutoffHz, this.#innerRateHz);
  }

  /** Reads the segments that follow those already read. */
  read(segments: readonly MotionSegment[]): SampleRun {
    const last = segments[segments.length - 1];
    const endS = last ? last.endS : 0;
    const firstIndex = this.#sampleCount;
    // One inner step of lead: values between the last two inner instants need the next one.
    const readyS = this.#lowPass ? endS - 2 / this.#innerRateHz : endS;
    const count = Math.max(0, Math.floor(readyS / this.#periodS - 1e-9) + 1 - firstIndex);
    const run = {
      firstIndex,
      length: count,
      timeS: new Float64Array(count),
      values: new Float64Array(6 * count),
      clipped: new Uint8Array(count),
    };
    let segmentAt = 0;
    const value = new Float64Array(6);
    const at = (timeS: number): void => {
      while (segmentAt < segments.length - 1 && (segments[segmentAt] as MotionSegment).endS <= timeS) segmentAt++;
      (segments[segmentAt] as MotionSegment).stateAt(timeS, this.#state);
      this.#trueReading(value);
      this.#faults.addRattle(timeS, value);
    };
    for (let i = 0; i < count; i++) {
      const timeS = (firstIndex + i) * this.#periodS;
      if (this.#lowPass) this.#filteredAt(timeS, at, value);
      else at(timeS);
      run.timeS[i] = timeS;
      run.clipped[i] = this.#faults.apply(timeS, value);
      run.values.set(value, 6 * i);
    }
    this.#sampleCount += count;
    if (this.#lowPass) this.#advanceInner(endS, at, value);
    return run;
  }

  #advanceInner(untilS: number, at: (timeS: number) => void, value: Float64Array): void {
    while (this.#innerCount / this.#innerRateHz < untilS - 1e-12) {
      at(this.#innerCount / this.#innerRateHz);
      const oldest = this.#recent.shift() as Float64Array;
      if (this.#innerCount === 0) this.#lowPass?.settle(value);
      this.#lowPass?.step(value, oldest);
      this.#recent.push(oldest);
      this.#innerCount++;
    }
  }

  /** Cubic through the four inner instants around the time, two on each side. */
  #filteredAt(timeS: number, at: (timeS: number) => void, value: Float64Array): void {
    const place = timeS * this.#innerRateHz;
    const before = Math.floor(place + 1e-9);
    this.#advanceInner((before + 2.5) / this.#innerRateHz, at, value);
    const u = place - before;
    if (this.#innerCount < 4) {
      value.set(this.#recent[3] as Float64Array);
      return;
    }
    const lag = this.#innerCount - 1 - before;
    // lag is 2 while the inner instants run just ahead; near a stretch's end they may be further along by a step.
    const v = u + 2 - lag;
    const [a, b, c, d] = this.#recent as [Float64Array, Float64Array, Float64Array, Float64Array];
    const wa = (-v * (v - 1) * (v - 2)) / 6;
    const wb = ((v + 1) * (v - 1) * (v - 2)) / 2;
    const wc = (-(v + 1) * v * (v - 2)) / 2;
    const wd = ((v + 1) * v * (v - 1)) / 6;
    for (let i = 0; i < 6; i++) {
      value[i] = wa * (a[i] as number) + wb * (b[i] as number) + wc * (c[i] as number) + wd * (d[i] as number);
    }
  }

  /** Specific force and angular rate at the sensor, in its own axes, without any fault. */
  #trueReading(out: Float64Array): void {
    const s = this.#state;
    const { acceleration: A, attitude: Q, rate: W, rateChange: D } = stateLayout;
    const q = [s[Q] as number, s[Q + 1] as number, s[Q + 2] as number, s[Q + 3] as number] as const;
    const r = rotate(q, this.#offsetBallM);
    const wx = s[W] as number;
    const wy = s[W + 1] as number;
    const wz = s[W + 2] as number;
    const dx = s[D] as number;
    const dy = s[D + 1] as number;
    const dz = s[D + 2] as number;
    const along = wx * r[0] + wy * r[1] + wz * r[2];
    const square = wx * wx + wy * wy + wz * wz;
    const force: Vec3 = [
      (s[A] as number) + dy * r[2] - dz * r[1] + wx * along - square * r[0],
      (s[A + 1] as number) + dz * r[0] - dx * r[2] + wy * along - square * r[1],
      (s[A + 2] as number) + this.#gravityMps2 + dx * r[1] - dy * r[0] + wz * along - square * r[2],
    ];
    const toRoom = multiplyQuat(q, this.#sensor.sensorToBall);
    const back = [toRoom[0], -toRoom[1], -toRoom[2], -toRoom[3]] as const;
    const f = rotate(back, force);
    const w = rotate(back, [wx, wy, wz]);
    out[0] = f[0];
    out[1] = f[1];
    out[2] = f[2];
    out[3] = w[0];
    out[4] = w[1];
    out[5] = w[2];
  }
}
