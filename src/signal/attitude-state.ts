import type { AttitudeParams } from './attitude-params.ts';

/** Derived once. */
export interface AttitudeCoefficients {
  readonly params: AttitudeParams;
  /** Time of each of the two equal stages of the average. */
  readonly stageTimeS: number;
  /** Growth of the bias variance, (rad/s)² per s. */
  readonly biasWalk: number;
  /** Noise densities of the bias measurements, (rad/s)² s. */
  readonly biasMotionNoise: number;
  readonly biasRestNoise: number;
}

/** What the rest detector remembers. */
export interface RestState {
  /** Weight, mean angular rate and mean specific force, each through two equal stages. */
  first: number[];
  second: number[];
  /** Mean squared deviations of rate and force over a tenth of the time, (rad/s)² and (m/s²)². */
  gyroDeviation: number;
  accelDeviation: number;
  stillS: number;
}

/** The gyroscope's bias and its covariance, both in the sensor's axes. */
export interface GyroBiasState {
  biasRadps: number[];
  /** xx, xy, xz, yy, yz, zz in (rad/s)². */
  covariance: number[];
}

/** Everything the filter remembers: plain numbers, storable as JSON and resumable. */
export interface AttitudeState {
  /** Time and bias-free rate of the last sample; null before the first. */
  last: { timeS: number; rateRadps: number[]; rawRadps: number[] } | null;
  /** Time that one sample stands for, s; a very short one before the second sample. */
  sampleS: number;
  /** Sensor to the frame that the gyroscope alone carries. */
  sensorToCarried: number[];
  /** From there to the world, z up. */
  carriedToWorld: number[];
  /** Averages in two stages: weight, force in the carried frame (3), sensor-to-world matrix (9), bias in the world (2). */
  first: number[];
  second: number[];
  /** Weighted seconds seen, and sums of squared horizontal force, rate and of jumps over them (for the stated error). */
  seenS: number;
  forceSum: number;
  rateSum: number;
  jumpSum: number;
  /**
   * Parts of the heading error: variance of gaps and clipping (rad²), drift by bias (rad), and how far each axis of the
   * sensor has turned it (rad), for the error of that axis's scale.
   */
  headingVariance: number;
  headingDriftRad: number;
  axisTurnRad: number[];
  /** Angle that a running clipping may have hidden, rad. */
  hiddenTurnRad: number;
  inclinationVariance: number;
  /** Share of its memory that the last step kept: below 1 after a gap or clipped rates. */
  kept: number;
  rest: RestState;
  bias: GyroBiasState;
  atRest: boolean;
}

const averaged = 15;

/** What is known of the gyroscope's bias beforehand. */
export interface GyroBiasPrior {
  readonly biasRadps: readonly [number, number, number];
  /** Standard error of each axis, rad/s. */
  readonly biasSdRadps: number;
}

/** @returns the state before the first sample, by what was known of the bias. */
export function initialAttitudeState(
  coefficients: AttitudeCoefficients,
  prior: GyroBiasPrior | null = null,
): AttitudeState {
  const variance = (prior?.biasSdRadps ?? coefficients.params.biasStartSdRadps) ** 2;
  return {
    last: null,
    sampleS: 1e-4,
    sensorToCarried: [1, 0, 0, 0],
    carriedToWorld: [1, 0, 0, 0],
    first: new Array<number>(averaged).fill(0),
    second: new Array<number>(averaged).fill(0),
    seenS: 0,
    forceSum: 0,
    rateSum: 0,
    jumpSum: 0,
    headingVariance: 0,
    headingDriftRad: 0,
    axisTurnRad: [0, 0, 0],
    hiddenTurnRad: 0,
    inclinationVariance: 1,
    kept: 1,
    rest: initialRestState(),
    bias: { biasRadps: [...(prior?.biasRadps ?? [0, 0, 0])], covariance: [variance, 0, 0, variance, 0, variance] },
    atRest: false,
  };
}

/** @returns the state of a rest detector before the first sample. */
export function initialRestState(): RestState {
  return {
    first: new Array<number>(7).fill(0),
    second: new Array<number>(7).fill(0),
    gyroDeviation: 0,
    accelDeviation: 0,
    stillS: 0,
  };
}
