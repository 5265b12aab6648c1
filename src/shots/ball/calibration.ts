// Longer than most: all that is learnt of one ball and its sensor is one distribution, with one order of its quantities.
import { Matrix } from 'ml-matrix';
import { posteriorWeights } from '../../flight/slow-noise.ts';
import { absorb, condition, copyOf, type Gaussian, independent, mixed, symmetric } from '../../signal/gaussian.ts';
import type { Vec3 } from '../../signal/vec3.ts';
import { noRingMemory, type RingMemory } from './ring-memory.ts';

/**
 * What is known of one ball and its sensor, growing from flight to flight.
 *
 * `ballAndSensor`: drag ratio, growth of the lift, accelerometer bias x y z (m/s²), sensor offset x y z (m), buoyancy (m/s²),
 * drag slope, drag bend, lag of the lift.
 * `gyro`: scale error x y z, bias x y z (rad/s); true rate = measured · (1 + scale) + bias.
 */
export interface BallCalibration {
  readonly ballAndSensor: Gaussian;
  readonly gyro: Gaussian;
  /**
   * Covariance of `gyro` with `ballAndSensor`, 6 × 12. A flight hardly tells a turn of the lift's push from a turn rate read too high:
   * taken for independent, either would seem better known with every flight, though none tells them apart.
   */
  readonly gyroWithBall: Matrix;
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
   * Growth of the lift coefficient with the spin parameter: no measurement of a basketball is published. Nathan's fit to baseballs (2008,
   * Am. J. Phys. 76:119), S / (2.32 S + 0.4), has 0.54 where S is 0.2, with a coefficient of 1.16 S: it lags 0.62 behind. Balls whose
   * coefficient is proportional to S lag by nothing.
   */
  liftGrowth: 0.55,
  liftGrowthSpread: 0.3,
  liftLag: 0.25,
  liftLagSpread: 0.3,
  /** Spin at which that is meant, rad/s: S is 0.2 there for a ball of size 7 at 7 m/s. */
  liftSpinRadps: 11.7,
  /**
   * m/s²; the air a size 7 ball displaces pushes it up by 0.14 m/s², the air it carries along (half its volume, Lamb 1932,
   * Hydrodynamics § 92) adds 0.07. Wide enough for none at all, as in recordings made by calculation.
   */
  buoyancyMps2: 0.085,
  buoyancySpreadMps2: 0.12,
  /** A sphere's drag coefficient is flat below its drag crisis and falls in it (Achenbach 1972, J. Fluid Mech. 54:565). */
  dragSlopeSpread: 0.3,
  dragBendSpread: 0.5,
  /** m/s²; 25 mg, usual zero-g offset after soldering in datasheets of consumer parts. */
  biasSpreadMps2: 0.25,
  /** m; sensors are glued near the middle or at the wall: see `offsetSpreadFor`. */
  offsetSpreadM: 0.02,
  /** Sensitivities of the accelerometer's axes against each other: another spin axis makes a sensor at the wall seem elsewhere. */
  accelScaleSpread: 0.003,
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
  /** The same for the lift, s: no ball changes its law; it is what any law leaves out that differs between flights. */
  longestLawDriftS: 32,
  /**
   * What is forgotten in `driftTimeS`: drag, lift, bias (m/s²), offset (m), buoyancy (m/s²), slopes, gyro scale, gyro bias (rad/s).
   */
  drift: {
    drag: 0.007,
    liftGrowth: 0.015,
    biasMps2: 0.01,
    offsetM: 0.0001,
    buoyancyMps2: 0.001,
    dragSlope: 0.01,
    dragBend: 0.01,
    liftLag: 0.015,
    gyroScale: 0.0005,
    gyroBiasRadps: 0.0009,
  },
  /**
   * Change of drag and lift ratio with the spin parameter R ω / v, per unit, beyond what the lift's own law says: a spinning sphere's
   * drag grows (from memory of ball-sports papers); R / v at 7 m/s in s.
   */
  bySpin: { drag: 0.1, lift: 0.5, radiusOverSpeedS: 0.017 },
} as const;

/** Numbers of quantities of `gyro` and of `ballAndSensor`. */
const gyroCount = 6;
const ballCount = 12;
/** Places in `ballAndSensor`. */
const place = { liftGrowth: 1, offset: 5, liftLag: 11 } as const;

/** @returns gyroscope, then ball and accelerometer, as one distribution. */
function jointly({ gyro, ballAndSensor, gyroWithBall }: BallCalibration): Gaussian {
  const covariance = Matrix.zeros(gyroCount + ballCount, gyroCount + ballCount);
  covariance.setSubMatrix(gyro.covariance, 0, 0);
  covariance.setSubMatrix(ballAndSensor.covariance, gyroCount, gyroCount);
  covariance.setSubMatrix(gyroWithBall, 0, gyroCount);
  covariance.setSubMatrix(gyroWithBall.transpose(), gyroCount, 0);
  return { mean: [...gyro.mean, ...ballAndSensor.mean], covariance };
}

/** @returns the parts of a distribution of all. */
function apart({ mean, covariance }: Gaussian): Pick<BallCalibration, 'gyro' | 'ballAndSensor' | 'gyroWithBall'> {
  const end = gyroCount + ballCount - 1;
  const part = (first: number, last: number): Gaussian => ({
    mean: mean.slice(first, last + 1),
    covariance: covariance.subMatrix(first, last, first, last),
  });
  return {
    gyro: part(0, gyroCount - 1),
    ballAndSensor: part(gyroCount, end),
    gyroWithBall: covariance.subMatrix(0, gyroCount - 1, gyroCount, end),
  };
}

/** @returns what is known before the first flight. */
export function initialCalibration(): BallCalibration {
  const p = calibrationPriors;
  const b = p.biasSpreadMps2;
  const r = p.offsetSpreadM;
  const s = p.gyroScaleSpread;
  const w = p.gyroBiasSpreadRadps;
  return {
    ballAndSensor: independent(
      [1, p.liftGrowth, 0, 0, 0, 0, 0, 0, p.buoyancyMps2, 0, 0, p.liftLag],
      [
        p.dragSpread,
        p.liftGrowthSpread,
        b,
        b,
        b,
        r,
        r,
        r,
        p.buoyancySpreadMps2,
        p.dragSlopeSpread,
        p.dragBendSpread,
        p.liftLagSpread,
      ],
    ),
    gyro: independent([0, 0, 0, 0, 0, 0], [s, s, s, w, w, w]),
    gyroWithBall: Matrix.zeros(gyroCount, ballCount),
    slowWeights: p.slowWeights,
    driftWeights: p.driftWeights,
    flights: 0,
    oddFlights: 0,
    lastS: 0,
    lastSpinRadps: p.liftSpinRadps,
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

/** Variance of what scale and bias leave unexplained of each axis' rate correction. */
function unexplained(rateRadps: Vec3, clipped: readonly boolean[]): number[] {
  const extra = crossAxisVariance(rateRadps);
  // A clipped axis only says "at least this fast".
  return rateRadps.map((rate, axis) => extra + (clipped[axis] ? (0.3 * rate) ** 2 + 9 : 0));
}

/** @returns the prior of the rate correction during a flight that turns at `rateRadps`. */
export function rateCorrectionPrior(
  calibration: BallCalibration,
  rateRadps: Vec3,
  clipped: readonly boolean[],
): Gaussian {
  const design = rateDesign(rateRadps);
  const covariance = symmetric(design.mmul(calibration.gyro.covariance).mmul(design.transpose()));
  for (const [axis, variance] of unexplained(rateRadps, clipped).entries()) {
    covariance.set(axis, axis, covariance.get(axis, axis) + variance);
  }
  const mean = design.mmul(Matrix.columnVector([...calibration.gyro.mean])).to1DArray();
  return { mean, covariance };
}

/** @returns the covariance of that rate correction with `ballAndSensor`, 3 × 12. */
export function rateWithBall({ gyroWithBall }: BallCalibration, rateRadps: Vec3): Matrix {
  return rateDesign(rateRadps).mmul(gyroWithBall);
}

/**
 * Where nothing is known of the offset yet, its spread follows from the steady force in flight: a sensor at the wall
 * reads several g there, one near the middle does not.
 */
export function widenOffset(calibration: BallCalibration, steadyForceMps2: number, rateRadps: number): BallCalibration {
  if (calibration.flights > 0 || rateRadps < 3) return calibration;
  const seen = Math.min(0.12, steadyForceMps2 / (rateRadps * rateRadps));
  const spread = Math.max(calibrationPriors.offsetSpreadM, 0.8 * seen);
  const covariance = copyOf(calibration.ballAndSensor.covariance);
  for (let i = 5; i < 8; i++) covariance.set(i, i, spread * spread);
  return { ...calibration, ballAndSensor: { mean: calibration.ballAndSensor.mean, covariance } };
}

/** @returns what is still known when a flight begins at `timeS` with this spin: everything drifts, the biases most. */
export function ageCalibration(calibration: BallCalibration, timeS: number, spinRadps: number): BallCalibration {
  if (calibration.flights > 0) return aged(calibration, timeS, spinRadps, meanDrift(calibration));
  // A slower ball may have a lift that is proportional as well as one that levels off: they differ by less than is doubted anyway.
  const known = spinRadps > calibration.lastSpinRadps ? apart(knownAtSpin(calibration, spinRadps)) : {};
  return { ...calibration, ...known, lastS: timeS, lastSpinRadps: spinRadps };
}

/** Mean square of `driftScales` as they are weighed now. */
function meanDrift({ driftWeights }: BallCalibration): number {
  return calibrationPriors.driftScales.reduce((sum, size, k) => sum + (driftWeights[k] as number) * size ** 2, 0);
}

/**
 * One sigma of the straight line through what an accelerometer bias wanders within a flight, m/s² per s: 6/5 of a random walk's variance
 * per second and per length.
 */
export function biasSlope(calibration: BallCalibration, flightS: number): number {
  const { drift, driftTimeS } = calibrationPriors;
  return drift.biasMps2 * Math.sqrt((1.2 * meanDrift(calibration)) / (driftTimeS * flightS));
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
  const lawShare = Math.min(share, p.longestLawDriftS / p.driftTimeS);
  const turn = p.bySpin.radiusOverSpeedS * (spinRadps - calibration.lastSpinRadps);
  const bias = share * biasScale2 * d.biasMps2 ** 2;
  const leverM = Math.hypot(...calibration.ballAndSensor.mean.slice(place.offset, place.offset + 3));
  const offset = share * d.offsetM ** 2 + (p.accelScaleSpread * leverM) ** 2;
  const grow = [
    share * d.drag ** 2 + (p.bySpin.drag * turn) ** 2,
    lawShare * d.liftGrowth ** 2 + (p.bySpin.lift * turn) ** 2,
    bias,
    bias,
    bias,
    offset,
    offset,
    offset,
    share * d.buoyancyMps2 ** 2,
    share * d.dragSlope ** 2,
    share * d.dragBend ** 2,
    lawShare * d.liftLag ** 2,
  ];
  const scale = share * d.gyroScale ** 2;
  const rate = share * biasScale2 * d.gyroBiasRadps ** 2;
  const { gyro, ballAndSensor, gyroWithBall } = apart(knownAtSpin(calibration, spinRadps));
  const wider = (of: Gaussian, variances: readonly number[]): Gaussian => {
    for (const [i, variance] of variances.entries()) of.covariance.set(i, i, of.covariance.get(i, i) + variance);
    return of;
  };
  return {
    ...calibration,
    gyro: wider(gyro, [scale, scale, scale, rate, rate, rate]),
    ballAndSensor: wider(ballAndSensor, grow),
    gyroWithBall,
    lastS: timeS,
    lastSpinRadps: spinRadps,
  };
}

const atSpins = new WeakMap<BallCalibration, { readonly spinRadps: number; readonly known: Gaussian }>();

/** All that is known, as it is for a ball that spins so: asked for once for every drift that is tried. */
function knownAtSpin(calibration: BallCalibration, spinRadps: number): Gaussian {
  const before = atSpins.get(calibration);
  if (before?.spinRadps === spinRadps) return before.known;
  const known = atSpin(jointly(calibration), calibration.lastSpinRadps, spinRadps);
  atSpins.set(calibration, { spinRadps, known });
  return known;
}

/** Ratios of two spins up to which the law of the lift is followed, and the slowest spin, rad/s. */
const lawful = { mostTimes: 3, leastSpinRadps: 2, leastShare: 0.2 } as const;

/**
 * A lift that hangs on the spin parameter R ω / v alone changes with the spin as it does with the speed, the other way: by the law
 * S / (1 + b S), ρ times the spin takes (growth + lag) / (growth + ρ lag) squared times the growth, and ρ times as much of the lag.
 */
function atSpin({ mean, covariance }: Gaussian, beforeRadps: number, nowRadps: number): Gaussian {
  const { mostTimes, leastSpinRadps, leastShare } = lawful;
  const times = Math.max(nowRadps, leastSpinRadps) / Math.max(beforeRadps, leastSpinRadps);
  const ratio = beforeRadps > 0 ? Math.min(mostTimes, Math.max(1 / mostTimes, times)) : 1;
  const [first, second] = [gyroCount + place.liftGrowth, gyroCount + place.liftLag];
  const growth = mean[first] as number;
  const lag = mean[second] as number;
  const lift = growth + lag;
  const there = growth + ratio * lag;
  // Against its own law a lift goes on as it is.
  if (ratio === 1 || lift <= 0 || there < leastShare * lift) return { mean, covariance };
  const share = lift / there;
  const byGrowth = (lag * (ratio - 1)) / there ** 2;
  const byLag = (growth * (1 - ratio)) / there ** 2;
  const next = [...mean];
  next[first] = growth * share ** 2;
  next[second] = ratio * lag * share ** 2;
  // How growth and lag move with themselves and each other; all else stays.
  const growthMoves = [share ** 2 + 2 * growth * share * byGrowth, 2 * growth * share * byLag] as const;
  const lagMoves = [2 * ratio * lag * share * byGrowth, ratio * (share ** 2 + 2 * lag * share * byLag)] as const;
  const moved = copyOf(covariance);
  for (let i = 0; i < mean.length; i++) {
    const [a, b] = [moved.get(first, i), moved.get(second, i)];
    moved.set(first, i, growthMoves[0] * a + growthMoves[1] * b);
    moved.set(second, i, lagMoves[0] * a + lagMoves[1] * b);
  }
  for (let i = 0; i < mean.length; i++) {
    const [a, b] = [moved.get(i, first), moved.get(i, second)];
    moved.set(i, first, a * growthMoves[0] + b * growthMoves[1]);
    moved.set(i, second, a * lagMoves[0] + b * lagMoves[1]);
  }
  return { mean: next, covariance: symmetric(moved) };
}

/** What a fitted flight tells: rate correction x y z, then the quantities of `ballAndSensor`, all fitted together. */
export interface FlightLesson {
  readonly rateRadps: Vec3;
  readonly clipped: readonly boolean[];
  readonly learnt: Gaussian;
  /** Squares of what was known before at what was learnt, in units of its sigmas: a net's brush bends a flight that seems free. */
  readonly surprise: number;
}

/** What surprises no more than this is believed as it is: true flights hardly ever do. */
const believedSquares = 7;

/** Takes in one fitted flight. A clipped axis tells nothing of the gyroscope but what ball and accelerometer tell of it. */
export function learnFlight(
  calibration: BallCalibration,
  { rateRadps, clipped, learnt, surprise }: FlightLesson,
): BallCalibration {
  const seen = clipped.some(Boolean) ? 0 : 3;
  const design = Matrix.zeros(seen + ballCount, gyroCount + ballCount);
  if (seen > 0) design.setSubMatrix(rateDesign(rateRadps), 0, 0);
  for (let i = 0; i < ballCount; i++) design.set(seen + i, gyroCount + i, 1);
  const first = 3 - seen;
  const told: Gaussian = {
    mean: learnt.mean.slice(first),
    covariance: learnt.covariance.subMatrix(first, 2 + ballCount, first, 2 + ballCount),
  };
  const extra = new Array<number>(seen + ballCount).fill(0).fill(crossAxisVariance(rateRadps), 0, seen);
  const before = jointly(calibration);
  const after = absorb(before, design, told, extra);
  const belief = surprise > believedSquares ? (believedSquares / surprise) ** 2 : 1;
  const all: Gaussian = {
    mean: before.mean.map((value, i) => value + belief * ((after.mean[i] as number) - value)),
    covariance: mixed(before.covariance, 1 - belief, after.covariance, belief),
  };
  return { ...calibration, ...apart(all), flights: calibration.flights + 1, oddFlights: 0 };
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
  const design = Matrix.zeros(3, gyroCount + ballCount);
  for (let axis = 0; axis < 3; axis++) design.set(axis, 3 + axis, 1);
  const variance = 0.0015 ** 2;
  const all = condition(
    jointly(calibration),
    design,
    meanRateRadps.map((w) => -w),
    [variance, variance, variance],
  );
  return { ...calibration, ...apart(all) };
}

/** @returns scale and bias of the gyroscope as now known. */
export function gyroMeans(calibration: BallCalibration): { scale: Vec3; biasRadps: Vec3 } {
  const m = calibration.gyro.mean as number[];
  return {
    scale: [m[0] as number, m[1] as number, m[2] as number],
    biasRadps: [m[3] as number, m[4] as number, m[5] as number],
  };
}
