import type { AeroPreset } from '../../flight/ball-presets.ts';
import { flightParameter, sumOfVariances } from '../../flight/flight-fit.ts';
import { airForce, airOf, attitudeAt, type FlightState, leverAcceleration } from '../../flight/flight-model.ts';
import { standardGravityMps2 } from '../../foundation/constants.ts';
import { type ImuBlock, sampleFlag } from '../../foundation/imu-block.ts';
import { rotate } from '../../signal/rotation.ts';
import { add, cross, dot, norm, scale, subtract, type Vec3, vecAt } from '../../signal/vec3.ts';
import type { FlightStudy } from './flight-study.ts';

/** How the ball left its first touch, frozen frame. */
export interface Rebound {
  /** Change of the centre's velocity by the touch alone, m/s, and one sigma an axis. */
  readonly impulseMps: Vec3;
  readonly standardDeviationMps: number;
  /** Change of the angular rate by the touch, rad/s. */
  readonly turnRadps: Vec3;
}

export const reboundParameters = {
  /** m/s²; left over beyond this is no free motion, and so much of it at the end of a touch still is. */
  freeMps2: 0.5,
  /** s; the free time that is looked at, and the least of it. */
  longestS: 0.22,
  leastS: 0.04,
  /** s; a touch that lasts longer is no bounce. */
  longestTouchS: 0.06,
  /** Samples kept away from both ends of the free time. */
  guard: 1,
  /** m/s²; what scale and misalignment of the accelerometer leave. */
  floorMps2: 0.012,
  /** m/s; beyond this error the velocity is as good as unknown. */
  largestErrorMps: 1.5,
} as const;

/**
 * Reads the velocity after the first touch off the drag of the free motion that follows: the touch itself is mostly too hard for the
 * accelerometer and too short for its filter, the air is not.
 *
 * @param touch first touched sample, counted within `study.around`.
 * @returns null where the ball is not free again soon, or not for long enough.
 */
export function readRebound(block: ImuBlock, study: FlightStudy, aero: AeroPreset, touch: number): Rebound | null {
  const p = reboundParameters;
  const { around, fit } = study;
  const gyro = block.gyroRadps;
  if (!gyro) return null;
  const touchS = around.timeS[touch] as number;
  const free = freeStretch(block, study, touch);
  if (!free) return null;
  const { first, last } = free;
  const n = last - first + 1;
  const middleS = ((around.timeS[first] as number) + (around.timeS[last] as number)) / 2;
  const { state } = fit;
  const rateAt = (i: number) => add(vecAt(gyro, around.first + i), state.rateCorrectionRadps);
  let force: Vec3 = [0, 0, 0];
  let spin: Vec3 = [0, 0, 0];
  for (let i = first; i <= last; i++) {
    const w = rateAt(i);
    const inSensor = subtract(
      subtract(vecAt(block.accelMps2, around.first + i), state.biasMps2),
      leverAcceleration(w, [0, 0, 0], state.offsetM),
    );
    const q = attitudeAt(around.attitude, i);
    force = add(force, scale(rotate(q, inSensor), 1 / n));
    spin = add(spin, scale(rotate(q, w), 1 / n));
  }
  const velocity = velocityOf(force, spin, state, aero, around.timeS, first, last, middleS);
  if (!velocity) return null;
  const fitted = fit.covariance;
  const bias = sumOfVariances(fitted, flightParameter.bias);
  const offset = sumOfVariances(fitted, flightParameter.offset) * dot(spin, spin) ** 2;
  const noise = fit.residualMps2 ** 2 / n;
  const forceError = Math.sqrt((bias + offset) / 3 + noise + p.floorMps2 ** 2);
  const speed = norm(velocity);
  const perM = aero.dragPerM * state.dragRatio;
  const backS = middleS - touchS;
  const before = velocityBefore(study, touch);
  const fall = scale(state.up, standardGravityMps2 * backS);
  const drift = scale(force, -backS);
  const after = add(add(velocity, fall), drift);
  const turnRadps = subtract(spin, rotate(attitudeAt(around.attitude, touch), rateBefore(block, study, touch)));
  // Force over drag's slope across the way, the larger one; the air's own uncertainty; and the attitude's, whose rate jumps somewhere
  // between two samples.
  const stepS = (around.timeS[last] as number) - (around.timeS[first] as number);
  const jumpRad = (norm(turnRadps) * stepS) / (last - first) / Math.sqrt(12);
  const standardDeviationMps = Math.hypot(forceError / (perM * Math.max(speed, 1)), 0.02 * speed, jumpRad * speed);
  // Bias and offset are not known well enough before the first flights: then this tells nothing.
  if (standardDeviationMps > p.largestErrorMps) return null;
  return { impulseMps: subtract(after, before), standardDeviationMps, turnRadps };
}

/** Change of the spin by a touch, frozen frame. */
export interface TurnChange {
  /** Spin just before, rad/s. */
  readonly beforeRadps: Vec3;
  readonly radps: Vec3;
  /** One sigma an axis, rad/s. */
  readonly standardDeviation: number;
  /** What touched the ball soon after that; null where it was not seen. */
  readonly next: NextTouch | null;
}

/** `free`: nothing; `soft`: a net; `hard`: iron or glass, or something that was over at once. */
export type NextTouch = 'free' | 'soft' | 'hard';

/** Samples before a touch whose mean rate is that before, and the error of a rate in any case, rad/s. */
const turning = { before: 3, leastRadps: 0.3 } as const;

/**
 * Reads the change of the spin by the first touch: the gyroscope feels neither force nor lever, so two samples of even turning suffice.
 *
 * @param touch first touched sample, counted within `study.around`.
 * @returns null where a rate was beyond the gyroscope's end or the ball did not soon turn evenly again.
 */
export function readTurn(block: ImuBlock, study: FlightStudy, touch: number): TurnChange | null {
  const { around, fit } = study;
  const gyro = block.gyroRadps;
  if (!gyro) return null;
  const rateAt = (i: number) => add(vecAt(gyro, around.first + i), fit.state.rateCorrectionRadps);
  const clipped = (i: number) =>
    ((block.flags[around.first + i] as number) & (sampleFlag.accelClipped | sampleFlag.gyroClipped)) !== 0;
  const inRoom = (i: number) => rotate(attitudeAt(around.attitude, i), rateAt(i));
  let before: Vec3 = [0, 0, 0];
  for (let k = 1; k <= turning.before; k++) before = add(before, scale(inRoom(touch - 1 - k), 1 / turning.before));
  const touchS = around.timeS[touch] as number;
  let longestS = 0;
  for (let i = touch + 1; i + 1 < around.timeS.length; i++) {
    const t = around.timeS[i] as number;
    longestS = Math.max(longestS, t - (around.timeS[i - 1] as number));
    if (t - touchS > reboundParameters.longestTouchS) return null;
    const rate = rateAt(i);
    const stepS = (around.timeS[i + 1] as number) - t;
    const change = norm(subtract(rateAt(i + 1), rate)) / stepS;
    if (clipped(i) || clipped(i + 1) || change > evenRadps2(dot(rate, rate))) continue;
    const after = scale(add(inRoom(i), inRoom(i + 1)), 0.5);
    const radps = subtract(after, before);
    // The rate jumped somewhere between two samples; the attitude is off by as much.
    const jumpRad = (norm(radps) * longestS) / Math.sqrt(12);
    const standardDeviation = Math.hypot(turning.leastRadps, (jumpRad * norm(after)) / Math.sqrt(3));
    return { beforeRadps: before, radps, standardDeviation, next: nextTouch(block, study, i + 1) };
  }
  return null;
}

/**
 * What leaves more over than this, m/s², touches the ball; a touch may last so much longer after the ball turns evenly, s; for this long
 * after it what comes next is looked for, s. A net takes hold slowly: it stays below this force for this long, s.
 */
const next = { forceMps2: 4.5, lastsS: 0.025, withinS: 0.06, gapS: 0.012, softMps2: 100, softS: 0.016 } as const;

/** @param from a sample at which the ball turns evenly after its first touch. */
function nextTouch(block: ImuBlock, { around, fit }: FlightStudy, from: number): NextTouch | null {
  const gyro = block.gyroRadps as Float64Array;
  const offset2 = sumOfVariances(fit.covariance, flightParameter.offset);
  const fromS = around.timeS[from] as number;
  let [freeS, touchedS] = [Number.NaN, Number.NaN];
  for (let i = from; i < around.timeS.length; i++) {
    const t = around.timeS[i] as number;
    if (i > from && t - (around.timeS[i - 1] as number) > next.gapS) return null;
    const size = around.sizeMps2[i] as number;
    const clipped = ((block.flags[around.first + i] as number) & sampleFlag.accelClipped) !== 0;
    const w = vecAt(gyro, around.first + i);
    const touches = clipped || size > next.forceMps2 + 2 * Math.sqrt(offset2) * dot(w, w);
    if (Number.isNaN(freeS)) {
      // Turning evenly the ball may still be pressed by what it met.
      if (!touches) freeS = t;
      // A net that takes hold at once never lets go.
      else if (t - fromS > next.lastsS) return clipped || size > next.softMps2 ? null : 'soft';
    } else if (Number.isNaN(touchedS)) {
      if (touches) touchedS = t;
      else if (t - freeS > next.withinS) return 'free';
    }
    if (Number.isNaN(touchedS)) continue;
    if (clipped || size > next.softMps2 || !touches) return 'hard';
    if (t - touchedS > next.softS) return 'soft';
  }
  return null;
}

/** A free ball's rate, squared in (rad/s)², changes more slowly than this, rad/s². */
function evenRadps2(square: number): number {
  return 40 + 0.06 * square;
}

/** The flight's own velocity carried to the touch. */
function velocityBefore(study: FlightStudy, touch: number): Vec3 {
  return vecAt(study.around.velocityMps, touch);
}

/** Rate just before the touch, sensor axes. */
function rateBefore(block: ImuBlock, study: FlightStudy, touch: number): Vec3 {
  const gyro = block.gyroRadps as Float64Array;
  const at = Math.max(study.start, Math.min(study.end - 1, study.around.first + touch - 2));
  return add(vecAt(gyro, at), study.fit.state.rateCorrectionRadps);
}

/** First stretch of free motion after a touch. */
function freeStretch(block: ImuBlock, study: FlightStudy, touch: number): { first: number; last: number } | null {
  const p = reboundParameters;
  const { around, fit } = study;
  const gyro = block.gyroRadps as Float64Array;
  const touchS = around.timeS[touch] as number;
  const noise = Math.max(p.freeMps2, 8 * fit.residualMps2);
  const offset2 = sumOfVariances(fit.covariance, flightParameter.offset);
  const quiet = (i: number): boolean => {
    const k = around.first + i;
    if (k + 1 >= block.length || k < 1) return false;
    if (((block.flags[k] as number) & (sampleFlag.accelClipped | sampleFlag.gyroClipped)) !== 0) return false;
    const w = add(vecAt(gyro, k), fit.state.rateCorrectionRadps);
    const left = subtract(
      subtract(vecAt(block.accelMps2, k), fit.state.biasMps2),
      leverAcceleration(w, [0, 0, 0], fit.state.offsetM),
    );
    const dt = (block.timeS[k + 1] as number) - (block.timeS[k - 1] as number);
    const turns = norm(subtract(vecAt(gyro, k + 1), vecAt(gyro, k - 1))) / Math.max(dt, 1e-4);
    // Drag and lift at up to 9 m/s, and the lever where the offset is not known well.
    return norm(left) < 2.6 + noise + Math.sqrt(offset2) * dot(w, w) && turns < evenRadps2(dot(w, w));
  };
  let first = -1;
  for (let i = touch + 1; i < around.timeS.length; i++) {
    const t = around.timeS[i] as number;
    if (first < 0) {
      if (t - touchS > p.longestTouchS) return null;
      if (quiet(i) && i + 1 < around.timeS.length && quiet(i + 1)) first = i + p.guard;
      continue;
    }
    if (!quiet(i) || t - (around.timeS[first] as number) > p.longestS) {
      const last = i - 1 - p.guard;
      return enough(around.timeS, first, last) ? { first, last } : null;
    }
  }
  const last = around.timeS.length - 1 - p.guard;
  return first >= 0 && enough(around.timeS, first, last) ? { first, last } : null;
}

function enough(timeS: Float64Array, first: number, last: number): boolean {
  return last - first >= 3 && (timeS[last] as number) - (timeS[first] as number) >= reboundParameters.leastS;
}

/** Velocity at `middleS` whose mean air force over the stretch is `force`: Newton's method. */
function velocityOf(
  force: Vec3,
  spin: Vec3,
  state: FlightState,
  aero: AeroPreset,
  timeS: Float64Array,
  first: number,
  last: number,
  middleS: number,
): Vec3 | null {
  const air = airOf(state, aero);
  const step = Math.max(1, Math.floor((last - first) / 8));
  const mean = (v: Vec3): Vec3 => {
    let sum: Vec3 = [0, 0, 0];
    let count = 0;
    for (let i = first; i <= last; i += step) {
      const t = (timeS[i] as number) - middleS;
      sum = add(sum, airForce(add(v, scale(state.up, -standardGravityMps2 * t)), spin, state.up, air));
      count++;
    }
    return scale(sum, 1 / count);
  };
  const drag = subtract(force, scale(state.up, state.buoyancyMps2));
  const size = norm(drag);
  if (size < 1e-9) return [0, 0, 0];
  let v: Vec3 = scale(drag, -Math.sqrt(size / air.dragPerM) / size);
  for (let round = 0; round < 12; round++) {
    const miss = subtract(mean(v), force);
    const speed = Math.max(0.7, norm(v));
    // Drag's slope is 2 k v along the way and k v across; lift is taken out by the rounds themselves.
    const along = dot(miss, v) / Math.max(1e-9, dot(v, v));
    const parallel = scale(v, along);
    const aside = subtract(miss, parallel);
    const move = add(scale(parallel, 0.5), aside);
    v = add(v, scale(move, 0.8 / (air.dragPerM * speed)));
  }
  return Number.isFinite(norm(v)) && norm(v) < 15 ? v : null;
}

/**
 * The direction in which the touched point pushed, freed of friction: what friction gave is seen in the change of the spin. For a hollow
 * sphere (2/3) m R² Δω = −R n × J, hence n.
 *
 * @returns unit vector from the touched point to the ball's centre, or null where friction would have had to be all of it.
 */
export function pushDirection(impulseMps: Vec3, turnRadps: Vec3, radiusM: number): Vec3 | null {
  const square = dot(impulseMps, impulseMps);
  if (square < 0.04) return null;
  const d = scale(turnRadps, -(2 / 3) * radiusM);
  // The part along the impulse is the surface's twist; friction's torque has none.
  const across = subtract(d, scale(impulseMps, dot(d, impulseMps) / square));
  const pressed2 = square - dot(across, across);
  if (pressed2 < 0.25 * square) return null;
  const n = add(scale(impulseMps, Math.sqrt(pressed2) / square), scale(cross(impulseMps, across), 1 / square));
  return scale(n, 1 / norm(n));
}
