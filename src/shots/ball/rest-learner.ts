import { standardGravityMps2 } from '../../foundation/constants.ts';
import type { ImuBlock } from '../../foundation/imu-block.ts';
import { type BallCalibration, learnRest } from './calibration.ts';

const restParameters = {
  /** Length of the window, s. */
  windowS: 0.8,
  /** Scatter of a gyroscope axis at rest, rad/s; a held ball trembles more. */
  rateScatterRadps: 0.008,
  /** Scatter of the accelerometer at rest, m/s². */
  forceScatterMps2: 0.12,
  levelMps2: 0.8,
  /** A mean rate above this is no bias, rad/s. */
  largestBiasRadps: 0.09,
} as const;

/** Watches for a ball lying still and hands its gyroscope bias to the calibration. Latency: one window. */
export class RestLearner {
  private startS = Number.NaN;
  private count = 0;
  private readonly sum = new Float64Array(6);
  private readonly squares = new Float64Array(6);

  /** Takes one sample and returns the calibration, changed at the end of a window at rest. */
  step(columns: ImuBlock, index: number, calibration: BallCalibration): BallCalibration {
    const timeS = columns.timeS[index] as number;
    const gyro = columns.gyroRadps as Float64Array;
    if (this.count === 0) this.startS = timeS;
    this.count++;
    for (let axis = 0; axis < 3; axis++) {
      const f = columns.accelMps2[3 * index + axis] as number;
      const w = gyro[3 * index + axis] as number;
      this.sum[axis] = (this.sum[axis] as number) + f;
      this.sum[3 + axis] = (this.sum[3 + axis] as number) + w;
      this.squares[axis] = (this.squares[axis] as number) + f * f;
      this.squares[3 + axis] = (this.squares[3 + axis] as number) + w * w;
    }
    if (timeS - this.startS < restParameters.windowS) return calibration;
    const n = this.count;
    const mean = this.sum.map((s) => s / n);
    const scatter = this.squares.map((q, i) => Math.sqrt(Math.max(0, q / n - (mean[i] as number) ** 2)));
    this.count = 0;
    this.sum.fill(0);
    this.squares.fill(0);
    if (n < 10) return calibration;
    const level = Math.hypot(mean[0] as number, mean[1] as number, mean[2] as number);
    const p = restParameters;
    for (let i = 0; i < 3; i++) {
      if ((scatter[i] as number) > p.forceScatterMps2 || (scatter[3 + i] as number) > p.rateScatterRadps)
        return calibration;
      if (Math.abs(mean[3 + i] as number) > p.largestBiasRadps) return calibration;
    }
    if (Math.abs(level - standardGravityMps2) > p.levelMps2) return calibration;
    return learnRest(calibration, [mean[3] as number, mean[4] as number, mean[5] as number]);
  }
}
