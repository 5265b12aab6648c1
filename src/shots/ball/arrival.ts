import type { AeroPreset } from '../../flight/ball-presets.ts';
import { airForce, airOf } from '../../flight/flight-model.ts';
import { type ImuBlock, sampleFlag } from '../../foundation/imu-block.ts';
import { type Quaternion, rotate } from '../../signal/rotation.ts';
import { add, dot, norm, scale, subtract, type Vec3, vecAt } from '../../signal/vec3.ts';
import { type Edge, locateEdge } from './edges.ts';
import type { QuietRun } from './quiet-runs.ts';
import type { Solution } from './shot-solution.ts';
import type { Walk } from './walk-back.ts';

/** The free flight that ended in the shooter's hands. */
export interface ArrivalFlight {
  /** Samples of the flight, within the block. */
  readonly run: QuietRun;
  readonly end: Edge;
  /** The flight began with a short hard push from below: it came off the floor. */
  readonly bounced: boolean;
  /** Another such bounce, with a short touch of the hand between, came just before. */
  readonly rhythm: boolean;
  /** How long the ball flew before that bounce, s; 0 where that was not seen. */
  readonly thrownS: number;
}

/** Force left over in a real free flight seen from a walk with an uncertain bias, m/s². */
const freeForceMps2 = 1.8;
/** Scatter within it: noise and tremor, drag at a speed that is off (per m/s), a turning offset that is off. */
const freeScatter = { forceMps2: 0.3, perSpeed: 0.06, offsetM: 0.001 } as const;
/** A quiet run this long is a flight even where much force seems left over. */
const surelyFree = { leastS: 0.33, slackMps2: 2.5 } as const;
/** One sigma of the offset that a single flight leaves, m: it reads as force where the ball spins fast. */
const offsetDoubtM = 0.006;
/** From the hands' first touch to release a shot takes at least this long, s. */
const shortestHandsS = 0.25;
/** Just before the hand: time kept away from it, and time over which what is left over is averaged, s. */
const arrivalWindow = { guardS: 0.012, meanS: 0.06 } as const;
/** A bounce off the floor is over within this time, s, and this hard, m/s². */
const bounce = { longestS: 0.045, forceMps2: 60, edgeMps2: 25, rhythmS: 0.55 } as const;

/** Reading minus free flight at one entry of a walk, in the sensor's axes, m/s². */
function leftOver(solution: Solution, aero: AeroPreset, k: number): Vec3 {
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
export function meanLeftOver(solution: Solution, aero: AeroPreset, from: number, run: QuietRun): Vec3 | null {
  const inset = Math.max(1, Math.floor((run.end - run.start) * 0.15));
  return meanOver(solution, aero, from, run.start + inset, run.end - inset);
}

/** Scatter of `leftOver` about its mean within a run, m/s²: a hand that moves a ball evenly for a moment still trembles. */
function scatterLeftOver(solution: Solution, aero: AeroPreset, from: number, run: QuietRun, mean: Vec3): number {
  let squares = 0;
  let count = 0;
  for (let i = run.start + 1; i < run.end - 1; i++) {
    const k = from - i;
    if (k < 0 || k >= solution.walk.length) continue;
    const left = subtract(leftOver(solution, aero, k), mean);
    squares += dot(left, left);
    count++;
  }
  return count > 0 ? Math.sqrt(squares / count) : 0;
}

/** Mean of `leftOver` over samples `[start, end)`. */
function meanOver(solution: Solution, aero: AeroPreset, from: number, start: number, end: number): Vec3 | null {
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

/**
 * Finds the free flight before the shot's own that ended in the hands.
 *
 * @param runs quiet runs before the shot, oldest first, within the block.
 * @param from sample at which the walk starts.
 */
export function findArrival(
  block: ImuBlock,
  runs: readonly QuietRun[],
  solution: Solution,
  aero: AeroPreset,
  from: number,
  stepS: number,
  noiseMps2: number,
  filterDelayS: number,
): ArrivalFlight | null {
  for (let r = runs.length - 1; r >= 0; r--) {
    const run = runs[r] as QuietRun;
    if ((block.timeS[from] as number) - (block.timeS[run.end - 1] as number) < shortestHandsS) continue;
    const mean = meanLeftOver(solution, aero, from, run);
    const rate = norm(vecAt(block.gyroRadps as Float64Array, Math.floor((run.start + run.end) / 2)));
    if (!mean) continue;
    // No hand keeps a ball weightless for a third of a second: there the walk is off, not the flight.
    const longS = (block.timeS[run.end - 1] as number) - (block.timeS[run.start] as number);
    const slack = longS > surelyFree.leastS ? surelyFree.slackMps2 : 0;
    if (norm(mean) > freeForceMps2 + slack + 2 * offsetDoubtM * rate * rate) continue;
    const k = from - Math.floor((run.start + run.end) / 2);
    const speed = k >= 0 && k < solution.walk.length ? norm(vecAt(solution.walk.velocityMps, k)) : 0;
    const allowed = freeScatter.forceMps2 + freeScatter.perSpeed * speed + freeScatter.offsetM * rate * rate;
    if (scatterLeftOver(solution, aero, from, run, mean) > allowed + slack) continue;
    const bounced = bouncedBefore(block, run.start, filterDelayS);
    const earlier = runs.slice(0, r);
    return {
      run,
      end: arrivalEnd(block, solution, aero, from, run, stepS, noiseMps2, filterDelayS),
      bounced,
      rhythm: rhythmBefore(block, earlier, run, filterDelayS),
      thrownS: bounced ? thrownBefore(block, earlier, run) : 0,
    };
  }
  return null;
}

/**
 * The instant at which the hand meets the arriving ball. What is left over just before is taken for granted: an uncertain
 * offset or speed changes it slowly, a hand quickly.
 */
function arrivalEnd(
  block: ImuBlock,
  solution: Solution,
  aero: AeroPreset,
  from: number,
  run: QuietRun,
  stepS: number,
  noiseMps2: number,
  filterDelayS: number,
): Edge {
  const guard = Math.max(1, Math.ceil(arrivalWindow.guardS / stepS));
  const inner = Math.max(run.start + 1, run.end - guard);
  const start = Math.max(
    run.start + 1,
    inner - Math.ceil(arrivalWindow.meanS / stepS),
    from - solution.walk.length + 1,
  );
  const mean = meanOver(solution, aero, from, start, inner) ?? meanOver(solution, aero, from, run.start, run.end);
  if (!mean) return { timeS: null, reason: 'no-previous-flight', outside: run.end };
  const first = start;
  const last = Math.min(from - 1, run.end + Math.ceil(0.08 / stepS));
  const n = last - first + 1;
  const size = new Float64Array(n);
  let scatter = 0;
  for (let i = 0; i < n; i++) {
    const left = norm(subtract(leftOver(solution, aero, from - first - i), mean));
    size[i] = left;
    if (first + i < inner) scatter += (left * left) / Math.max(1, inner - first);
  }
  const series = {
    timeS: block.timeS.subarray(first, first + n),
    forceMps2: size,
    flags: block.flags.subarray(first, first + n),
    noiseMps2: Math.max(noiseMps2, 0.06, Math.min(1, Math.sqrt(scatter))),
    stepS,
    filterDelayS,
  };
  const edge = locateEdge(series, Math.max(0, inner - first - 1), 1);
  if (!edge) return { timeS: null, reason: 'no-previous-flight', outside: last };
  return { ...edge, outside: edge.outside + first };
}

/** Whether a short hard push stands right before sample `start`: a bounce. A slow filter makes it longer. */
export function bouncedBefore(block: ImuBlock, start: number, filterDelayS: number): boolean {
  const t0 = block.timeS[start] as number;
  let peak = 0;
  let clipped = false;
  let firstS = t0;
  let lastS = t0;
  let seen = false;
  for (let i = start; i >= 0 && t0 - (block.timeS[i] as number) < 0.09; i--) {
    const f = norm(vecAt(block.accelMps2, i));
    if (((block.flags[i] as number) & sampleFlag.accelClipped) !== 0) clipped = true;
    peak = Math.max(peak, f);
    if (f > bounce.edgeMps2) {
      if (!seen) lastS = block.timeS[i] as number;
      firstS = block.timeS[i] as number;
      seen = true;
    } else if (seen) break;
  }
  return seen && lastS - firstS <= bounce.longestS + 3 * filterDelayS && (clipped || peak > bounce.forceMps2);
}

/** Whether before the bounce that began `run` the ball had bounced once already with a short hand touch between. */
function rhythmBefore(block: ImuBlock, earlier: readonly QuietRun[], run: QuietRun, filterDelayS: number): boolean {
  const t0 = block.timeS[run.start] as number;
  for (let i = earlier.length - 1; i >= 0; i--) {
    const other = earlier[i] as QuietRun;
    const age = t0 - (block.timeS[other.end - 1] as number);
    if (age > 1.2) return false;
    if (age > 0.06 && bouncedBefore(block, other.start, filterDelayS)) {
      const handS = handBetween(block, earlier.slice(i + 1), other, run);
      if (handS < bounce.rhythmS) return true;
    }
  }
  return false;
}

/** Duration of the flight that ended in the bounce from which `run` rose, s. */
function thrownBefore(block: ImuBlock, earlier: readonly QuietRun[], run: QuietRun): number {
  const before = earlier[earlier.length - 1];
  if (!before) return 0;
  const endS = block.timeS[before.end - 1] as number;
  if ((block.timeS[run.start] as number) - endS > 0.08) return 0;
  return endS - (block.timeS[before.start] as number);
}

/** Time between two flights not covered by flights between them, s. */
function handBetween(block: ImuBlock, between: readonly QuietRun[], a: QuietRun, b: QuietRun): number {
  let free = 0;
  for (const run of between) free += (block.timeS[run.end - 1] as number) - (block.timeS[run.start] as number);
  return (block.timeS[b.start] as number) - (block.timeS[a.end - 1] as number) - free;
}

/** Horizontal speed of the arriving ball against the mean of the hands from `untilS` back to its arrival, m/s. */
export function closingSpeed(walk: Walk, solution: Solution, arrivalS: number, untilS: number): number {
  const { axes } = solution;
  const flat = (k: number): Vec3 => {
    const v = vecAt(walk.velocityMps, k);
    return [dot(v, axes.forward), dot(v, axes.left), 0];
  };
  let hands: Vec3 = [0, 0, 0];
  let count = 0;
  let arriving: Vec3 = [0, 0, 0];
  for (let k = 0; k < walk.length; k++) {
    const t = walk.timeS[k] as number;
    if (t <= untilS && t > arrivalS + 0.12) {
      hands = add(hands, flat(k));
      count++;
    }
    if (t <= arrivalS) {
      arriving = flat(k);
      break;
    }
  }
  return norm(subtract(arriving, count > 0 ? scale(hands, 1 / count) : [0, 0, 0]));
}
