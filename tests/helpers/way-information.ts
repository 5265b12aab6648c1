/**
 * What the way of the ball before release tells, and how far the measures read off it can be known: for the bounds of
 * `session-bound.ts`.
 *
 * An accelerometer and a gyroscope that feel everything leave one way open for each release velocity, attitude and state of the
 * sensor: the one that runs back from there by the readings. So the unknowns are those of the shot's flight and of the session, and a
 * measure of the way follows from them. It may jump where they hardly change (a pause that is there or not, a side that is the larger
 * one), and a derivative says nothing then: the bound is the spread of the measure over ways drawn from what is known, which is the
 * least mean square error that any analysis can have.
 *
 * Unknown are besides the accelerometer's sensitivities, which no flight tells, with the analyser's prior.
 *
 * Deviations: 1. noise of single readings on the way back is left out (it adds millimetres); 2. the flight that came to the hands tells by its samples, and a ball that left the floor
 * into it by the analyser's own knowledge of rolling balls; where that flight has taught the session as well it counts twice. Held balls have no
 * bound: what is known of a ball that somebody holds calmly is no matter of noise.
 */
import { CholeskyDecomposition, Matrix } from 'ml-matrix';
import { calibrationPriors } from '../../src/shots/ball/calibration.ts';
import { attitudeOf, type MotionSegment, newState, stateLayout, vectorAt } from '../../src/simulate/ball-state.ts';
import { type FlightParameters, flightReadings } from '../../src/simulate/flight-readings.ts';
import { Motion } from '../../src/simulate/motion.ts';
import type { PlayedAct } from '../../src/simulate/play-acts.ts';
import { Random } from '../../src/simulate/random.ts';
import {
  add,
  addScaled,
  cross,
  dot,
  multiplyQuat,
  normaliseQuat,
  type Quat,
  quatFromRotationVector,
  rotate,
  rotateBack,
  subtract,
  type Vec3,
} from '../../src/simulate/vectors.ts';
import { columns, movedFlight, scaledInverse, stepOf } from './flight-information.ts';

/** Measures of the way with a bound. */
export type WayMeasure = 'sidePathM' | 'pauseS' | 'dipDepthM';
/** Null for a held ball. */
export type WayBounds = Readonly<Record<WayMeasure, number | null>>;

/** What an ideal sensor reads before a release, from there back in steps of `stepS`, and what is known of that way. */
export interface BoundWay {
  /** Of the flight that follows, at its middle. */
  readonly parameters: FlightParameters;
  /** Release, s from the flight's middle; times of the readings, s before release. */
  readonly releaseS: number;
  readonly beforeS: Float64Array;
  /** Readings in the sensor's axes, and how fast the gyroscope's change, 3 a time. */
  readonly accelMps2: Float64Array;
  readonly gyroRadps: Float64Array;
  readonly gyroChangeRadps2: Float64Array;
  /** First of them before the hands had the ball. */
  readonly pickup: number;
  /** Readings in the free flight that came to the hands, and how many samples the sensor took in it. */
  readonly arrival: { readonly from: number; readonly to: number; readonly samples: number } | null;
  /** One sigma of the speed of the ball's skin along the floor at the last reading, m/s, where it has just left it; null elsewhere. */
  readonly rollMps: number | null;
  readonly accelNoiseMps2: number;
}

const stepS = 0.003;
const longestArrivalS = 0.6;
/** The analyser's knowledge of a ball off the floor: it rolls but for one sigma, m/s, and this share of the speed its skin came with. */
const rollKnown = { swayMps: 0.06, share: 0.12 } as const;
const radiusM = 0.121;
/** Readings of the arriving flight that are compared; the others say the same. */
const arrivalReadings = 20;
const drawCount = 60;
const gainStep = 1e-4;
/** Limits that stand in the definitions. */
const limits = { pauseMps: 0.3, bandM: 0.01 } as const;

/**
 * @param parameters of the shot's flight with the level part of its velocity along x.
 * @param turn from the room to the axes of `parameters`.
 * @param middleS middle of the flight in the act's time.
 * @returns null where the shot has no pickup or the ball was held.
 */
export function wayBefore(
  act: PlayedAct,
  parameters: FlightParameters,
  turn: Quat,
  middleS: number,
  sensor: { readonly sensorToBall: Quat; readonly rateHz: number; readonly accelNoiseMps2: number },
): BoundWay | null {
  const { shot } = act;
  if (shot === null || shot.pickupS === null || shot.startKind === 'hold') return null;
  const free = act.segments.filter(({ touch, endS }) => touch === 'free' && endS < shot.releaseS - 0.2).at(-1);
  const arrives = free !== undefined && Math.abs(free.endS - shot.pickupS) < 0.02 ? free : null;
  const wantedS = arrives ? Math.max(arrives.startS, arrives.endS - longestArrivalS) : shot.pickupS;
  const startS = Math.max(act.startS, wantedS) + 1e-6;
  const count = Math.floor((shot.releaseS - startS) / stepS);
  const beforeS = Float64Array.from({ length: count }, (_, k) => k * stepS);
  const accelMps2 = new Float64Array(3 * count);
  const gyroRadps = new Float64Array(3 * count);
  const gyroChangeRadps2 = new Float64Array(3 * count);
  const motion = new Motion(act.segments, act.world);
  const state = newState();
  for (let k = 0; k < count; k++) {
    const atS = shot.releaseS - k * stepS;
    motion.stateAt(atS, state);
    const q = multiplyQuat(turn, multiplyQuat(attitudeOf(state), sensor.sensorToBall));
    const rate = rotateBack(q, rotate(turn, vectorAt(state, stateLayout.rate)));
    const change = rotateBack(q, rotate(turn, vectorAt(state, stateLayout.rateChange)));
    const [ax, ay, az] = vectorAt(state, stateLayout.acceleration);
    const force = rotateBack(q, rotate(turn, [ax, ay, az + parameters.gravityMps2]));
    const swing = add(cross(change, parameters.offsetM), cross(rate, cross(rate, parameters.offsetM)));
    for (let i = 0; i < 3; i++) {
      const gain = 1 + (parameters.gyroScaleError[i] as number);
      gyroRadps[3 * k + i] = gain * (rate[i] as number) + (parameters.gyroBiasRadps[i] as number);
      gyroChangeRadps2[3 * k + i] = gain * (change[i] as number);
      accelMps2[3 * k + i] = (force[i] as number) + (swing[i] as number) + (parameters.accelBiasMps2[i] as number);
    }
  }
  const floor = arrives && wantedS === arrives.startS ? act.segments.find(({ endS }) => endS === arrives.startS) : null;
  const pickup = Math.min(count, Math.ceil((shot.releaseS - shot.pickupS) / stepS));
  return {
    parameters,
    releaseS: shot.releaseS - middleS,
    ...{ beforeS, accelMps2, gyroRadps, gyroChangeRadps2, pickup },
    arrival: arrives ? { from: pickup + 2, to: count, samples: (count - pickup) * stepS * sensor.rateHz } : null,
    rollMps: floor?.touch === 'floor' ? Math.hypot(rollKnown.swayMps, rollKnown.share * skinSpeed(floor)) : null,
    accelNoiseMps2: sensor.accelNoiseMps2,
  };
}

/** Speed of the ball's skin along the floor when it came to it, m/s. */
function skinSpeed(floor: MotionSegment): number {
  const state = newState();
  floor.stateAt(floor.startS, state);
  const [x, y] = skin(vectorAt(state, stateLayout.velocity), vectorAt(state, stateLayout.rate));
  return Math.hypot(x, y);
}

/** Velocity of the lowest point of the ball. */
const skin = (velocity: Vec3, rate: Vec3): Vec3 => add(velocity, cross(rate, [0, 0, -radiusM]));

/** A way as it follows from the unknowns: heights and places to the left of the launch from release, and speeds. */
interface FollowedWay {
  readonly heightM: Float64Array;
  readonly riseMps: Float64Array;
  readonly sideM: Float64Array;
  /** What the sensor reads in the arriving flight and should not, m/s². */
  readonly leftOver: readonly number[];
  /** Of the skin along the floor that it has just left, m/s. */
  readonly rollMps: readonly number[];
}

/** Runs back from the release that `parameters` imply by the readings of `way`. */
function followBack(way: BoundWay, parameters: FlightParameters, gain: Vec3 = [1, 1, 1]): FollowedWay {
  const { beforeS, accelMps2, gyroRadps, gyroChangeRadps2, arrival } = way;
  const count = beforeS.length;
  const out = { heightM: new Float64Array(count), riseMps: new Float64Array(count), sideM: new Float64Array(count) };
  const leftOver: number[] = [];
  let rolls: readonly number[] = [];
  const at = (from: Float64Array, k: number): Vec3 => [
    from[3 * k] as number,
    from[3 * k + 1] as number,
    from[3 * k + 2] as number,
  ];
  const start = flightReadings(parameters, Float64Array.of(way.releaseS));
  let velocity = at(start.velocityMps, 0);
  let position: Vec3 = [0, 0, 0];
  const level = Math.hypot(velocity[0], velocity[1]);
  const left: Vec3 = [-velocity[1] / level, velocity[0] / level, 0];
  const decay = parameters.spinDecayPerS;
  const turnedS = -Math.expm1(-decay * way.releaseS) / decay;
  const atMiddle = normaliseQuat(multiplyQuat(quatFromRotationVector(parameters.turnRad), parameters.attitude));
  let attitude = multiplyQuat(quatFromRotationVector(scaled(parameters.spinRadps, turnedS)), atMiddle);
  let before: { readonly rate: Vec3; readonly force: Vec3 } | null = null;
  const stride = arrival ? Math.max(1, Math.floor((arrival.to - arrival.from) / arrivalReadings)) : 1;
  for (let k = 0; k < count; k++) {
    const true3 = (from: Float64Array, less: Vec3): Vec3 => {
      const read = at(from, k);
      return [0, 1, 2].map(
        (i) => ((read[i] as number) - (less[i] as number)) / (1 + (parameters.gyroScaleError[i] as number)),
      ) as unknown as Vec3;
    };
    const rate = true3(gyroRadps, parameters.gyroBiasRadps);
    const change = true3(gyroChangeRadps2, [0, 0, 0]);
    const swing = add(cross(change, parameters.offsetM), cross(rate, cross(rate, parameters.offsetM)));
    const read = at(accelMps2, k);
    const scaledRead: Vec3 = [read[0] / gain[0], read[1] / gain[1], read[2] / gain[2]];
    const felt = subtract(subtract(scaledRead, parameters.accelBiasMps2), swing);
    if (before) {
      const meanRate = scaled(add(rate, before.rate), 0.5);
      attitude = normaliseQuat(multiplyQuat(attitude, quatFromRotationVector(scaled(meanRate, -stepS))));
    }
    const force = rotate(attitude, felt);
    if (before) {
      const mean = scaled(add(force, before.force), 0.5);
      const earlier = addScaled(velocity, [mean[0], mean[1], mean[2] - parameters.gravityMps2], -stepS);
      position = addScaled(position, add(velocity, earlier), -stepS / 2);
      velocity = earlier;
    }
    before = { rate, force };
    out.heightM[k] = position[2];
    out.riseMps[k] = velocity[2];
    out.sideM[k] = dot(position, left);
    if (arrival && k >= arrival.from && k < arrival.to && (k - arrival.from) % stride === 0) {
      const there: FlightParameters = {
        ...parameters,
        velocityMps: velocity,
        spinRadps: rotate(attitude, rate),
        attitude,
        turnRad: [0, 0, 0],
      };
      const free = flightReadings(there, Float64Array.of(0)).accelMps2;
      for (let i = 0; i < 3; i++) leftOver.push((scaledRead[i] as number) - (free[i] as number));
    }
    if (way.rollMps !== null && k === count - 1) rolls = skin(velocity, rotate(attitude, rate)).slice(0, 2);
  }
  return { ...out, leftOver, rollMps: rolls };
}

const scaled = (v: Vec3, by: number): Vec3 => [v[0] * by, v[1] * by, v[2] * by];

/** How a way changes with each unknown, in the order of `columns` and then the accelerometer's three sensitivities. */
export interface WayChanges {
  readonly way: BoundWay;
  readonly base: FollowedWay;
  /** Per unit of each unknown. */
  readonly per: readonly FollowedWay[];
  /** What the way itself tells of the unknowns. */
  readonly information: Matrix;
}

export function changesOf(way: BoundWay): WayChanges {
  const base = followBack(way, way.parameters);
  const slopes = (h: number, plus: FollowedWay, minus: FollowedWay): FollowedWay => {
    const slope = (a: Float64Array | readonly number[], b: Float64Array | readonly number[]) =>
      Float64Array.from(a, (value, i) => (value - (b[i] as number)) / (2 * h));
    return {
      heightM: slope(plus.heightM, minus.heightM),
      riseMps: slope(plus.riseMps, minus.riseMps),
      sideM: slope(plus.sideM, minus.sideM),
      leftOver: [...slope(plus.leftOver, minus.leftOver)],
      rollMps: [...slope(plus.rollMps, minus.rollMps)],
    };
  };
  const ofFlight = columns.map((_, column) => {
    const h = stepOf(column);
    const moved = (by: number) => followBack(way, movedFlight(way.parameters, column, by));
    return slopes(h, moved(h), moved(-h));
  });
  const ofGain = [0, 1, 2].map((axis) => {
    const gain = (by: number) => [0, 1, 2].map((i) => 1 + (i === axis ? by : 0)) as unknown as Vec3;
    const moved = (by: number) => followBack(way, way.parameters, gain(by));
    return slopes(gainStep, moved(gainStep), moved(-gainStep));
  });
  const per = [...ofFlight, ...ofGain];
  const information = Matrix.zeros(per.length, per.length);
  // Each compared reading stands for several samples.
  const samples = (way.arrival?.samples ?? 0) / Math.max(1, base.leftOver.length / 3);
  const reading = samples / way.accelNoiseMps2 ** 2;
  for (const [a, pa] of per.entries()) {
    for (const [b, pb] of per.entries()) {
      let sum = 0;
      for (const [i, x] of pa.leftOver.entries()) sum += reading * x * (pb.leftOver[i] as number);
      for (const [i, x] of pa.rollMps.entries()) sum += (x * (pb.rollMps[i] as number)) / (way.rollMps as number) ** 2;
      information.set(a, b, sum);
    }
  }
  const prior = 1 / calibrationPriors.accelScaleSpread ** 2;
  for (let i = columns.length; i < per.length; i++) information.set(i, i, information.get(i, i) + prior);
  return { way, base, per, information };
}

/**
 * @param known information of flights and priors, in the order of `columns`.
 * @returns spread of each measure over ways drawn about the true one.
 */
export function wayBounds({ way, base, per, information }: WayChanges, known: Matrix): WayBounds {
  const whole = information.clone();
  for (let i = 0; i < known.rows; i++) {
    for (let j = 0; j < known.columns; j++) whole.set(i, j, whole.get(i, j) + known.get(i, j));
  }
  const factor = lowerFactor(scaledInverse(whole));
  const random = new Random('ways of a bound');
  const read = { ...base, heightM: base.heightM.slice(), riseMps: base.riseMps.slice(), sideM: base.sideM.slice() };
  const draws: WayNumbers[] = [];
  for (let d = 0; d < drawCount; d++) {
    const normals = per.map(() => random.normal());
    const shift = per.map((_, row) => normals.reduce((sum, z, c) => sum + factor.get(row, c) * z, 0));
    for (const sign of [1, -1]) {
      for (const name of ['heightM', 'riseMps', 'sideM'] as const) {
        const moved = read[name];
        moved.set(base[name]);
        for (const [column, by] of shift.entries()) {
          const slope = (per[column] as FollowedWay)[name];
          for (let k = 0; k < moved.length; k++) moved[k] = (moved[k] as number) + sign * by * (slope[k] as number);
        }
      }
      draws.push(readWay(way, read));
    }
  }
  const spread = (of: (draw: WayNumbers) => number): number => {
    const values = draws.map(of);
    const mean = values.reduce((sum, v) => sum + v, 0) / values.length;
    return Math.sqrt(values.reduce((sum, v) => sum + (v - mean) ** 2, 0) / values.length);
  };
  return {
    sidePathM: spread((draw) => draw.sidePathM),
    pauseS: spread((draw) => draw.pauseS),
    dipDepthM: spread((draw) => draw.dipDepthM),
  };
}

interface WayNumbers {
  readonly sidePathM: number;
  readonly pauseS: number;
  readonly dipDepthM: number;
}

/** The measures of a way, by their definitions; it is given from release back. */
export function readWay(way: BoundWay, followed: Pick<FollowedWay, 'heightM' | 'riseMps' | 'sideM'>): WayNumbers {
  const { heightM, riseMps, sideM } = followed;
  const count = way.beforeS.length;
  const share = (k: number, level: number) => {
    const [a, b] = [riseMps[k] as number, riseMps[k - 1] as number];
    return Math.min(1, Math.max(0, (level - b) / (a - b || 1)));
  };
  const last = Math.min(count - 1, way.pickup);
  let [side, lowest, pauseS, open] = [0, Number.POSITIVE_INFINITY, 0, -1];
  for (let k = 0; k <= last; k++) {
    if (Math.abs(sideM[k] as number) > Math.abs(side)) side = sideM[k] as number;
    lowest = Math.min(lowest, heightM[k] as number);
    const rise = riseMps[k] as number;
    const slow = Math.abs(rise) < limits.pauseMps;
    const edge = (level: number) => (k === 0 ? 0 : k - 1 + share(k, level));
    if (slow && open < 0) open = edge(k > 0 && (riseMps[k - 1] as number) > 0 ? limits.pauseMps : -limits.pauseMps);
    if (open >= 0 && (!slow || k === last)) {
      const end = slow ? k : edge(rise > 0 ? limits.pauseMps : -limits.pauseMps);
      pauseS = Math.max(pauseS, (end - open) * stepS);
      open = -1;
    }
  }
  const atPickup = heightM[last] as number;
  return { sidePathM: side, pauseS, dipDepthM: atPickup - lowest - limits.bandM };
}

/** Lower factor of a covariance whose unknowns differ by many powers of ten. */
function lowerFactor(covariance: Matrix): Matrix {
  const n = covariance.rows;
  const size = Array.from({ length: n }, (_, i) => Math.sqrt(Math.max(covariance.get(i, i), 1e-30)));
  const scaledOne = Matrix.zeros(n, n);
  for (let i = 0; i < n; i++) {
    for (let j = 0; j < n; j++) {
      const both = (covariance.get(i, j) + covariance.get(j, i)) / 2;
      scaledOne.set(i, j, both / ((size[i] as number) * (size[j] as number)) + (i === j ? 1e-9 : 0));
    }
  }
  const lower = new CholeskyDecomposition(scaledOne).lowerTriangularMatrix;
  for (let i = 0; i < n; i++) for (let j = 0; j <= i; j++) lower.set(i, j, lower.get(i, j) * (size[i] as number));
  return lower;
}
