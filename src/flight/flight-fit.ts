// Longer than most: starts, iteration, Jacobian and noise of one fit share the parameter vector's order and its scratch memory, and
// are only understood together.
import type { Matrix } from 'ml-matrix';
import { standardGravityMps2 } from '../foundation/constants.ts';
import type { RestingWork } from '../foundation/resting-work.ts';
import { type Gaussian, invertSymmetric, squareOf } from '../signal/gaussian.ts';
import { conjugate, identityQuaternion, type Quaternion, rotate } from '../signal/rotation.ts';
import { add, scale, tangentBasis, unit, type Vec3, vecAt } from '../signal/vec3.ts';
import type { AeroPreset } from './ball-presets.ts';
import type { FlightData } from './flight-data.ts';
import {
  type FlightState,
  integrateAttitude,
  integrateVelocity,
  leverAcceleration,
  type RateTrack,
} from './flight-model.ts';
import { buoyancyReading, leverReading, predictReading } from './flight-reading.ts';
import { guessFlight } from './flight-start.ts';
import { backward, factorise, forward, inner, logDeterminant, sum, times } from './normal-solver.ts';
import {
  fitWhite,
  meanSlow,
  posteriorWeights,
  type SensorNoise,
  slowSizesMps2,
  type Whitening,
  whiten,
  whitenConstant,
  whitening,
} from './slow-noise.ts';

/** Places of the quantities in the parameter vector of the fit; `up` is two small turns about the fitted direction. */
export const flightParameter = {
  velocity: 0,
  up: 3,
  rate: 5,
  drag: 8,
  liftGrowth: 9,
  bias: 10,
  offset: 13,
  buoyancy: 16,
  dragSlope: 17,
  dragBend: 18,
  liftLag: 19,
  count: 20,
} as const;

/** @returns the sum of the variances of three parameters from `first` on: the square of one sigma of a vector's size. */
export function sumOfVariances(covariance: Matrix, first: number): number {
  return covariance.get(first, first) + covariance.get(first + 1, first + 1) + covariance.get(first + 2, first + 2);
}

/** Specific force read in a still moment before the flight, carried into the frozen frame by the gyroscope. */
export interface RestReference {
  readonly forceMps2: Vec3;
  /** Attitude of the sensor in that moment in the frozen frame. */
  readonly restToReference: Quaternion;
  /** One sigma of everything that is not gravity and bias, m/s²: tremor of the hand, drift of the attitude since. */
  readonly standardDeviationMps2: number;
}

/** Where the flight is known to have led. Times lie inside the fitted samples or just beyond. */
export interface EndReference {
  readonly releaseS: number;
  readonly contactS: number;
  readonly rise: { readonly meanM: number; readonly standardDeviationM: number } | null;
  readonly distance: { readonly meanM: number; readonly standardDeviationM: number } | null;
}

export interface FlightPrior {
  /** drag ratio, lift growth, bias x y z, offset x y z, buoyancy, drag slope, drag bend, lift lag: what is known of ball and sensor before this flight. */
  readonly ballAndSensor: Gaussian;
  /** True minus measured rate, x y z, rad/s. */
  readonly rateCorrection: Gaussian;
  /** Covariance of the rate correction with `ballAndSensor`, 3 × 12; none where it is left out. */
  readonly rateWithBall?: Matrix;
  readonly rest: RestReference | null;
  readonly end: EndReference | null;
  /** Weights of `slowSizesMps2`, sum 1. */
  readonly slowWeights: readonly number[];
  /** One sigma of how fast the accelerometer's bias may move within the flight, m/s² per s; none where it is left out. */
  readonly biasSlopeMps2PerS?: number;
  /** Priors that could have been instead, with the same means: the fit says how likely each made the flight. */
  readonly hypotheses: readonly KnownSensor[];
}

export interface FlightFit {
  readonly state: FlightState;
  /** Covariance in the order of `flightParameter` (20 × 20), scaled by the residuals. */
  readonly covariance: Matrix;
  /** The same without what is not fitted (`unfitted`): what the samples told of ball and sensor. */
  readonly steadyCovariance: Matrix;
  /** The two directions in which `up` turns. */
  readonly upBasis: readonly [Vec3, Vec3];
  /** Instant of the frozen frame, s. */
  readonly referenceS: number;
  /** Noise of one raw accelerometer sample as seen in the residuals, m/s². */
  readonly residualMps2: number;
  /** Variance inflation by residuals that follow one another beyond the slow noise, ≥ 1. */
  readonly inflation: number;
  /** Log-likelihood of the flight for each of `slowSizesMps2`. */
  readonly slowLikelihood: readonly number[];
  /** The same for each of the prior's `hypotheses`. */
  readonly hypothesisLikelihood: readonly number[];
  /** Squares of the priors at the solution, in units of their sigmas. */
  readonly priorSquares: number;
  /** Twice the negative log-likelihood of samples and priors, but for what is the same for all fits of these samples. */
  readonly cost: number;
  readonly iterations: number;
  readonly converged: boolean;
  readonly data: FlightData;
  readonly track: RateTrack;
}

const maxIterations = 12;
/** A step that lowers the cost by less moves no parameter by more than a seventh of its standard error. */
const convergedCost = 0.02;
/** The first phase only finds the noise. */
const roughCost = 2;
/** Residual beyond which a stretch is no flight whatever the start, m/s². */
const noFlightMps2 = 0.4;
/**
 * Squares of the priors, in units of their sigmas, beyond which 15 quantities are oddly far off (chi-squared: one in twenty where
 * the flight tells all of them, far fewer where it does not).
 */
export const oddSquares = 25;
/** Iterations in which a fit must come near: a stretch that is no flight never does. */
const hopelessAfter = 4;
const hopelessMps2 = 1.5;
/** One raw sample's noise to start from, m/s². */
const noiseStartMps2 = 0.06;

interface Linearised {
  readonly residual: Float64Array;
  readonly state: FlightState;
  readonly attitude: Float64Array;
  readonly velocity: Float64Array;
  /** Where all of it lies. */
  readonly scratch: Scratch;
}

/**
 * Fits the physics of free flight to accelerometer and gyroscope by Levenberg and Marquardt's method (Marquardt 1963,
 * SIAM J. 11:431) with the priors as further rows, and gives the covariance from the normal matrix. It may rest after each step:
 * what is no flight takes many steps from many starts.
 *
 * @returns the fit, or null when no start led to a finite solution.
 */
export function* fitFlight(data: FlightData, aero: AeroPreset, prior: FlightPrior): RestingWork<FlightFit | null> {
  const track: RateTrack = {
    length: data.length,
    timeS: data.timeS,
    rateRadps: data.rateRadps,
    rateDotRadps2: data.rateDotRadps2,
    reference: Math.floor(data.length / 2),
  };
  let best: FlightFit | null = null;
  const known = knownBefore(prior);
  for (const start of starts(data, track, aero, prior)) {
    const found = yield* descend(data, track, aero, prior, known, start);
    if (!found) continue;
    if (!best || found.cost < best.cost) best = found;
    // Ball, air and sensor can be bent until a wrong arc follows the readings: the priors must agree, too.
    const odd = found.priorSquares > oddSquares;
    if (found.converged && found.residualMps2 < 2 * noiseStartMps2 && !odd) break;
    // Far from any flight, other starts only cost time; a clipped rate is the one thing that can hide a flight this well.
    if (found.residualMps2 > noFlightMps2 && !data.rateClipped.some(Boolean)) break;
  }
  return best;
}

/** Steps in which a rate beyond the gyroscope's end is tried, rad/s: the ends of a second's flight then turn by 15° too much. */
const clippedTrials = { stepRadps: 0.5, count: 20, kept: 6 } as const;

function starts(data: FlightData, track: RateTrack, aero: AeroPreset, prior: FlightPrior): FlightState[] {
  const correction = prior.rateCorrection.mean as unknown as Vec3;
  const w = vecAt(track.rateRadps, track.reference);
  const base = startAt(data, track, aero, prior, correction);
  const others: FlightState[] = [];
  if (data.rateClipped.some(Boolean)) {
    // How fast the ball really turned is open: what explains the force best comes first.
    const trials = Array.from({ length: clippedTrials.count }, (_, k) => {
      const more = k * clippedTrials.stepRadps;
      const raised = correction.map((c, axis) =>
        data.rateClipped[axis] ? more * Math.sign(w[axis] as number) : c,
      ) as unknown as Vec3;
      return startAt(data, track, aero, prior, raised);
    });
    trials.sort((a, b) => a.leftSquares - b.leftSquares);
    return trials.slice(0, clippedTrials.kept).map((trial) => trial.state);
  }
  const { state, guess } = base;
  if (prior.rest) {
    const up = unit(rotate(prior.rest.restToReference, prior.rest.forceMps2));
    others.push({ ...state, up });
  }
  const speed = Math.max(4, Math.hypot(...guess.velocityMps));
  const [east, north] = tangentBasis(guess.up);
  for (const direction of [east, north, scale(east, -1), scale(north, -1)]) {
    others.push({ ...state, velocityMps: scale(direction, speed) });
  }
  return [state, ...others];
}

function startAt(data: FlightData, track: RateTrack, aero: AeroPreset, prior: FlightPrior, correction: Vec3) {
  const mean = prior.ballAndSensor.mean as number[];
  const attitude = integrateAttitude(track, correction);
  const w = add(vecAt(track.rateRadps, track.reference), correction);
  const w2 = w[0] * w[0] + w[1] * w[1] + w[2] * w[2];
  const offset: Vec3 = [mean[5] as number, mean[6] as number, mean[7] as number];
  const bias: Vec3 = [mean[2] as number, mean[3] as number, mean[4] as number];
  const lever = leverAcceleration(w, [0, 0, 0], offset);
  const variance = prior.ballAndSensor.covariance;
  const spread = variance.get(2, 2) + w2 * w2 * variance.get(5, 5);
  // What the guess leaves over prior bias and lever goes to the offset where the spin is fast, else to the bias.
  const share = (w2 * w2 * variance.get(5, 5)) / spread;
  const guess = guessFlight(track, data.accelMps2, data.weight, attitude, aero, add(bias, lever), spread, share);
  const left = add(guess.constantMps2, scale(add(bias, lever), -1));
  const state: FlightState = {
    velocityMps: guess.velocityMps,
    up: guess.up,
    rateCorrectionRadps: correction,
    dragRatio: mean[0] as number,
    liftGrowth: mean[1] as number,
    biasMps2: add(bias, scale(left, 1 - share)),
    offsetM: add(offset, scale(left, -share / Math.max(w2, 1))),
    buoyancyMps2: mean[8] as number,
    dragSlope: mean[9] as number,
    dragBend: mean[10] as number,
    liftLag: mean[11] as number,
  };
  return { state, guess, leftSquares: guess.leftSquares };
}

type KnownSensor = Pick<FlightPrior, 'ballAndSensor' | 'rateCorrection' | 'rateWithBall'>;

/** Inverse covariance of a prior in the order of `flightParameter`, n × n by rows. */
interface PriorMatrix {
  readonly information: Float64Array;
  /** Logarithm of the covariance's determinant; NaN where that is not positive definite. */
  readonly logDeterminant: number;
}

/** The prior and its hypotheses, worked out once for all starts. */
interface KnownBefore {
  readonly own: PriorMatrix;
  readonly hypotheses: () => readonly PriorMatrix[];
}

function knownBefore(prior: FlightPrior): KnownBefore {
  let hypotheses: readonly PriorMatrix[] | null = null;
  return {
    own: priorMatrix(prior),
    hypotheses: () => {
      hypotheses ??= prior.hypotheses.map(priorMatrix);
      return hypotheses;
    },
  };
}

/** Nothing is known of the parameters before the rate correction. */
const priorCount = flightParameter.count - flightParameter.rate;

function priorMatrix({ ballAndSensor, rateCorrection, rateWithBall }: KnownSensor): PriorMatrix {
  const m = priorCount;
  const at = flightParameter.drag - flightParameter.rate;
  const covariance = new Float64Array(m * m);
  put(covariance, m, rateCorrection.covariance, 0, 0);
  put(covariance, m, ballAndSensor.covariance, at, at);
  if (rateWithBall) {
    put(covariance, m, rateWithBall, 0, at);
    for (let r = 0; r < at; r++) for (let c = at; c < m; c++) covariance[c * m + r] = covariance[r * m + c] as number;
  }
  const inverse = invertSymmetric(covariance, m);
  const n = flightParameter.count;
  const information = new Float64Array(n * n);
  for (let r = 0; r < m; r++) {
    const to = (flightParameter.rate + r) * n + flightParameter.rate;
    for (let c = 0; c < m; c++) information[to + c] = inverse[r * m + c] as number;
  }
  return {
    information,
    logDeterminant: factorise(covariance, m) ? logDeterminant(covariance, m) : Number.NaN,
  };
}

function put(into: Float64Array, columns: number, block: Matrix, row: number, column: number): void {
  for (let r = 0; r < block.rows; r++) {
    for (let c = 0; c < block.columns; c++) into[(row + r) * columns + column + c] = block.get(r, c);
  }
}

/** Twice the negative logarithm of the evidence, but for what data alone add: all parameters are integrated out. */
function misfit({ jtj, jtr, squares }: NormalEquations, information: Float64Array, gap: Float64Array): number {
  const n = flightParameter.count;
  const leaning = times(information, n, gap);
  const factor = sum(jtj, information);
  if (!factorise(factor, n)) return Number.POSITIVE_INFINITY;
  const gradient = sum(jtr, leaning);
  forward(factor, n, gradient);
  const misfitted = logDeterminant(factor, n) + squares + inner(gap, leaning) - inner(gradient, gradient);
  return Number.isFinite(misfitted) ? misfitted : Number.POSITIVE_INFINITY;
}

function* descend(
  data: FlightData,
  track: RateTrack,
  aero: AeroPreset,
  prior: FlightPrior,
  known: KnownBefore,
  start: FlightState,
): RestingWork<FlightFit | null> {
  const n = flightParameter.count;
  const { information } = known.own;
  const priorGap = (state: FlightState): Float64Array => {
    const gap = new Float64Array(n);
    const mean = (i: number) => prior.ballAndSensor.mean[i] as number;
    for (let a = 0; a < 3; a++) {
      gap[5 + a] = (state.rateCorrectionRadps[a] as number) - (prior.rateCorrection.mean[a] as number);
      gap[10 + a] = (state.biasMps2[a] as number) - mean(2 + a);
      gap[13 + a] = (state.offsetM[a] as number) - mean(5 + a);
    }
    gap[8] = state.dragRatio - mean(0);
    gap[9] = state.liftGrowth - mean(1);
    gap[16] = state.buoyancyMps2 - mean(8);
    gap[17] = state.dragSlope - mean(9);
    gap[18] = state.dragBend - mean(10);
    gap[19] = state.liftLag - mean(11);
    return gap;
  };
  const priorCost = (state: FlightState): number => {
    const gap = priorGap(state);
    return inner(gap, times(information, n, gap));
  };
  const slowMps2 = meanSlow(prior.slowWeights);
  const free = freedom(data);
  let noise: SensorNoise = { whiteMps2: noiseStartMps2, slowMps2 };
  let filter = whitening(data, noise);
  const costOf = (line: Linearised): number => {
    return weightedSquares(filter, track, prior, line) + priorCost(line.state);
  };
  let current = evaluate(data, track, aero, start);
  let spare = scratchFor(track.length);
  let basis = tangentBasis(start.up);
  let damping = 1e-3;
  let cost = costOf(current);
  if (!Number.isFinite(cost)) return null;
  let iterations = 0;
  let converged = false;
  for (let phase = 0; phase < 2; phase++) {
    converged = false;
    for (let step = 0; step < maxIterations && !converged; step++) {
      iterations++;
      const columns = jacobian(data, track, aero, prior, current, basis);
      const seen = normalEquations(columns, current.residual, filter);
      if (!seen.jtj.every(Number.isFinite)) return null;
      const normal = sum(seen.jtj, information);
      const gradient = sum(seen.jtr, times(information, n, priorGap(current.state)));
      let accepted = false;
      for (let attempt = 0; attempt < 8 && !accepted; attempt++) {
        const damped = normal.slice();
        for (let i = 0; i < n; i++) damped[i * n + i] = (damped[i * n + i] as number) * (1 + damping);
        if (!factorise(damped, n)) {
          damping = Math.max(damping * 10, 1e-6);
          continue;
        }
        const move = gradient.map((value) => -value);
        forward(damped, n, move);
        backward(damped, n, move);
        const next = evaluate(data, track, aero, shiftState(current.state, basis, move), spare);
        const nextCost = costOf(next);
        if (Number.isFinite(nextCost) && nextCost <= cost + 1e-9) {
          converged = cost - nextCost < (phase === 0 ? roughCost : convergedCost);
          spare = current.scratch;
          current = next;
          basis = tangentBasis(next.state.up);
          cost = nextCost;
          damping = Math.max(damping / 10, 1e-9);
          accepted = true;
        } else damping = Math.max(damping * 10, 1e-6);
      }
      if (!accepted) {
        converged = Number.isFinite(cost);
        break;
      }
      if (phase === 0 && step === hopelessAfter && residualNoise(current.residual, data).noise > hopelessMps2)
        return null;
      yield;
    }
    if (!Number.isFinite(cost)) return null;
    if (phase === 0) {
      noise = { whiteMps2: fitWhite(current.residual, data, slowMps2, free), slowMps2 };
      filter = whitening(data, noise);
      cost = costOf(current);
    }
  }
  const seen = residualNoise(current.residual, data);
  const columns = jacobian(data, track, aero, prior, current, basis);
  const gap = priorGap(current.state);
  // Which slow noise explains the flight best, all else free (evidence of the linearised fit; MacKay 1992, Neural Comput. 4:415).
  const slowLikelihood = slowSizesMps2.map((size) => {
    const whiteMps2 = fitWhite(current.residual, data, size, free);
    const trial = whitening(data, { whiteMps2, slowMps2: size });
    return -0.5 * (trial.logDeterminant + misfit(normalEquations(columns, current.residual, trial), information, gap));
  });
  const weights = posteriorWeights(prior.slowWeights, slowLikelihood);
  const slow = meanSlow(weights);
  const white = fitWhite(current.residual, data, slow, free);
  const last = whitening(data, { whiteMps2: white, slowMps2: slow });
  const independent = new Float64Array(current.residual.length);
  whiten(current.residual, last, independent);
  const inflation = residualNoise(independent, data).inflation;
  const wide = whitening(data, { whiteMps2: white * Math.sqrt(inflation), slowMps2: slow * Math.sqrt(inflation) });
  const found = normalEquations(columns, current.residual, wide);
  const hypothesisLikelihood = known
    .hypotheses()
    .map((other) => -0.5 * (other.logDeterminant + misfit(found, other.information, gap)));
  const normal = sum(found.jtj, information);
  const gradient = sum(found.jtr, times(information, n, gap));
  let settles: Float64Array;
  try {
    settles = invertSymmetric(normal, n);
  } catch {
    return null;
  }
  const bends = unfitted(data, track, aero, current, prior.biasSlopeMps2PerS ?? 0);
  const covariance = consider(settles, bends, wide);
  // One step under the noise as it is now known; where the fit had not come near, it would lead anywhere.
  const step = times(settles, n, gradient).map((value) => -value);
  const settled = evaluate(data, track, aero, shiftState(current.state, basis, step), spare);
  const costNow = (line: Linearised): number => weightedSquares(wide, track, prior, line) + priorCost(line.state);
  const state = costNow(settled) <= costNow(current) ? settled.state : current.state;
  if (!covariance.every(Number.isFinite)) return null;
  return {
    state,
    covariance: squareOf(covariance, n),
    steadyCovariance: squareOf(settles, n),
    upBasis: tangentBasis(state.up),
    referenceS: track.timeS[track.reference] as number,
    residualMps2: seen.noise,
    inflation,
    slowLikelihood,
    hypothesisLikelihood,
    priorSquares: priorCost(state),
    cost: cost + filter.logDeterminant,
    iterations,
    converged,
    data,
    track,
  };
}

/** Degrees of freedom of the samples beyond what the fit takes. */
function freedom(data: FlightData): number {
  let counted = 0;
  for (const weight of data.weight) if (weight > 0) counted++;
  return Math.max(1, counted - 12);
}

/** @returns the state moved by `move` (order of `flightParameter`). */
export function shiftState(state: FlightState, basis: readonly [Vec3, Vec3], move: ArrayLike<number>): FlightState {
  const m = (i: number) => move[i] as number;
  return {
    velocityMps: add(state.velocityMps, [m(0), m(1), m(2)]),
    up: unit(add(state.up, add(scale(basis[0], m(3)), scale(basis[1], m(4))))),
    rateCorrectionRadps: add(state.rateCorrectionRadps, [m(5), m(6), m(7)]),
    dragRatio: state.dragRatio + m(8),
    liftGrowth: state.liftGrowth + m(9),
    biasMps2: add(state.biasMps2, [m(10), m(11), m(12)]),
    offsetM: add(state.offsetM, [m(13), m(14), m(15)]),
    buoyancyMps2: state.buoyancyMps2 + m(16),
    dragSlope: state.dragSlope + m(17),
    dragBend: state.dragBend + m(18),
    liftLag: state.liftLag + m(19),
  };
}

/** Places for what one evaluation gives. */
interface Scratch {
  readonly attitude: Float64Array;
  readonly velocity: Float64Array;
  readonly air: Float64Array;
  readonly lever: Float64Array;
  readonly buoyancy: Float64Array;
  readonly residual: Float64Array;
}

function scratchFor(n: number): Scratch {
  return {
    attitude: new Float64Array(4 * n),
    velocity: new Float64Array(3 * n),
    air: new Float64Array(2 * n),
    lever: new Float64Array(3 * n),
    buoyancy: new Float64Array(3 * n),
    residual: new Float64Array(3 * n),
  };
}

/** @param into where to put it; what it held before is lost. */
function evaluate(
  data: FlightData,
  track: RateTrack,
  aero: AeroPreset,
  state: FlightState,
  into: Scratch = scratchFor(track.length),
): Linearised {
  const attitude = integrateAttitude(track, state.rateCorrectionRadps, identityQuaternion, into.attitude);
  leverReading(track, state, into.lever);
  buoyancyReading(track, state, attitude, into.buoyancy);
  const velocity = integrateVelocity(track, state, attitude, aero, into.velocity, into.air);
  const residual = predictReading(track, state, attitude, velocity, aero, into, into.residual);
  for (let i = 0; i < residual.length; i++) residual[i] = (residual[i] as number) - (data.accelMps2[i] as number);
  return { residual, state, attitude, velocity, scratch: into };
}

/** Rows beyond the samples: gravity from a still moment, and where the flight ended. Each is residual over sigma. */
function extraRows(track: RateTrack, prior: FlightPrior, line: Linearised): number[] {
  const rows: number[] = [];
  if (prior.rest) {
    const { forceMps2, restToReference, standardDeviationMps2 } = prior.rest;
    const gravity = rotate(conjugate(restToReference), scale(line.state.up, standardGravityMps2));
    for (let a = 0; a < 3; a++) {
      const gap = (gravity[a] as number) + (line.state.biasMps2[a] as number) - (forceMps2[a] as number);
      rows.push(gap / standardDeviationMps2);
    }
  }
  if (prior.end) {
    const travel = travelBetween(track, line.velocity, prior.end.releaseS, prior.end.contactS);
    const up = line.state.up;
    const rise = travel[0] * up[0] + travel[1] * up[1] + travel[2] * up[2];
    const distance = Math.sqrt(Math.max(1e-6, travel[0] ** 2 + travel[1] ** 2 + travel[2] ** 2 - rise * rise));
    if (prior.end.rise) rows.push((rise - prior.end.rise.meanM) / prior.end.rise.standardDeviationM);
    if (prior.end.distance) rows.push((distance - prior.end.distance.meanM) / prior.end.distance.standardDeviationM);
  }
  return rows;
}

/** Way of the ball's centre between two instants in the frozen frame, m; velocity is held straight beyond the samples. */
function travelBetween(track: RateTrack, velocity: Float64Array, fromS: number, toS: number): Vec3 {
  const last = track.length - 1;
  const way: [number, number, number] = [0, 0, 0];
  for (let axis = 0; axis < 3; axis++) {
    let sum = 0;
    for (let i = 1; i <= last; i++) {
      const h = (track.timeS[i] as number) - (track.timeS[i - 1] as number);
      sum += (h / 2) * ((velocity[3 * i + axis] as number) + (velocity[3 * i - 3 + axis] as number));
    }
    sum += ((track.timeS[0] as number) - fromS) * (velocity[axis] as number);
    sum += (toS - (track.timeS[last] as number)) * (velocity[3 * last + axis] as number);
    way[axis] = sum;
  }
  return way;
}

function weightedSquares(filter: Whitening, track: RateTrack, prior: FlightPrior, line: Linearised): number {
  const { whitened } = workspace(flightParameter.count, line.residual.length);
  whiten(line.residual, filter, whitened);
  let sum = dotProduct(whitened, whitened);
  for (const row of extraRows(track, prior, line)) sum += row * row;
  return sum;
}

/** Steps of the finite differences: far above rounding, far below curvature. */
const differenceStep = [1e-3, 1e-3, 1e-3, 1e-4, 1e-4, 1e-4, 1e-4, 1e-4, 1e-3, 1e-3] as const;

/** Derivatives of residuals and extra rows; the columns lie in the workspace and last until the next call. */
interface Jacobian {
  readonly columns: readonly Float64Array[];
  readonly extraColumns: readonly (readonly number[])[];
  readonly extra: readonly number[];
}

function jacobian(
  data: FlightData,
  track: RateTrack,
  aero: AeroPreset,
  prior: FlightPrior,
  line: Linearised,
  basis: readonly [Vec3, Vec3],
): Jacobian {
  const n = flightParameter.count;
  const { accelMps2 } = data;
  const rows = 3 * track.length;
  const store = workspace(n, rows);
  const { columns, buoyancy } = store;
  const extra = extraRows(track, prior, line);
  const extraColumns: number[][] = [];
  const move = new Array<number>(n).fill(0);
  // Of a state moved by nothing, since a moved state's vertical has been made a unit vector anew.
  buoyancyReading(track, shiftState(line.state, basis, move), line.attitude, buoyancy);
  const known = { ...line, scratch: { ...line.scratch, buoyancy } };
  for (let p = 0; p < n; p++) {
    const column = columns[p] as Float64Array;
    const h = differenceStep[p] ?? 1e-3;
    move[p] = h;
    const state = shiftState(line.state, basis, move);
    move[p] = 0;
    if (p < flightParameter.bias || p >= flightParameter.buoyancy) {
      const shifted = flyShifted(track, aero, known, p, state, store.scratch);
      for (let i = 0; i < rows; i++) {
        const residual = (shifted.residual[i] as number) - (accelMps2[i] as number);
        column[i] = (residual - (line.residual[i] as number)) / h;
      }
      extraColumns.push(extraRows(track, prior, shifted).map((row, k) => (row - (extra[k] as number)) / h));
    } else {
      const axis = (p - flightParameter.bias) % 3;
      column.fill(0);
      if (p < flightParameter.offset) for (let i = axis; i < rows; i += 3) column[i] = 1;
      else fillLever(column, track, line.state.rateCorrectionRadps, axis);
      const shifted = extraRows(track, prior, { ...line, state });
      extraColumns.push(shifted.map((row, k) => (row - (extra[k] as number)) / h));
    }
  }
  return { columns, extraColumns, extra };
}

/** Normal matrix (n × n by rows), gradient and squares of the whitened residuals with the extra rows; the priors are not in them. */
interface NormalEquations {
  readonly jtj: Float64Array;
  readonly jtr: Float64Array;
  readonly squares: number;
}

function normalEquations(
  { columns, extraColumns, extra }: Jacobian,
  plain: Float64Array,
  filter: Whitening,
): NormalEquations {
  const n = columns.length;
  const { white, whitened: residual } = workspace(n, plain.length);
  whiten(plain, filter, residual);
  for (let p = 0; p < n; p++) {
    // A bias is the same number in one axis at every sample, and nothing in the others.
    if (p < flightParameter.bias || p >= flightParameter.offset) {
      whiten(columns[p] as Float64Array, filter, white[p] as Float64Array);
    } else whitenConstant(filter, p - flightParameter.bias, white[p] as Float64Array);
  }
  const jtj = new Float64Array(n * n);
  const jtr = new Float64Array(n);
  let squares = dotProduct(residual, residual);
  for (const row of extra) squares += row * row;
  for (let a = 0; a < n; a++) {
    const ca = white[a] as Float64Array;
    const axis = a - flightParameter.bias;
    const dot = (other: Float64Array) => (axis >= 0 && axis < 3 ? axisProduct(ca, other, axis) : dotProduct(ca, other));
    let r = dot(residual);
    for (let k = 0; k < extra.length; k++) r += (extraColumns[a]?.[k] as number) * (extra[k] as number);
    jtr[a] = r;
    for (let b = 0; b <= a; b++) {
      const cb = white[b] as Float64Array;
      const other = b - flightParameter.bias;
      let s = other >= 0 && other < 3 ? axisProduct(cb, ca, other) : dot(cb);
      for (let k = 0; k < extra.length; k++) {
        s += (extraColumns[a]?.[k] as number) * (extraColumns[b]?.[k] as number);
      }
      jtj[a * n + b] = s;
      jtj[b * n + a] = s;
    }
  }
  return { jtj, jtr, squares };
}

/**
 * One sigma of what bends the readings without being fitted, each as the change of the residuals: a bias that moves evenly through the
 * flight (the lean of the spin axis hangs on it: a leaning ball feels the air along that axis now from one side, now from the other, as it rises
 * and falls), and another decay of a rate beyond the gyroscope's end.
 */
function* unfitted(
  data: FlightData,
  track: RateTrack,
  aero: AeroPreset,
  line: Linearised,
  slopeMps2PerS: number,
): Generator<Float64Array> {
  const { length, timeS, reference } = track;
  const sinceS = (i: number) => (timeS[i] as number) - (timeS[reference] as number);
  for (let axis = 0; slopeMps2PerS > 0 && axis < 3; axis++) {
    const ramp = new Float64Array(3 * length);
    for (let i = 0; i < length; i++) ramp[3 * i + axis] = slopeMps2PerS * sinceS(i);
    yield ramp;
  }
  if (data.decayErrorPerS === 0) return;
  const rateRadps = track.rateRadps.slice();
  const rateDotRadps2 = track.rateDotRadps2.slice();
  for (let j = 0; j < 3 * length; j++) {
    if (!data.rateClipped[j % 3]) continue;
    const change = data.decayErrorPerS * (track.rateRadps[j] as number);
    rateRadps[j] = (track.rateRadps[j] as number) - change * sinceS(Math.floor(j / 3));
    rateDotRadps2[j] = (track.rateDotRadps2[j] as number) - change;
  }
  const decayed = evaluate(data, { ...track, rateRadps, rateDotRadps2 }, aero, line.state).residual;
  yield decayed.map((value, j) => value - (line.residual[j] as number));
}

/**
 * Adds what changes of the residuals would bend of the solution to its covariance (considered parameters: Schmidt 1966, Adv. Control Syst.
 * 3:293).
 *
 * @param covariance the solution's, n × n by rows; the columns of its Jacobian must be those last whitened.
 */
function consider(covariance: Float64Array, changes: Iterable<Float64Array>, filter: Whitening): Float64Array {
  const n = flightParameter.count;
  const wider = covariance.slice();
  for (const change of changes) {
    const { white, whitened } = workspace(n, change.length);
    whiten(change, filter, whitened);
    const leaning = Float64Array.from({ length: n }, (_, p) => {
      const axis = p - flightParameter.bias;
      const column = white[p] as Float64Array;
      return axis >= 0 && axis < 3 ? axisProduct(column, whitened, axis) : dotProduct(column, whitened);
    });
    const bent = times(covariance, n, leaning);
    for (let i = 0; i < n * n; i++) {
      wider[i] = (wider[i] as number) + (bent[Math.floor(i / n)] as number) * (bent[i % n] as number);
    }
  }
  return wider;
}

/**
 * Flies a state that differs from another in one parameter, `p`: of the reading only what that parameter changes is worked out anew. Its
 * `residual` is the whole reading.
 */
function flyShifted(
  track: RateTrack,
  aero: AeroPreset,
  { scratch: known }: Linearised,
  p: number,
  state: FlightState,
  into: Scratch,
): Linearised {
  const turns = p >= flightParameter.rate && p < flightParameter.drag;
  const attitude = turns
    ? integrateAttitude(track, state.rateCorrectionRadps, identityQuaternion, into.attitude)
    : known.attitude;
  const lever = turns ? leverReading(track, state, into.lever) : known.lever;
  const floats = turns || p === flightParameter.up || p === flightParameter.up + 1 || p === flightParameter.buoyancy;
  const buoyancy = floats ? buoyancyReading(track, state, attitude, into.buoyancy) : known.buoyancy;
  const velocity = integrateVelocity(track, state, attitude, aero, into.velocity, into.air);
  const parts = { lever, buoyancy, air: into.air };
  const residual = predictReading(track, state, attitude, velocity, aero, parts, into.residual);
  return { residual, state, attitude, velocity, scratch: into };
}

interface Workspace {
  readonly columns: Float64Array[];
  readonly white: Float64Array[];
  readonly scratch: Scratch;
  readonly buoyancy: Float64Array;
  readonly whitened: Float64Array;
}

const workspaces = new Map<number, Workspace>();

/** Columns of the Jacobian and a scratch evaluation, kept between calls: they are overwritten whole each time. */
function workspace(count: number, rows: number): Workspace {
  let store = workspaces.get(rows);
  if (!store) {
    // Flights differ in length; a few dozen lengths are worth keeping, not every one ever seen.
    if (workspaces.size > 64) workspaces.clear();
    store = {
      columns: Array.from({ length: count }, () => new Float64Array(rows)),
      white: Array.from({ length: count }, () => new Float64Array(rows)),
      scratch: scratchFor(rows / 3),
      buoyancy: new Float64Array(rows),
      whitened: new Float64Array(rows),
    };
    workspaces.set(rows, store);
  }
  return store;
}

/** Four sums side by side: one alone waits for each addition to finish. */
function dotProduct(a: Float64Array, b: Float64Array): number {
  const n = a.length - (a.length % 4);
  let s0 = 0;
  let s1 = 0;
  let s2 = 0;
  let s3 = 0;
  for (let i = 0; i < n; i += 4) {
    s0 += (a[i] as number) * (b[i] as number);
    s1 += (a[i + 1] as number) * (b[i + 1] as number);
    s2 += (a[i + 2] as number) * (b[i + 2] as number);
    s3 += (a[i + 3] as number) * (b[i + 3] as number);
  }
  for (let i = n; i < a.length; i++) s0 += (a[i] as number) * (b[i] as number);
  return s0 + s1 + (s2 + s3);
}

/** The same where `a` is 0 but for one axis of every sample. */
function axisProduct(a: Float64Array, b: Float64Array, axis: number): number {
  const n = a.length - (a.length % 4);
  let s0 = 0;
  let s1 = 0;
  let s2 = 0;
  let s3 = 0;
  let i = axis;
  for (; i + 9 < n; i += 12) {
    s0 += (a[i] as number) * (b[i] as number);
    s3 += (a[i + 3] as number) * (b[i + 3] as number);
    s2 += (a[i + 6] as number) * (b[i + 6] as number);
    s1 += (a[i + 9] as number) * (b[i + 9] as number);
  }
  // The very sums of `dotProduct`, so that leaving out the zeros changes no digit.
  const sums = axis === 0 ? [s0, s1, s2, s3] : axis === 1 ? [s3, s0, s1, s2] : [s2, s3, s0, s1];
  for (; i < a.length; i += 3) {
    const lane = i < n ? i % 4 : 0;
    sums[lane] = (sums[lane] as number) + (a[i] as number) * (b[i] as number);
  }
  return (sums[0] as number) + (sums[1] as number) + ((sums[2] as number) + (sums[3] as number));
}

/** Change of the lever's acceleration with the offset along one axis: (ω ωᵀ − ω² + [ω̇]×) e. */
function fillLever(column: Float64Array, track: RateTrack, correction: Vec3, axis: number): void {
  const { rateRadps, rateDotRadps2 } = track;
  const [b, c] = [(axis + 1) % 3, (axis + 2) % 3];
  for (let i = 0; i < 3 * track.length; i += 3) {
    const wa = (rateRadps[i + axis] as number) + (correction[axis] as number);
    const wb = (rateRadps[i + b] as number) + (correction[b] as number);
    const wc = (rateRadps[i + c] as number) + (correction[c] as number);
    column[i + axis] = -(wb * wb + wc * wc);
    column[i + b] = wa * wb + (rateDotRadps2[i + c] as number);
    column[i + c] = wa * wc - (rateDotRadps2[i + b] as number);
  }
}

/**
 * Noise of one raw sample from the residuals and how far neighbours follow one another: with correlated errors a sum of
 * n samples scatters more than √n times, by 1 + 2 Σ ρ (Bartlett 1946), counted only where the first ρ is significant.
 */
function residualNoise(residual: Float64Array, data: FlightData): { noise: number; inflation: number } {
  let squares = 0;
  let weights = 0;
  let rows = 0;
  for (let i = 0; i < residual.length; i++) {
    const w = data.weight[i] as number;
    if (w === 0) continue;
    squares += w * (residual[i] as number) ** 2;
    weights += w;
    rows++;
  }
  const degrees = Math.max(1, rows - 12);
  const noise = Math.sqrt(squares / degrees);
  let inflation = 1;
  const variance = squares / Math.max(1, weights);
  const lags = Math.min(12, Math.floor(data.length / 8));
  const threshold = 3 / Math.sqrt(Math.max(1, rows));
  for (let lag = 1; lag <= lags; lag++) {
    let product = 0;
    let count = 0;
    for (let i = 3 * lag; i < residual.length; i++) {
      const j = i - 3 * lag;
      if ((data.weight[i] as number) === 0 || (data.weight[j] as number) === 0) continue;
      product += (residual[i] as number) * (residual[j] as number);
      count++;
    }
    const correlation = count > 0 ? product / count / variance : 0;
    if (correlation < threshold) break;
    inflation += 2 * correlation;
  }
  return { noise, inflation };
}
