import { Matrix } from 'ml-matrix';
import { absorb, condition, type Gaussian, independent, symmetric } from '../../signal/gaussian.ts';
import type { Vec3 } from '../../signal/vec3.ts';

/**
 * What is known of one ball and its sensor, growing from flight to flight.
 *
 * `ballAndSensor`: drag ratio, lift ratio, accelerometer bias x y z (m/s²), sensor offset x y z (m), buoyancy (m/s²),
 * drag slope.
 * `gyro`: scale error x y z, bias x y z (rad/s); true rate = measured · (1 + scale) + bias.
 */
export interface BallCalibration {
  readonly ballAndSensor: Gaussian;
  readonly gyro: Gaussian;
  readonly flights: number;
}

export const calibrationPriors = {
  /** Drag coefficients of 0.47 to 0.54 are in use for basketballs; air density varies by 5 %. */
  dragSpread: 0.06,
  /** Lift over spin parameter: no measurement of a basketball is published; half the upper bound of 1, wide. */
  lift: 0.5,
  liftSpread: 0.3,
  /**
   * m/s²; the air a size 7 ball displaces pushes it up by 0.14 m/s², the air it carries along (half its volume, Lamb 1932,
   * Hydrodynamics § 92) adds 0.07. Wide enough for none at all, as in recordings made by calculation.
   */
  buoyancyMps2: 0.07,
  buoyancySpreadMps2: 0.08,
  /** A sphere's drag coefficient is flat below its drag crisis and falls in it (Achenbach 1972, J. Fluid Mech. 54:565). */
  dragSlopeSpread: 0.15,
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
  /** What is forgotten from one flight to the next: drag, lift, bias (m/s²), offset (m), gyro scale, gyro bias (rad/s). */
  drift: {
    drag: 0.01,
    lift: 0.05,
    biasMps2: 0.01,
    offsetM: 0.0001,
    buoyancyMps2: 0.002,
    dragSlope: 0.02,
    gyroScale: 0.0005,
    gyroBiasRadps: 0.0009,
  },
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
      [1, p.lift, 0, 0, 0, 0, 0, 0, p.buoyancyMps2, 0],
      [p.dragSpread, p.liftSpread, b, b, b, r, r, r, p.buoyancySpreadMps2, p.dragSlopeSpread],
    ),
    gyro: independent([0, 0, 0, 0, 0, 0], [s, s, s, w, w, w]),
    flights: 0,
  };
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

/** Takes in one fitted flight: the joint posterior of ball and sensor, and of the rate correction at its rate. */
export function learnFlight(
  calibration: BallCalibration,
  ballAndSensor: Gaussian,
  rateRadps: Vec3,
  rateCorrection: Gaussian,
): BallCalibration {
  const d = calibrationPriors.drift;
  const covariance = ballAndSensor.covariance.clone();
  const grow = [
    d.drag,
    d.lift,
    d.biasMps2,
    d.biasMps2,
    d.biasMps2,
    d.offsetM,
    d.offsetM,
    d.offsetM,
    d.buoyancyMps2,
    d.dragSlope,
  ];
  for (const [i, sd] of grow.entries()) covariance.set(i, i, covariance.get(i, i) + sd * sd);
  const gyro = forgetGyro(
    absorb(calibration.gyro, rateDesign(rateRadps), rateCorrection, crossAxisVariance(rateRadps)),
  );
  return { ballAndSensor: { mean: ballAndSensor.mean, covariance }, gyro, flights: calibration.flights + 1 };
}

function forgetGyro(gyro: Gaussian): Gaussian {
  const d = calibrationPriors.drift;
  const covariance = gyro.covariance.clone();
  for (let i = 0; i < 3; i++) covariance.set(i, i, covariance.get(i, i) + d.gyroScale ** 2);
  for (let i = 3; i < 6; i++) covariance.set(i, i, covariance.get(i, i) + d.gyroBiasRadps ** 2);
  return { mean: gyro.mean, covariance };
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
