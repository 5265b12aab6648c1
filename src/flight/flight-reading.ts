import { scale } from '../signal/vec3.ts';
import type { AeroPreset } from './ball-presets.ts';
import { type FlightState, lawsOf, putAir, type RateTrack } from './flight-model.ts';

/**
 * What the sensor reads in free flight, in parts: a fit that changes one thing at a time works out anew only what that changes.
 */

/** The part of the reading that neither way nor air change: bias and lever, 3n values, m/s², sensor axes. */
export function leverReading(track: RateTrack, state: FlightState, out: Float64Array): Float64Array {
  const [cx, cy, cz] = state.rateCorrectionRadps;
  const [bx, by, bz] = state.biasMps2;
  const [rx, ry, rz] = state.offsetM;
  const { rateRadps: rate, rateDotRadps2: rateDot } = track;
  for (let j = 0; j < 3 * track.length; j += 3) {
    const wx = (rate[j] as number) + cx;
    const wy = (rate[j + 1] as number) + cy;
    const wz = (rate[j + 2] as number) + cz;
    const dx = rateDot[j] as number;
    const dy = rateDot[j + 1] as number;
    const dz = rateDot[j + 2] as number;
    const wr = wx * rx + wy * ry + wz * rz;
    const ww = wx * wx + wy * wy + wz * wz;
    out[j] = bx + wx * wr - ww * rx + dy * rz - dz * ry;
    out[j + 1] = by + wy * wr - ww * ry + dz * rx - dx * rz;
    out[j + 2] = bz + wz * wr - ww * rz + dx * ry - dy * rx;
  }
  return out;
}

/** Buoyancy, which points up, in the sensor's axes, 3n values, m/s². */
export function buoyancyReading(track: RateTrack, state: FlightState, attitude: Float64Array, out: Float64Array) {
  const [ux, uy, uz] = scale(state.up, state.buoyancyMps2);
  for (let i = 0; i < track.length; i++) {
    const qw = attitude[4 * i] as number;
    const qx = attitude[4 * i + 1] as number;
    const qy = attitude[4 * i + 2] as number;
    const qz = attitude[4 * i + 3] as number;
    const ax = 2 * (qz * uy - qy * uz);
    const ay = 2 * (qx * uz - qz * ux);
    const az = 2 * (qy * ux - qx * uy);
    out[3 * i] = ux + qw * ax - qy * az + qz * ay;
    out[3 * i + 1] = uy + qw * ay - qz * ax + qx * az;
    out[3 * i + 2] = uz + qw * az - qx * ay + qy * ax;
  }
  return out;
}

/** What a reading is put together from. */
interface ReadingParts {
  /** By `leverReading`. */
  readonly lever: Float64Array;
  /** By `buoyancyReading`. */
  readonly buoyancy: Float64Array;
  /** By `integrateVelocity`. */
  readonly air: Float64Array;
}

/**
 * Specific force the sensor would read at every sample of the track in free flight, of which all but drag and lift is known.
 *
 * @returns 3n values, m/s², sensor axes.
 */
export function predictReading(
  track: RateTrack,
  state: FlightState,
  attitude: Float64Array,
  velocity: Float64Array,
  aero: AeroPreset,
  { lever, buoyancy, air }: ReadingParts,
  predicted: Float64Array,
): Float64Array {
  // Written out in scalars: these loops are most of a fit's time.
  const { lift } = lawsOf(state, aero);
  const [cx, cy, cz] = state.rateCorrectionRadps;
  const rate = track.rateRadps;
  for (let i = 0; i < track.length; i++) {
    const j = 3 * i;
    const wx = (rate[j] as number) + cx;
    const wy = (rate[j + 1] as number) + cy;
    const wz = (rate[j + 2] as number) + cz;
    const qw = attitude[4 * i] as number;
    const qx = attitude[4 * i + 1] as number;
    const qy = attitude[4 * i + 2] as number;
    const qz = attitude[4 * i + 3] as number;
    const fx = velocity[j] as number;
    const fy = velocity[j + 1] as number;
    const fz = velocity[j + 2] as number;
    // Velocity in the sensor's axes: drag and lift are then taken there, with the spin as measured.
    const tx = 2 * (qz * fy - qy * fz);
    const ty = 2 * (qx * fz - qz * fx);
    const tz = 2 * (qy * fx - qx * fy);
    const vx = fx + qw * tx - qy * tz + qz * ty;
    const vy = fy + qw * ty - qz * tx + qx * tz;
    const vz = fz + qw * tz - qx * ty + qy * tx;
    const drag = air[2 * i] as number;
    const m = lift * (air[2 * i + 1] as number);
    predicted[j] = (lever[j] as number) + drag * vx + m * (wy * vz - wz * vy) + (buoyancy[j] as number);
    predicted[j + 1] = (lever[j + 1] as number) + drag * vy + m * (wz * vx - wx * vz) + (buoyancy[j + 1] as number);
    predicted[j + 2] = (lever[j + 2] as number) + drag * vz + m * (wx * vy - wy * vx) + (buoyancy[j + 2] as number);
  }
  return predicted;
}

/** Specific force the sensor would read in free flight. @returns 3n values, m/s², sensor axes. */
export function predictSpecificForce(
  track: RateTrack,
  state: FlightState,
  attitude: Float64Array,
  velocity: Float64Array,
  aero: AeroPreset,
): Float64Array {
  const n = track.length;
  const air = new Float64Array(2 * n);
  const laws = lawsOf(state, aero);
  for (let i = 0; i < n; i++) putAir(laws, velocity, i, air);
  const parts = {
    lever: leverReading(track, state, new Float64Array(3 * n)),
    buoyancy: buoyancyReading(track, state, attitude, new Float64Array(3 * n)),
    air,
  };
  return predictReading(track, state, attitude, velocity, aero, parts, new Float64Array(3 * n));
}
