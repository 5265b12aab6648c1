import { standardGravityMps2 } from '../foundation/constants.ts';
import { conjugate, rotate } from '../signal/rotation.ts';
import { add, cross, dot, norm, scale, subtract, unit, type Vec3, vecAt } from '../signal/vec3.ts';
import type { AeroPreset } from './ball-presets.ts';
import { attitudeAt, type RateTrack } from './flight-model.ts';
import { backward, factorise, forward } from './normal-solver.ts';

/** A first guess of a flight, good enough for the iteration to converge from. */
export interface FlightStart {
  readonly velocityMps: Vec3;
  readonly up: Vec3;
  /** Bias and centripetal part together, constant in the sensor, m/s². */
  readonly constantMps2: Vec3;
  /** Sum of squares that the guess leaves, (m/s²)². */
  readonly leftSquares: number;
}

/** m/s; no start is faster. */
const fastestMps = 12;

/**
 * First guess by linear least squares: in the frozen frame the specific force is a constant of the sensor carried round
 * by its attitude plus a slowly changing aerodynamic part, taken as a parabola in time. The aerodynamic part gives the
 * velocity by inverting the drag law, its change gives gravity.
 *
 * @param leverShare share of that constant that belongs to the lever, which goes with the square of the rate.
 * @param constantVariance variance of the sensor's constant, (m/s²)², which decides where slow spin leaves the split open.
 */
export function guessFlight(
  track: RateTrack,
  accelMps2: Float64Array,
  weight: Float64Array,
  attitude: Float64Array,
  aero: AeroPreset,
  constantMean: Vec3,
  constantVariance: number,
  leverShare: number,
): FlightStart {
  const n = track.length;
  const t0 = track.timeS[track.reference] as number;
  const span = Math.max((track.timeS[n - 1] as number) - t0, t0 - (track.timeS[0] as number));
  const size = 12;
  const normal = new Float64Array(size * size);
  const right = new Float64Array(size);
  // Each row has the sensor's constant and one axis of the parabola.
  const places = new Int32Array(6);
  const values = new Float64Array(6);
  const spin = vecAt(track.rateRadps, track.reference);
  const spin2 = Math.max(1e-6, dot(spin, spin));
  let squares = 0;
  for (let i = 0; i < n; i++) {
    const q = attitudeAt(attitude, i);
    const turn = vecAt(track.rateRadps, i);
    const share = 1 - leverShare + (leverShare * dot(turn, turn)) / spin2;
    const columns = [rotate(q, [1, 0, 0]), rotate(q, [0, 1, 0]), rotate(q, [0, 0, 1])];
    const f = rotate(q, vecAt(accelMps2, i));
    const usable = Math.min(weight[3 * i] as number, weight[3 * i + 1] as number, weight[3 * i + 2] as number);
    if (usable === 0) continue;
    const tau = ((track.timeS[i] as number) - t0) / span;
    squares += f[0] * f[0] + f[1] * f[1] + f[2] * f[2];
    values[3] = 1;
    values[4] = tau;
    values[5] = tau * tau;
    for (let axis = 0; axis < 3; axis++) {
      for (let c = 0; c < 3; c++) {
        places[c] = c;
        values[c] = share * ((columns[c] as Vec3)[axis] as number);
        places[3 + c] = 3 + 3 * c + axis;
      }
      for (let a = 0; a < 6; a++) {
        const at = places[a] as number;
        const value = values[a] as number;
        right[at] = (right[at] as number) + value * (f[axis] as number);
        for (let b = 0; b <= a; b++) {
          const to = at * size + (places[b] as number);
          normal[to] = (normal[to] as number) + value * (values[b] as number);
        }
      }
    }
  }
  // The priors only break ties: 0.03 m/s² stands for the noise of one sample.
  const noise = 0.03 * 0.03;
  for (let c = 0; c < size; c++) {
    const at = c * size + c;
    normal[at] = (normal[at] as number) + (c < 3 ? noise / constantVariance : noise / 4);
    if (c < 3) right[c] = (right[c] as number) + (noise / constantVariance) * (constantMean[c] as number);
  }
  const solution = right.slice();
  factorise(normal, size);
  forward(normal, size, solution);
  backward(normal, size, solution);
  // What is left of the least squares, priors counted: |f|² − b · x.
  const leftSquares = solution.reduce((sum, x, c) => sum - x * (right[c] as number), squares);
  const part = (from: number): Vec3 => [
    solution[from] as number,
    solution[from + 1] as number,
    solution[from + 2] as number,
  ];
  const [constantMps2, middle, slope, bend] = [part(0), part(3), part(6), part(9)];
  const velocityAt = (tau: number): Vec3 => {
    const a = add(add(middle, scale(slope, tau)), scale(bend, tau * tau));
    return invertAero(a, spin, aero);
  };
  const guessed = velocityAt(0);
  // Faster than any throw, the way back in time runs off to infinity.
  const velocityMps = scale(guessed, Math.min(1, fastestMps / Math.max(1e-9, norm(guessed))));
  const reach = 0.5;
  const change = scale(subtract(velocityAt(reach), velocityAt(-reach)), 1 / (2 * reach * span));
  const up = unit(subtract(middle, change));
  return {
    velocityMps,
    up: norm(up) > 0 ? up : rotate(conjugate(attitudeAt(attitude, 0)), [0, 0, 1]),
    constantMps2,
    leftSquares,
  };
}

/** Velocity at which drag and lift give the acceleration `a`; three fixed-point steps, lift being a fraction of drag. */
function invertAero(a: Vec3, spin: Vec3, aero: AeroPreset): Vec3 {
  let drag: Vec3 = a;
  let v: Vec3 = [0, 0, 0];
  for (let step = 0; step < 3; step++) {
    const size = norm(drag);
    v = scale(unit(drag), -Math.sqrt(size / aero.dragPerM));
    drag = subtract(a, scale(cross(spin, v), aero.lift * 0.5));
  }
  return v;
}

/** Largest plausible specific force of drag and lift on a thrown ball, m/s²: 12 m/s with drag and lift together. */
export const largestAeroMps2 = 0.4 * standardGravityMps2;
