import type { AeroPreset } from '../../flight/ball-presets.ts';
import { flightParameter } from '../../flight/flight-fit.ts';
import { airForce, airOf } from '../../flight/flight-model.ts';
import type { Gaussian } from '../../signal/gaussian.ts';
import { type Quaternion, rotate } from '../../signal/rotation.ts';
import { add, dot, norm, scale, subtract, type Vec3, vecAt } from '../../signal/vec3.ts';
import type { ArrivalSearch } from './arrival.ts';
import type { QuietRun } from './quiet-runs.ts';
import type { Solution } from './shot-solution.ts';

/*
 * What the sensor reads before release beyond what a ball in free flight would make it read, and whether it is so little that nothing
 * touched the ball.
 */

/** Force left over in a real free flight besides what bias and offset leave in doubt, m/s²: drag at a speed that is off, per m/s. */
const freeForce = { leastMps2: 0.5, perSpeed: 0.08 } as const;
/** Scatter within it: noise and tremor, drag at a speed that is off (per m/s), a turning offset that is off. */
const freeScatter = { forceMps2: 0.3, perSpeed: 0.06, offsetM: 0.001 } as const;
/**
 * No hand keeps a ball weightless for long: the longer a quiet run, s, the more force may seem left over in it because the walk
 * is off, m/s².
 */
const surelyFree = { fromS: 0.2, leastS: 0.33, slackMps2: 2.5 } as const;
/** So many standard deviations of what bias and offset may leave over are allowed for. */
const sensorDoubt = 2.5;
/** One sigma of the offset that a single flight leaves, m: it reads as force where the ball spins fast. */
const offsetDoubtM = 0.006;
/**
 * A ball that slipped or was tipped is free for at least so long, s, and with no more left over than this, m/s² and m/s² per m/s, nor scatter,
 * m/s² and times the noise: hands that let a ball float for a moment feel it more.
 */
const slipped = { leastS: 0.08, forceMps2: 0.2, perSpeed: 0.04, scatterMps2: 0.12, noises: 2 } as const;
/** What scatters so little for so long may have more left over, m/s²: no hands hold so evenly, but a way that went through a lost bounce is off. */
const evenlyMps2 = 0.8;
/**
 * Soft hands may push so gently that a quiet run goes on in them. Their push sets in within `overS`, s, and from there on the mean, m/s², and
 * this share of the samples differ from what was left over just before; that is known from `leastBaseS`, s, at least.
 */
const softHands = { overS: 0.025, leastMps2: 1, share: 0.7, leastBaseS: 0.03, scatters: 4 } as const;
/** Just before the hand: time kept away from it, and time over which what is left over is averaged, s. */
export const arrivalWindow = { guardS: 0.012, meanS: 0.06 } as const;
/** Rims of a run that may still feel the touch that ends it, s, as far as that leaves half of it. */
const rimS = 0.016;

/** Reading minus free flight at one entry of a walk, in the sensor's axes, m/s². */
export function leftOver(solution: Solution, aero: AeroPreset, k: number): Vec3 {
  const { walk, state } = solution;
  const q: Quaternion = [
    walk.attitude[4 * k] as number,
    -(walk.attitude[4 * k + 1] as number),
    -(walk.attitude[4 * k + 2] as number),
    -(walk.attitude[4 * k + 3] as number),
  ];
  const velocity = vecAt(walk.velocityMps, k);
  const spin = vecAt(walk.spinRadps, k);
  const air = airForce(velocity, spin, state.up, airOf(state, aero));
  return rotate(q, subtract(vecAt(walk.forceMps2, k), air));
}

/** Mean of `leftOver` over the inner part of a run, m/s², sensor axes; null when the walk does not cover it. */
function meanLeftOver(solution: Solution, aero: AeroPreset, from: number, run: QuietRun): Vec3 | null {
  const inset = Math.max(1, Math.floor((run.end - run.start) * 0.15));
  return meanOver(solution, aero, from, run.start + inset, run.end - inset);
}

/**
 * Means of what is left over in either half of the inner part of a run, m/s², in the frozen frame: an error of speed shows there alike in
 * both halves, an error of up with either sign; in the sensor's axes both would go round with the ball.
 *
 * @returns the two, or null when the walk does not cover them.
 */
export function leftOverInRoom(
  solution: Solution,
  aero: AeroPreset,
  from: number,
  run: { readonly start: number; readonly end: number },
): readonly [Vec3, Vec3] | null {
  const { walk, state } = solution;
  const inset = Math.max(1, Math.floor((run.end - run.start) * 0.15));
  const first = from - (run.end - inset - 1);
  const last = from - (run.start + inset);
  if (first < 0 || last >= walk.length || last - first < 3) return null;
  const air = airOf(state, aero);
  const half = (a: number, b: number): Vec3 => {
    let [x, y, z] = [0, 0, 0];
    for (let k = a; k < b; k++) {
      const drag = airForce(vecAt(walk.velocityMps, k), vecAt(walk.spinRadps, k), state.up, air);
      x += (walk.forceMps2[3 * k] as number) - drag[0];
      y += (walk.forceMps2[3 * k + 1] as number) - drag[1];
      z += (walk.forceMps2[3 * k + 2] as number) - drag[2];
    }
    return [x / (b - a), y / (b - a), z / (b - a)];
  };
  const middle = (first + last + 1) >> 1;
  return [half(first, middle), half(middle, last + 1)];
}

/**
 * Scatter of `leftOver` within a run, m/s²: a hand that moves a ball evenly for a moment still trembles. It is taken about a
 * mean in the sensor's axes (a bias stays there) or in the room (an error of speed or of up stays there), whichever is less.
 */
function scatterLeftOver(solution: Solution, aero: AeroPreset, from: number, run: QuietRun): number {
  const { timeS, attitude } = solution.walk;
  const at = (i: number) => timeS[from - i] ?? Number.NaN;
  const rim = Math.min(rimS, (at(run.end - 1) - at(run.start)) / 4);
  let [squares, count] = [0, 0];
  let inSensor: Vec3 = [0, 0, 0];
  let inRoom: Vec3 = [0, 0, 0];
  for (let i = run.start + 1; i < run.end - 1; i++) {
    const k = from - i;
    if (k < 0 || k >= solution.walk.length) continue;
    if (at(i) - at(run.start) < rim || at(run.end - 1) - at(i) < rim) continue;
    const left = leftOver(solution, aero, k);
    squares += dot(left, left);
    inSensor = add(inSensor, left);
    const turn = attitude.subarray(4 * k, 4 * k + 4) as unknown as Quaternion;
    inRoom = add(inRoom, rotate(turn, left));
    count++;
  }
  if (count === 0) return 0;
  const mean = Math.max(norm(inSensor), norm(inRoom)) / count;
  return Math.sqrt(Math.max(0, squares / count - mean * mean));
}

/** Mean of `leftOver` over samples `[start, end)`. */
export function meanOver(solution: Solution, aero: AeroPreset, from: number, start: number, end: number): Vec3 | null {
  let sum: Vec3 = [0, 0, 0];
  let count = 0;
  for (let i = start; i < end; i++) {
    const k = from - i;
    if (k < 0 || k >= solution.walk.length) continue;
    sum = add(sum, leftOver(solution, aero, k));
    count++;
  }
  return count >= 2 ? scale(sum, 1 / count) : null;
}

/** Whether the force left over in a run, and its scatter, are what a free flight may show. @param slack share of what a long run may show more. */
export function surelyUntouched(search: ArrivalSearch, run: QuietRun, slack: 0 | 1): boolean {
  const { block, solution, aero, from } = search;
  const mean = meanLeftOver(solution, aero, from, run);
  if (!mean) return false;
  const middle = Math.floor((run.start + run.end) / 2);
  const rateVector = vecAt(block.gyroRadps as Float64Array, middle);
  const rate = norm(rateVector);
  const longS = (block.timeS[run.end - 1] as number) - (block.timeS[run.start] as number);
  const { fromS, leastS, slackMps2 } = surelyFree;
  const scatter = scatterLeftOver(solution, aero, from, run);
  const evenly = longS >= slipped.leastS && scatter < evenScatter(search) ? evenlyMps2 : 0;
  const more = slack * slackMps2 * Math.min(1, Math.max(0, (longS - fromS) / (leastS - fromS)));
  const doubt = Math.max(2 * offsetDoubtM * rate * rate, sensorDoubt * forceDoubt(search.joint, rateVector));
  const k = from - middle;
  const speed = k >= 0 && k < solution.walk.length ? norm(vecAt(solution.walk.velocityMps, k)) : 0;
  if (norm(mean) > freeForce.leastMps2 + freeForce.perSpeed * speed + Math.max(more, evenly) + doubt) return false;
  const allowed = freeScatter.forceMps2 + freeScatter.perSpeed * speed + freeScatter.offsetM * rate * rate;
  return scatter <= allowed + more;
}

const evenScatter = ({ noiseMps2 }: ArrivalSearch) => Math.max(slipped.scatterMps2, slipped.noises * noiseMps2);

/** Whether hardly anything is left over in a run too short for a pass. */
export function clearlyFree(search: ArrivalSearch, run: QuietRun, longS: number): boolean {
  const { solution, aero, from } = search;
  if (longS < slipped.leastS) return false;
  const mean = meanLeftOver(solution, aero, from, run);
  const k = from - Math.floor((run.start + run.end) / 2);
  if (!mean || k < 0 || k >= solution.walk.length) return false;
  const speed = norm(vecAt(solution.walk.velocityMps, k));
  if (norm(mean) > slipped.forceMps2 + slipped.perSpeed * speed) return false;
  return scatterLeftOver(solution, aero, from, run) < evenScatter(search);
}

/**
 * Where soft hands met the ball within a quiet run: from there on a force stands that was not there just before, neither in the sensor's axes
 * (where an error of bias or offset stays) nor in the room (where one of speed or of up does).
 *
 * @returns the first sample that feels them; null where there is no such.
 */
export function softTouch({ solution, aero, from, stepS, noiseMps2 }: ArrivalSearch, run: QuietRun): number | null {
  const { walk } = solution;
  const start = Math.max(run.start + 1, from - walk.length + 1);
  const count = run.end - start;
  if (count < 4) return null;
  const inSensor = Array.from({ length: count }, (_, i) => leftOver(solution, aero, from - start - i));
  const inRoom = inSensor.map((left, i) => {
    const k = from - start - i;
    return rotate(walk.attitude.subarray(4 * k, 4 * k + 4) as unknown as Quaternion, left);
  });
  const mean = (of: readonly Vec3[], a: number, b: number): Vec3 => {
    let sum: Vec3 = [0, 0, 0];
    for (let i = a; i < b; i++) sum = add(sum, of[i] as Vec3);
    return scale(sum, 1 / (b - a));
  };
  const guard = Math.max(1, Math.ceil(arrivalWindow.guardS / stepS));
  const window = Math.max(2, Math.ceil(arrivalWindow.meanS / stepS));
  const least = Math.max(2, Math.ceil(softHands.leastBaseS / stepS));
  const over = Math.max(1, Math.round(softHands.overS / stepS));
  for (let i = least + guard; i + guard < count; i++) {
    const first = Math.max(0, i - guard - window);
    const frames = [inSensor, inRoom].map((of) => ({ of, base: mean(of, first, i - guard) }));
    let squares = 0;
    for (let j = first; j < i - guard; j++) {
      const off = subtract(inSensor[j] as Vec3, (frames[0] as (typeof frames)[0]).base);
      squares += dot(off, off) / (i - guard - first);
    }
    const threshold = Math.max(0.5, 5 * noiseMps2, softHands.scatters * Math.sqrt(squares));
    const differs = ({ of, base }: (typeof frames)[0]) => {
      const size = (j: number) => norm(subtract(of[j] as Vec3, base));
      if (size(i) <= threshold || norm(subtract(mean(of, i, Math.min(count, i + over)), base)) < softHands.leastMps2)
        return false;
      if (norm(subtract(mean(of, i, count), base)) < softHands.leastMps2) return false;
      let above = 0;
      for (let j = i; j < count; j++) if (size(j) > threshold) above++;
      return above >= softHands.share * (count - i);
    };
    if (frames.every(differs)) return start + i;
  }
  return null;
}

/** One sigma of what an uncertain bias and offset of the sensor leave over at a rate, m/s². */
function forceDoubt(joint: Gaussian, rate: Vec3): number {
  const { bias, offset } = flightParameter;
  const square = dot(rate, rate);
  let variance = 0;
  for (let row = 0; row < 3; row++) {
    // Bias, and ω × (ω × r) = (ω ωᵀ − ω²) r.
    const weights: [number, number][] = [[bias + row, 1]];
    for (let axis = 0; axis < 3; axis++) {
      const turn = (rate[row] as number) * (rate[axis] as number) - (row === axis ? square : 0);
      weights.push([offset + axis, turn]);
    }
    for (const [p, wp] of weights) for (const [q, wq] of weights) variance += wp * wq * joint.covariance.get(p, q);
  }
  return Math.sqrt(Math.max(0, variance));
}
