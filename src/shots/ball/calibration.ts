import { Matrix } from 'ml-matrix';
import { posteriorWeights } from '../../flight/slow-noise.ts';
import { absorb, condition, type Gaussian, independent, symmetric } from '../../signal/gaussian.ts';
import type { Vec3 } from '../../signal/vec3.ts';
import { noRingMemory, type RingMemory } from './ring-memory.ts';

/**
 * What is known of one ball and its sensor, growing from flight to flight.
 *
 * `ballAndSensor`: drag ratio, lift ratio, accelerometer bias x y z (m/s²), sensor offset x y z (m), buoyancy (m/s²),
 * drag slope, drag bend, lift slope.
 * `gyro`: scale error x y z, bias x y z (rad/s); true rate = measured · (1 + scale) + bias.
 */
export interface BallCalibration {
  readonly ballAndSensor: Gaussian;
  readonly gyro: Gaussian;
  /** Weights of the sizes of slow accelerometer noise (`slowSizesMps2`), sum 1. */
  readonly slowWeights: readonly number[];
  /** Weights of `calibrationPriors.driftScales`, sum 1. */
  readonly driftWeights: readonly number[];
  readonly flights: number;
  /** Flights in a row that were better explained by forgetting what was known. */
  readonly oddFlights: number;
  /** Start and size of the spin of the last flight learnt from, s and rad/s. */
  readonly lastS: number;
  readonly lastSpinRadps: number;
  /** Where the ring was above the releases of earlier shots. */
  readonly rings: RingMemory;
}

export const calibrationPriors = {
  /** Drag coefficients of 0.47 to 0.54 are in use for basketballs; air density varies by 5 %. */
  dragSpread: 0.06,
  /**
   * Lift over spin parameter: no measurement of a basketball is published. Other balls have about as much lift as spin parameter where
   * that is 0.2 (Nathan 2008, Am. J. Phys. 76:119, baseballs), smoother ones less: wide enough for half of it and for all.
   */
  lift: 0.75,
  liftSpread: 0.4,
  /**
   * m/s²; the air a size 7 ball displaces pushes it up by 0.14 m/s², the air it carries along (half its volume, Lamb 1932,
   * Hydrodynamics § 92) adds 0.07. Wide enough for none at all, as in recordings made by calculation.
   */
  buoyancyMps2: 0.07,
  buoyancySpreadMps2: 0.08,
  /** A sphere's drag coefficient is flat below its drag crisis and falls in it (Achenbach 1972, J. Fluid Mech. 54:565). */
  dragSlopeSpread: 0.3,
  dragBendSpread: 0.5,
  /** Lift coefficients of balls grow with the spin parameter's power 0.4 to 1 (from memory of ball-sports papers): 1 − n. */
  liftSlope: 0.1,
  liftSlopeSpread: 0.25,
  /** m/s²; 25 mg, usual zero-g offset after soldering in datasheets of consumer parts. */
  biasSpreadMps2: 0.25,
  /** m; sensors are glued near the middle or at the wall: see `offsetSpreadFor`. */
  offsetSpreadM: 0.02,
  /** Usual sensitivity tolerance in datasheets, 1 %. */
  gyroScaleSpread: 0.01,
  /** rad/s; usual zero-rate offset, 1 °/s. */
  gyroBiasSpreadRadps: (1.2 * Math.PI) / 180,
  /** Misalignment of the axes, rad: what scale and bias cannot explain. */
  gyroCrossAxis: 0.004,
  /** rad/s; slow noise of the gyroscope that stays one-sided over a flight, 0.1 °/s. */
  gyroWanderRadps: 0.0018,
  /** Most sensors are as good as white over a flight. */
  slowWeights: [0.45, 0.2, 0.15, 0.12, 0.08],
  weightForget: 0.02,
  /** So many flights in a row against what was learnt say that it was learnt wrong or that ball or sensor are others now. */
  mostOddFlights: 2,
  /** Drift of the biases against the usual one below, and how likely each is beforehand. */
  driftScales: [0.2, 1, 3],
  driftWeights: [0.4, 0.4, 0.2],
  /** s; from one flight to the next. */
  driftTimeS: 8,
  /** s; after a longer time nothing drifts further than it would have in this. */
  longestDriftS: 600,
  /**
   * What is forgotten in `driftTimeS`: drag, lift, bias (m/s²), offset (m), buoyancy (m/s²), slopes, gyro scale, gyro bias (rad/s).
   */
  drift: {
    drag: 0.007,
    lift: 0.02,
    biasMps2: 0.01,
    offsetM: 0.0001,
    buoyancyMps2: 0.001,
    dragSlope: 0.01,
    dragBend: 0.01,
    liftSlope: 0.012,
    gyroScale: 0.0005,
    gyroBiasRadps: 0.0009,
  },
  /**
   * Change of drag and lift ratio with the spin parameter R ω / v, per unit: a spinning sphere's drag grows and its lift coefficient
   * levels off (from memory of ball-sports papers); R / v at 7 m/s in s.
   */
  bySpin: { drag: 0.1, lift: 0.5, radiusOverSpeedS: 0.017 },
} as const;

/** @returns what is known before the first flight. */
export function initialCalibration(): BallCalibration {
  const p = calibrationPriors;
  const b = p.biasSpreadMps2;
  const r = p.offsetSpreadM;
  const s = p.gyroScaleSpread;
  const w = p.gyroBiasSpreadRadps;
  return {
    ballAndSensor: independent(
      [1, p.lift, 0, 0, 0, 0, 0, 0, p.buoyancyMps2, 0, 0, p.liftSlope],
      [
        p.dragSpread,
        p.liftSpread,
        b,
        b,
        b,
        r,
        r,
        r,
        p.buoyancySpreadMps2,
        p.dragSlopeSpread,
        p.dragBendSpread,
        p.liftSlopeSpread,
      ],
    ),
    gyro: independent([0, 0, 0, 0, 0, 0], [s, s, s, w, w, w]),
    slowWeights: p.slowWeights,
    driftWeights: p.driftWeights,
    flights: 0,
    oddFlights: 0,
    lastS: 0,
    lastSpinRadps: 0,
    rings: noRingMemory,
  };
}

/** @returns nothing learnt but how noisy the sensor is, with one more flight that speaks against what was known. */
export function forgetSensor({ slowWeights, driftWeights, oddFlights }: BallCalibration): BallCalibration {
  return { ...initialCalibration(), slowWeights, driftWeights, oddFlights: oddFlights + 1 };
}

/** Maps gyro scale and bias to the rate correction at a rate: 3 × 6. */
function rateDesign(rateRadps: Vec3): Matrix {
  const design = Matrix.zeros(3, 6);
  for (let axis = 0; axis < 3; axis++) {
    design.set(axis, axis, rateRadps[axis] as number);
    design.set(axis, 3 + axis, 1);
  }
  return design;
}

function crossAxisVariance(rateRadps: Vec3): number {
  const square = rateRadps[0] ** 2 + rateRadps[1] ** 2 + rateRadps[2] ** 2;
  return square * calibrationPriors.gyroCrossAxis ** 2 + calibrationPriors.gyroWanderRadps ** 2;
}

/** @returns the prior of the rate correction during a flight that turns at `rateRadps`. */
export function rateCorrectionPrior(
  calibration: BallCalibration,
  rateRadps: Vec3,
  clipped: readonly boolean[],
): Gaussian {
  const design = rateDesign(rateRadps);
  const covariance = symmetric(design.mmul(calibration.gyro.covariance).mmul(design.transpose()));
  const extra = crossAxisVariance(rateRadps);
  for (let axis = 0; axis < 3; axis++) {
    // A clipped axis only says "at least this fast".
    const unknown = clipped[axis] ? (0.3 * (rateRadps[axis] as number)) ** 2 + 9 : 0;
    covariance.set(axis, axis, covariance.get(axis, axis) + extra + unknown);
  }
  const mean = design.mmul(Matrix.columnVector([...calibration.gyro.mean])).to1DArray();
  return { mean, covariance };
}

/**
 * Where nothing is known of the offset yet, its spread follows from the steady force in flight: a sensor at the wall
 * reads several g there, one near the middle does not.
 */
export function widenOffset(calibration: BallCalibration, steadyForceMps2: number, rateRadps: number): BallCalibration {
  if (calibration.flights > 0 || rateRadps < 3) return calibration;
  const seen = Math.min(0.12, steadyForceMps2 / (rateRadps * rateRadps));
  const spread = Math.max(calibrationPriors.offsetSpreadM, 0.8 * seen);
  const covariance = calibration.ballAndSensor.covariance.clone();
  for (let i = 5; i < 8; i++) covariance.set(i, i, spread * spread);
  return { ...calibration, ballAndSensor: { mean: calibration.ballAndSensor.mean, covariance } };
}

/** @returns what is still known when a flight begins at `timeS` with this spin: everything drifts, the biases most. */
export function ageCalibration(calibration: BallCalibration, timeS: number, spinRadps: number): BallCalibration {
  if (calibration.flights === 0) return { ...calibration, lastS: timeS, lastSpinRadps: spinRadps };
  const p = calibrationPriors;
  const scale2 = p.driftWeights.reduce(
    (sum, _, k) => sum + (calibration.driftWeights[k] as number) * (p.driftScales[k] as number) ** 2,
    0,
  );
  return aged(calibration, timeS, spinRadps, scale2);
}

/** The same for each of `driftScales` alone: the hypotheses that a flight tells apart. */
export function agedByDrift(
  calibration: BallCalibration,
  timeS: number,
  spinRadps: number,
): readonly BallCalibration[] {
  if (calibration.flights === 0) return [];
  return calibrationPriors.driftScales.map((scale) => aged(calibration, timeS, spinRadps, scale * scale));
}

function aged(calibration: BallCalibration, timeS: number, spinRadps: number, biasScale2: number): BallCalibration {
  const p = calibrationPriors;
  const d = p.drift;
  const share = Math.min(p.longestDriftS, Math.max(0, timeS - calibration.lastS)) / p.driftTimeS;
  const turn = p.bySpin.radiusOverSpeedS * (spinRadps - calibration.lastSpinRadps);
  const bias = share * biasScale2 * d.biasMps2 ** 2;
  const offset = share * d.offsetM ** 2;
  const grow = [
    share * d.drag ** 2 + (p.bySpin.drag * turn) ** 2,
    share * d.lift ** 2 + (p.bySpin.lift * turn) ** 2,
    bias,
    bias,
    bias,
    offset,
    offset,
    offset,
    share * d.buoyancyMps2 ** 2,
    share * d.dragSlope ** 2,
    share * d.dragBend ** 2,
    share * d.liftSlope ** 2,
  ];
  const covariance = calibration.ballAndSensor.covariance.clone();
  for (const [i, variance] of grow.entries()) covariance.set(i, i, covariance.get(i, i) + variance);
  const gyro = calibration.gyro.covariance.clone();
  for (let i = 0; i < 3; i++) {
    gyro.set(i, i, gyro.get(i, i) + share * d.gyroScale ** 2);
    gyro.set(3 + i, 3 + i, gyro.get(3 + i, 3 + i) + share * biasScale2 * d.gyroBiasRadps ** 2);
  }
  return {
    ...calibration,
    ballAndSensor: { mean: calibration.ballAndSensor.mean, covariance },
    gyro: { mean: calibration.gyro.mean, covariance: gyro },
    lastS: timeS,
    lastSpinRadps: spinRadps,
  };
}

/** Takes in one fitted flight: the joint posterior of ball and sensor, and of the rate correction at its rate. */
export function learnFlight(
  calibration: BallCalibration,
  ballAndSensor: Gaussian,
  rateRadps: Vec3,
  rateCorrection: Gaussian,
): BallCalibration {
  const gyro = absorb(calibration.gyro, rateDesign(rateRadps), rateCorrection, crossAxisVariance(rateRadps));
  return { ...calibration, ballAndSensor, gyro, flights: calibration.flights + 1, oddFlights: 0 };
}

/**
 * Takes in how likely each size of slow noise and each drift made one flight. What is long past counts less, so that none dies out.
 *
 * @param slow log-likelihoods in the order of `slowSizesMps2`.
 * @param drift the same in the order of `driftScales`, or empty where no flight came before.
 */
export function learnNoise(
  calibration: BallCalibration,
  slow: readonly number[],
  drift: readonly number[],
): BallCalibration {
  const p = calibrationPriors;
  const mixed = (now: readonly number[], first: readonly number[]) =>
    now.map((w, k) => (1 - p.weightForget) * w + p.weightForget * (first[k] as number));
  const driftWeights = mixed(calibration.driftWeights, p.driftWeights);
  return {
    ...calibration,
    slowWeights: posteriorWeights(mixed(calibration.slowWeights, p.slowWeights), slow),
    driftWeights: drift.length > 0 ? posteriorWeights(driftWeights, drift) : driftWeights,
  };
}

/** Takes in a moment of rest: the gyroscope reads its bias, the accelerometer 1 g along an unknown direction. */
export function learnRest(calibration: BallCalibration, meanRateRadps: Vec3): BallCalibration {
  const design = Matrix.zeros(3, 6);
  for (let axis = 0; axis < 3; axis++) design.set(axis, 3 + axis, 1);
  const variance = 0.0015 ** 2;
  const gyro = condition(
    calibration.gyro,
    design,
    meanRateRadps.map((w) => -w),
    [variance, variance, variance],
  );
  return { ...calibration, gyro };
}

/** @returns scale and bias of the gyroscope as now known. */
export function gyroMeans(calibration: BallCalibration): { scale: Vec3; biasRadps: Vec3 } {
  const m = calibration.gyro.mean as number[];
  return {
    scale: [m[0] as number, m[1] as number, m[2] as number],
    biasRadps: [m[3] as number, m[4] as number, m[5] as number],
  };
}
