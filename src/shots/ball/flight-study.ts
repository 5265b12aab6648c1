import type { AeroPreset } from '../../flight/ball-presets.ts';
import { flightRates, prepareFlight } from '../../flight/flight-data.ts';
import {
  type EndReference,
  type FlightFit,
  fitFlight,
  oddSquares,
  type RestReference,
} from '../../flight/flight-fit.ts';
import {
  airForce,
  airOf,
  attitudeAt,
  type FlightState,
  integrateAttitude,
  integrateVelocity,
  type RateTrack,
} from '../../flight/flight-model.ts';
import { predictSpecificForce } from '../../flight/flight-reading.ts';
import { standardGravityMps2 } from '../../foundation/constants.ts';
import type { ImuBlock } from '../../foundation/imu-block.ts';
import type { RestingWork } from '../../foundation/resting-work.ts';
import { type Quaternion, rotate, stepRotation } from '../../signal/rotation.ts';
import { add, norm, scale, subtract, type Vec3, vecAt } from '../../signal/vec3.ts';
import {
  ageCalibration,
  agedByDrift,
  type BallCalibration,
  biasSlope,
  forgetSensor,
  rateCorrectionPrior,
  rateWithBall,
  widenOffset,
} from './calibration.ts';
import { type Edge, type EdgeSeries, edgeParameters, findEdge, sharpenEdge } from './edges.ts';
import type { QuietRun } from './quiet-runs.ts';
import { detectStrikes, grazesNet, pushesOneWay } from './strikes.ts';

/** One free flight with its physics fitted and its two ends found. */
export interface FlightStudy {
  readonly fit: FlightFit;
  readonly calibration: BallCalibration;
  /** Samples in which the ball is surely free, within the block. */
  readonly start: number;
  readonly end: number;
  readonly release: Edge | null;
  readonly contact: Edge | null;
  readonly around: Surroundings;
}

/** The flight's model carried some way past both ends on the raw samples, and what is left of the reading. */
export interface Surroundings {
  /** First sample, within the block. */
  readonly first: number;
  readonly timeS: Float64Array;
  /** Reading minus free flight, m/s², in the frozen frame, 3 per sample: force of whatever touches the ball. */
  readonly forceMps2: Float64Array;
  /** Its size, m/s². */
  readonly sizeMps2: Float64Array;
  readonly attitude: Float64Array;
  readonly velocityMps: Float64Array;
}

/** How far before and after a flight is looked at, s. */
const reach = { beforeS: 0.12, afterS: 0.32 } as const;
/** Samples kept away from the rough ends of a run until they are known. */
const marginSamples = 1;
/** A flight is fitted again when its ends turn out to lie this far from where they were taken, s. */
const refitS = 0.02;

export interface StudyContext {
  readonly block: ImuBlock;
  readonly stepS: number;
  readonly filterDelayS: number;
  readonly aero: AeroPreset;
  readonly calibration: BallCalibration;
  /** Only a finished flight teaches how the sensor drifts. */
  readonly stage: 'early' | 'final';
  /** Gives the still moment before the flight carried to its middle, or null. */
  readonly rest: ((referenceS: number) => RestReference | null) | null;
  readonly end: ((study: FlightStudy) => EndReference | null) | null;
}

/** @returns the fitted flight, or null when the samples do not hold one. */
export function* studyFlight(context: StudyContext, run: QuietRun): RestingWork<FlightStudy | null> {
  const { block, stepS } = context;
  let start = run.start + marginSamples;
  let end = run.end - marginSamples;
  // Another fit finds other edges: only the last ones need be sharp, and those that tell where the flight led.
  let study: (() => FlightStudy) | null = null;
  const runEnd = end;
  let growing = false;
  let struck: Uint8Array | null = null;
  for (let pass = 0; pass < (growing ? growth.mostPasses : 3); pass++) {
    if (end - start < 8) break;
    const fitting: RestingWork<FittedSamples | null> = fitSamples(context, start, end, study, struck);
    let fitted = yield* fitting;
    if (pass === 0) {
      const first = Math.ceil(growth.firstS / stepS);
      const poor = !fitted || fitted.fit.residualMps2 > growth.poorMps2;
      if (poor) yield;
      const part = poor && end - start > 1.3 * first ? yield* fitSamples(context, start, start + first) : null;
      if (part && !(fitted && part.fit.residualMps2 > growth.betterShare * fitted.fit.residualMps2)) {
        fitted = part;
        end = start + first;
        growing = true;
      }
    }
    if (!fitted) break;
    yield;
    const { fit, calibration } = fitted;
    const around = lookAround(context, fit, start, end);
    const noise = 1.8 * fit.residualMps2;
    const middle = Math.round((start + end) / 2) - around.first;
    const flags = block.flags.subarray(around.first, around.first + around.timeS.length);
    const touchMps2 = Math.max(edgeParameters.touchMps2, edgeParameters.noiseFactor * noise);
    const series: EdgeSeries = {
      timeS: around.timeS,
      forceMps2: around.sizeMps2,
      flags,
      noiseMps2: noise,
      stepS,
      filterDelayS: context.filterDelayS,
      turns: turnsAt(block, around, stepS),
      pushes: (i: number) =>
        pushesOneWay(around, i, touchMps2) ||
        grazesNet(around, i, touchMps2, fit.state.up, Math.max(0, start - around.first)),
      jumps: (a: number, b: number) => jumpsBetween(block, around, a, b),
    };
    // Fingertips that drag on within the first samples bend the fit and would hide behind what it leaves over.
    const quiet = { ...series, noiseMps2: Math.min(noise, innerNoise(around, start, end)) };
    const dragged = fit.residualMps2 < drag.largestMps2 ? findEdge(quiet, middle, -1) : null;
    const near = dragged !== null && dragged.outside - (start - around.first) <= drag.longestS / stepS;
    const released = near ? dragged : findEdge(series, middle, -1);
    const touch = findEdge(series, middle, 1);
    const freeStart = released ? around.first + released.outside + 2 : start;
    const seenEnd = around.first + around.timeS.length;
    const freeEnd = touch ? around.first + touch.outside - 1 : growing ? Math.min(runEnd, seenEnd) : end;
    const moved = Math.max(Math.abs(freeStart - start), Math.abs(freeEnd - end)) * stepS;
    const dragsOn = near && freeStart > start + marginSamples;
    const here = { fit, calibration, start, end, around };
    const sharp = (): FlightStudy => ({
      ...here,
      release: released && sharpenEdge(near ? quiet : series, released, -1),
      contact: touch && sharpenEdge(series, touch, 1),
    });
    study = context.end === null ? sharp : given(sharp());
    const wanted = pass === 0 && context.end !== null && context.end(study()) !== null;
    const strikes: Uint8Array | null = struck ?? detectStrikes(block, around, freeStart, freeEnd);
    if (moved < refitS && !dragsOn && !wanted && strikes === struck) break;
    struck = strikes;
    if (freeEnd - freeStart < 8) break;
    start = freeStart;
    end = freeEnd;
    yield;
  }
  yield;
  return study?.() ?? null;
}

function given<T>(value: T): () => T {
  return () => value;
}

/** @returns the study as it is with more samples after the flight. */
export function lookOn(context: Pick<StudyContext, 'block' | 'stepS' | 'aero'>, study: FlightStudy): FlightStudy {
  return { ...study, around: lookAround(context, study.fit, study.start, study.end) };
}

/**
 * What leaves more than this over, m/s², may be two flights with a gentle touch between them, a brush of the net: the first part of
 * this length, s, is fitted alone, and where it leaves so much less over, the flight grows from there as far as nothing touches it.
 */
const growth = { poorMps2: 0.12, firstS: 0.35, betterShare: 0.5, mostPasses: 8 } as const;
/** Fingertips drag no longer than this, s, into what seems free, and leave no more than this over in its fit, m/s². */
const drag = { longestS: 0.045, largestMps2: 0.6 } as const;
/** Share of a flight's samples at either end that may still be touched, and the size of a noise against its median. */
const inner = { rim: 0.2, ofMedian: 1.3 } as const;

/** Noise of the size of what is left over, as it is in the middle of the flight. */
function innerNoise(around: Surroundings, start: number, end: number): number {
  const rim = Math.floor(inner.rim * (end - start));
  const sizes = around.sizeMps2.slice(start - around.first + rim, end - around.first - rim).sort();
  return inner.ofMedian * (sizes[sizes.length >> 1] ?? Number.POSITIVE_INFINITY);
}

/** A free ball's rate changes evenly and slowly; what changes it at once by more than this, rad/s, touched it. */
const graze = { leastRadps: 0.06, ofTrend: 2, apartS: 0.012, meanS: 0.012 } as const;

/** The same across lost packets: rad/s, and the imbalance of a ball as a share of ω² dt. */
const hidden = { leastRadps: 0.4, unbalance: 0.06 } as const;

/** Compares the mean rates shortly before and after a sample, in the sensor's axes, in which a free ball's hardly changes. */
function turnsAt(block: ImuBlock, around: Surroundings, stepS: number): (i: number) => boolean {
  const gyro = block.gyroRadps as Float64Array;
  const apart = Math.max(1, Math.ceil(graze.apartS / stepS));
  const count = Math.max(1, Math.round(graze.meanS / stepS));
  const mean = (from: number): Vec3 | null => {
    let sum: Vec3 = [0, 0, 0];
    for (let j = from; j < from + count; j++) {
      const k = around.first + j;
      if (j < 0 || j >= around.timeS.length || k >= block.length) return null;
      sum = add(sum, vecAt(gyro, k));
    }
    return scale(sum, 1 / count);
  };
  return (i) => {
    const before = mean(i - apart - count + 1);
    const after = mean(i + apart);
    const earlier = mean(i - 2 * apart - 2 * count + 1) ?? before;
    const later = mean(i + 2 * apart + count) ?? after;
    if (!before || !after || !earlier || !later) return false;
    // The lesser of the trends on both sides: after a touch it may be anything.
    const trend = Math.min(norm(subtract(before, earlier)), norm(subtract(later, after)));
    const spanS = timeBetween(block, around, i - apart - count, i + apart + count);
    const usualS = 2 * (apart + count) * stepS;
    return norm(subtract(after, before)) > (graze.leastRadps + graze.ofTrend * trend) * Math.max(1, spanS / usualS);
  };
}

/** A touch hidden between two samples: the rate jumped by more than imbalance could turn it meanwhile. */
function jumpsBetween(block: ImuBlock, around: Surroundings, a: number, b: number): boolean {
  const gyro = block.gyroRadps as Float64Array;
  const before = vecAt(gyro, around.first + a);
  const after = vecAt(gyro, around.first + b);
  const spanS = Math.abs(timeBetween(block, around, a, b));
  return norm(subtract(after, before)) > hidden.leastRadps + hidden.unbalance * norm(before) ** 2 * spanS;
}

function timeBetween(block: ImuBlock, around: Surroundings, from: number, to: number): number {
  const at = (j: number) => block.timeS[Math.min(block.length - 1, Math.max(0, around.first + j))] as number;
  return at(to) - at(from);
}

interface FittedSamples {
  readonly fit: FlightFit;
  readonly calibration: BallCalibration;
}

/** @returns the fit and what was known of ball and sensor when the flight began. */
function* fitSamples(
  context: StudyContext,
  start: number,
  end: number,
  before: (() => FlightStudy) | null = null,
  struck: Uint8Array | null = null,
): RestingWork<FittedSamples | null> {
  const data = prepareFlight(context.block, start, end, struck);
  if (data.length < 6) return null;
  const middle = Math.floor(data.length / 2);
  const middleS = data.timeS[middle] as number;
  const rate = vecAt(data.rateRadps, middle);
  const spin = norm(rate);
  let steady = 0;
  for (let i = 0; i < data.length; i++) steady += norm(vecAt(data.accelMps2, i)) / data.length;
  const usual = widenOffset(ageCalibration(context.calibration, middleS, spin), steady, spin);
  const priorOf = (known: BallCalibration) => ({
    ballAndSensor: known.ballAndSensor,
    rateCorrection: rateCorrectionPrior(known, rate, data.rateClipped),
    rateWithBall: rateWithBall(known, rate),
  });
  const rest = context.rest ? context.rest(middleS) : null;
  const led = before && context.end ? context.end(before()) : null;
  const fitWith = (known: BallCalibration, hypotheses: readonly BallCalibration[]) =>
    fitFlight(data, context.aero, {
      ...priorOf(known),
      rest,
      end: led,
      slowWeights: known.slowWeights,
      biasSlopeMps2PerS: biasSlope(known, (data.timeS[data.length - 1] as number) - (data.timeS[0] as number)),
      hypotheses: hypotheses.map(priorOf),
    });
  const fit = yield* fitWith(usual, context.stage === 'early' ? [] : agedByDrift(context.calibration, middleS, spin));
  if (usual.flights === 0 || !fit || fit.priorSquares < oddSquares) return fit && { fit, calibration: usual };
  // What was learnt may have been learnt wrong, or from another ball.
  const fresh = widenOffset(ageCalibration(forgetSensor(usual), middleS, spin), steady, spin);
  const again = yield* fitWith(fresh, []);
  return again && again.priorSquares < oddSquares && again.cost < fit.cost - oddSquares
    ? { fit: again, calibration: fresh }
    : { fit, calibration: usual };
}

/** Attitude and velocity at an instant near the fit's reference, by one short step. */
function nearReference(fit: FlightFit, aero: AeroPreset, timeS: number): { attitude: Quaternion; velocityMps: Vec3 } {
  const { track, state } = fit;
  const h = timeS - fit.referenceS;
  const w = add(vecAt(track.rateRadps, track.reference), state.rateCorrectionRadps);
  const a = airForce(state.velocityMps, w, state.up, airOf(state, aero));
  return {
    attitude: stepRotation(w, w, h),
    velocityMps: add(state.velocityMps, scale(add(a, scale(state.up, -standardGravityMps2)), h)),
  };
}

function lookAround(
  context: Pick<StudyContext, 'block' | 'stepS' | 'aero'>,
  fit: FlightFit,
  start: number,
  end: number,
): Surroundings {
  const { block, stepS, aero } = context;
  const gyro = block.gyroRadps as Float64Array;
  const first = Math.max(0, start - Math.ceil(reach.beforeS / stepS));
  const last = Math.min(block.length, end + Math.ceil(reach.afterS / stepS));
  const length = last - first;
  const timeS = block.timeS.slice(first, last);
  const rateRadps = gyro.slice(3 * first, 3 * last);
  const rateDotRadps2 = new Float64Array(3 * length);
  const smooth = flightRates(block, gyro, start, end);
  rateRadps.set(smooth.rate, 3 * (start - first));
  rateDotRadps2.set(smooth.rateDot, 3 * (start - first));
  let reference = start - first;
  while (reference < length - 1 && (timeS[reference] as number) < fit.referenceS) reference++;
  const track: RateTrack = { length, timeS, rateRadps, rateDotRadps2, reference };
  const at = nearReference(fit, aero, timeS[reference] as number);
  const attitude = integrateAttitude(track, fit.state.rateCorrectionRadps, at.attitude);
  const state: FlightState = { ...fit.state, velocityMps: at.velocityMps };
  const velocityMps = integrateVelocity(track, state, attitude, aero);
  const predicted = predictSpecificForce(track, state, attitude, velocityMps, aero);
  const forceMps2 = new Float64Array(3 * length);
  const sizeMps2 = new Float64Array(length);
  for (let i = 0; i < length; i++) {
    const reading = vecAt(block.accelMps2, first + i);
    const left = rotate(attitudeAt(attitude, i), [
      reading[0] - (predicted[3 * i] as number),
      reading[1] - (predicted[3 * i + 1] as number),
      reading[2] - (predicted[3 * i + 2] as number),
    ]);
    forceMps2.set(left, 3 * i);
    sizeMps2[i] = norm(left);
  }
  return { first, timeS, forceMps2, sizeMps2, attitude, velocityMps };
}
