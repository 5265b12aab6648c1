import { standardGravityMps2 } from '../foundation/constants.ts';
import { identityQuaternion, type Quaternion, rotate } from '../signal/rotation.ts';
import { add, scale, type Vec3, vecAt } from '../signal/vec3.ts';
import type { AeroPreset } from './ball-presets.ts';

/**
 * What the fit solves for. The frame is the sensor's own axes frozen at the reference instant (mid-flight).
 *
 * f = bias + ω × (ω × offset) + ω̇ × offset + Rᵀ a,  v̇ = a − g·up,
 * a = −drag·k (1 + slope·x + bend·x²) |v| v + lift·m·share ω × v + buoyancy·up with x = |v| / 7 m/s − 1,
 * lift = liftGrowth + liftLag and `liftShare`
 */
export interface FlightState {
  /** Velocity of the ball's centre at the reference instant, m/s. */
  readonly velocityMps: Vec3;
  /** Unit vector upward. */
  readonly up: Vec3;
  /** True minus measured angular rate during the flight, rad/s, sensor axes. */
  readonly rateCorrectionRadps: Vec3;
  /** Drag over the preset's, 1 = as the preset. */
  readonly dragRatio: number;
  /**
   * Growth of the lift coefficient with the spin parameter R ω / v, at 7 m/s. This turns the air's force against the way as the speed
   * changes: the one thing of the lift that a flight shows well.
   */
  readonly liftGrowth: number;
  /** Accelerometer bias, m/s², sensor axes. */
  readonly biasMps2: Vec3;
  /** Sensor position from the ball's centre, m, sensor axes. */
  readonly offsetM: Vec3;
  /** Upward push of the displaced air and of the air carried along, m/s². */
  readonly buoyancyMps2: number;
  /** Relative change of the drag coefficient from 7 to 14 m/s, as a straight line. */
  readonly dragSlope: number;
  /** The same for the square of that way: a drag coefficient that falls only above some speed. */
  readonly dragBend: number;
  /** Lift coefficient over the spin parameter, less that growth: 0 where they are proportional, more where it levels off. */
  readonly liftLag: number;
}

/** Speed at which the drag ratio is meant, m/s: the middle of a shot's flight. */
export const dragReferenceMps = 7;

/** What the air does to the ball. */
export interface AirModel {
  /** 1/m, at `dragReferenceMps`. */
  readonly dragPerM: number;
  readonly dragSlope: number;
  readonly dragBend: number;
  /**
   * Logarithmic slope of lift over ω v at 7 m/s. It is 0 where the lift coefficient is proportional to the spin parameter S and
   * b S over 1 + b S where it levels off as S / (1 + b S) does.
   */
  readonly liftSlope: number;
  /** Lift over ω v at `dragReferenceMps`. */
  readonly liftPerRad: number;
  readonly buoyancyMps2: number;
}

/** No law of lift is followed to where it would be this many times that at 7 m/s. */
const mostLift = 4;

/**
 * Lift over ω v against that at 7 m/s, for a lift coefficient that levels off with the spin parameter S as S / (1 + b S) does
 * (Nathan 2008, Am. J. Phys. 76:119, gives balls b = 5.8).
 *
 * @param slope as `AirModel.liftSlope`.
 */
export function liftShare(speedMps: number, slope: number): number {
  // Nearly at rest there is no lift whatever its law: the sum only keeps from 0 / 0.
  const u = speedMps / dragReferenceMps + 1e-9;
  const levelled = Math.max(u / mostLift, (1 - slope) * u + slope);
  return u / levelled;
}

/** Less lift over the spin parameter than this has no law worth telling. */
const leastLift = 0.01;

/** @returns lift coefficient over the spin parameter at 7 m/s, and the logarithmic slope of lift over ω v there. */
function liftOf({ liftGrowth, liftLag }: FlightState): { readonly ratio: number; readonly slope: number } {
  const ratio = liftGrowth + liftLag;
  return { ratio, slope: Math.abs(ratio) > leastLift ? liftLag / ratio : 0 };
}

/** @returns the air as a state has it. */
export function airOf(state: FlightState, aero: AeroPreset): AirModel {
  const { ratio, slope } = liftOf(state);
  return {
    dragPerM: aero.dragPerM * state.dragRatio,
    dragSlope: state.dragSlope,
    dragBend: state.dragBend,
    liftSlope: slope,
    liftPerRad: aero.lift * ratio,
    buoyancyMps2: state.buoyancyMps2,
  };
}

/** Times and rates on which the model is evaluated; `reference` is the index of the reference instant. */
export interface RateTrack {
  readonly length: number;
  readonly timeS: Float64Array;
  readonly rateRadps: Float64Array;
  readonly rateDotRadps2: Float64Array;
  readonly reference: number;
}

/**
 * @param atReference attitude in the frozen frame at the track's reference sample, where that is not the frozen instant itself.
 * @param attitude where to put it; this and the outputs below may be handed in, since a fit asks for them hundreds of times.
 * @returns attitude of the sensor in the frozen frame at every sample, 4n values `w x y z`.
 */
export function integrateAttitude(
  track: RateTrack,
  correctionRadps: Vec3,
  atReference: Quaternion = identityQuaternion,
  attitude: Float64Array = new Float64Array(4 * track.length),
): Float64Array {
  // Written out in scalars, as below: the same as `multiply` and `stepRotation`. The ways forward and back in time take turns,
  // since each waits for the step before.
  const { length, timeS, rateRadps, reference } = track;
  const [cx, cy, cz] = correctionRadps;
  attitude.set(atReference, 4 * reference);
  const reach = Math.max(reference, length - 1 - reference);
  for (let away = 1; away <= reach; away++) {
    for (let direction = 1; direction >= -1; direction -= 2) {
      const i = reference + direction * away;
      if (i < 0 || i >= length) continue;
      const before = i - direction;
      const wx = (rateRadps[3 * before] as number) + cx;
      const wy = (rateRadps[3 * before + 1] as number) + cy;
      const wz = (rateRadps[3 * before + 2] as number) + cz;
      const nx = (rateRadps[3 * i] as number) + cx;
      const ny = (rateRadps[3 * i + 1] as number) + cy;
      const nz = (rateRadps[3 * i + 2] as number) + cz;
      const stepS = (timeS[i] as number) - (timeS[before] as number);
      const half = stepS / 2;
      const coning = (stepS * stepS) / 12;
      const tx = (wx + nx) * half + (wy * nz - wz * ny) * coning;
      const ty = (wy + ny) * half + (wz * nx - wx * nz) * coning;
      const tz = (wz + nz) * half + (wx * ny - wy * nx) * coning;
      const angle2 = tx * tx + ty * ty + tz * tz;
      const angle = Math.sqrt(angle2);
      const s = angle2 < 1e-8 ? 0.5 - angle2 / 48 : Math.sin(angle / 2) / angle;
      const c = angle2 < 1e-8 ? 1 - angle2 / 8 : Math.cos(angle / 2);
      const qw = attitude[4 * before] as number;
      const qx = attitude[4 * before + 1] as number;
      const qy = attitude[4 * before + 2] as number;
      const qz = attitude[4 * before + 3] as number;
      attitude[4 * i] = qw * c - s * (qx * tx + qy * ty + qz * tz);
      attitude[4 * i + 1] = qx * c + s * (qw * tx + qy * tz - qz * ty);
      attitude[4 * i + 2] = qy * c + s * (qw * ty + qz * tx - qx * tz);
      attitude[4 * i + 3] = qz * c + s * (qw * tz + qx * ty - qy * tx);
    }
  }
  return attitude;
}

export function attitudeAt(attitude: Float64Array, i: number): Quaternion {
  return [
    attitude[4 * i] as number,
    attitude[4 * i + 1] as number,
    attitude[4 * i + 2] as number,
    attitude[4 * i + 3] as number,
  ];
}

/** Specific force of the air on the ball, m/s²: drag, lift and buoyancy. All vectors in one frame. */
export function airForce(velocityMps: Vec3, spinRadps: Vec3, up: Vec3, air: AirModel): Vec3 {
  const [vx, vy, vz] = velocityMps;
  const [wx, wy, wz] = spinRadps;
  const speed = Math.sqrt(vx * vx + vy * vy + vz * vz);
  const x = speed / dragReferenceMps - 1;
  const k = -air.dragPerM * (1 + x * (air.dragSlope + x * air.dragBend)) * speed;
  const m = air.liftPerRad * liftShare(speed, air.liftSlope);
  const b = air.buoyancyMps2;
  return [
    k * vx + m * (wy * vz - wz * vy) + b * up[0],
    k * vy + m * (wz * vx - wx * vz) + b * up[1],
    k * vz + m * (wx * vy - wy * vx) + b * up[2],
  ];
}

/** The laws of a state's air as loops take them: the drag factor is a polynomial in speed. */
interface AirLaws {
  readonly k0: number;
  readonly k1: number;
  readonly k2: number;
  readonly lift: number;
  readonly slope: number;
}

export function lawsOf(state: FlightState, aero: AeroPreset): AirLaws {
  const k = aero.dragPerM * state.dragRatio;
  const { ratio, slope } = liftOf(state);
  return {
    k0: k * (1 - state.dragSlope + state.dragBend),
    k1: (k * (state.dragSlope - 2 * state.dragBend)) / dragReferenceMps,
    k2: (k * state.dragBend) / (dragReferenceMps * dragReferenceMps),
    lift: aero.lift * ratio,
    slope,
  };
}

/**
 * Velocity of the ball's centre in the frozen frame at every sample, 3n values, m/s. Midpoint rule between samples: with
 * steps of 10 ms its error over a second of flight is below 1e-4 m/s.
 *
 * @param air where to put what drag and lift take the velocity by at every sample, 2n values; null where nobody asks for it.
 */
export function integrateVelocity(
  track: RateTrack,
  state: FlightState,
  attitude: Float64Array,
  aero: AeroPreset,
  velocity: Float64Array = new Float64Array(3 * track.length),
  air: Float64Array | null = null,
): Float64Array {
  const { timeS, length, reference } = track;
  const laws = lawsOf(state, aero);
  const { k0, k1, k2, lift, slope } = laws;
  const [ux, uy, uz] = scale(state.up, standardGravityMps2 - state.buoyancyMps2);
  const spin = rotate(
    attitudeAt(attitude, reference),
    add(vecAt(track.rateRadps, reference), state.rateCorrectionRadps),
  );
  const [lx, ly, lz] = scale(spin, lift);
  velocity.set(state.velocityMps, 3 * reference);
  const reach = Math.max(reference, length - 1 - reference);
  // Forward and back in time by turns, as above.
  for (let away = 1; away <= reach; away++) {
    for (let direction = 1; direction >= -1; direction -= 2) {
      const i = reference + direction * away;
      if (i < 0 || i >= length) continue;
      const before = i - direction;
      const vx = velocity[3 * before] as number;
      const vy = velocity[3 * before + 1] as number;
      const vz = velocity[3 * before + 2] as number;
      const h = (timeS[i] as number) - (timeS[before] as number);
      const half = h / 2;
      const s = Math.sqrt(vx * vx + vy * vy + vz * vz);
      const d = -(k0 + s * (k1 + s * k2)) * s;
      const p = liftShare(s, slope);
      if (air) {
        air[2 * before] = d;
        air[2 * before + 1] = p;
      }
      const mx = vx + half * (d * vx + p * (ly * vz - lz * vy) - ux);
      const my = vy + half * (d * vy + p * (lz * vx - lx * vz) - uy);
      const mz = vz + half * (d * vz + p * (lx * vy - ly * vx) - uz);
      const r = Math.sqrt(mx * mx + my * my + mz * mz);
      const e = -(k0 + r * (k1 + r * k2)) * r;
      const q = liftShare(r, slope);
      velocity[3 * i] = vx + h * (e * mx + q * (ly * mz - lz * my) - ux);
      velocity[3 * i + 1] = vy + h * (e * my + q * (lz * mx - lx * mz) - uy);
      velocity[3 * i + 2] = vz + h * (e * mz + q * (lx * my - ly * mx) - uz);
    }
  }
  if (air) {
    putAir(laws, velocity, 0, air);
    putAir(laws, velocity, length - 1, air);
  }
  return velocity;
}

/** Puts drag over velocity, 1/s, and the lift's share of sample `i` into `air`. */
export function putAir({ k0, k1, k2, slope }: AirLaws, velocity: Float64Array, i: number, air: Float64Array): void {
  const [vx, vy, vz] = vecAt(velocity, i);
  const s = Math.sqrt(vx * vx + vy * vy + vz * vz);
  air[2 * i] = -(k0 + s * (k1 + s * k2)) * s;
  air[2 * i + 1] = liftShare(s, slope);
}

/** Centripetal and tangential acceleration of a point at `offset` of a body turning at `w` with derivative `d`, m/s². */
export function leverAcceleration(w: Vec3, d: Vec3, offset: Vec3): Vec3 {
  const wr = w[0] * offset[0] + w[1] * offset[1] + w[2] * offset[2];
  const ww = w[0] * w[0] + w[1] * w[1] + w[2] * w[2];
  return [
    w[0] * wr - ww * offset[0] + d[1] * offset[2] - d[2] * offset[1],
    w[1] * wr - ww * offset[1] + d[2] * offset[0] - d[0] * offset[2],
    w[2] * wr - ww * offset[2] + d[0] * offset[1] - d[1] * offset[0],
  ];
}
