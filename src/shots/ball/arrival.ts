// Longer than most: how the ball may have come into the hand is one chain of cases, each of which rules out those after it.
import type { AeroPreset } from '../../flight/ball-presets.ts';
import { standardGravityMps2 } from '../../foundation/constants.ts';
import { type ImuBlock, sampleFlag } from '../../foundation/imu-block.ts';
import type { Gaussian } from '../../signal/gaussian.ts';
import { add, cross, dot, norm, scale, subtract, type Vec3, vecAt } from '../../signal/vec3.ts';
import { type Edge, locateEdge } from './edges.ts';
import { arrivalWindow, clearlyFree, leftOver, meanOver, softTouch, surelyUntouched } from './left-over.ts';
import type { QuietRun } from './quiet-runs.ts';
import type { Solution } from './shot-solution.ts';

/** The free flight that ended in the shooter's hands. */
export interface ArrivalFlight {
  /** Samples of the flight, within the block, and the quiet run that they are all or the first part of. */
  readonly run: QuietRun;
  readonly within: QuietRun;
  readonly end: Edge;
  /** False where the ball went on to the floor after `run` and its last way up into the hand was not seen. */
  readonly seen: boolean;
  /** Samples are missing where the flight began: a bounce there was not seen. */
  readonly startLost: boolean;
  /** The flight began with a short hard push from below: it came off the floor. */
  readonly bounced: boolean;
  /** Another such bounce, with a short touch of the hand between, came just before. */
  readonly rhythm: boolean;
  /** The flight that ended in that bounce; null where it was not seen. */
  readonly thrown: QuietRun | null;
}

/** How a ball was thrown that came to the hands by way of the floor. */
export interface Thrown {
  /** Level speed before the bounce against the hands that then carried it, m/s. */
  readonly levelMps: number;
  /** Upward speed at which it left the hand, m/s: negative for a ball pushed down. */
  readonly riseMps: number;
  /** How far above the floor it was let go, m. */
  readonly dropM: number;
}

/**
 * Force behind a bounce with which the ball may be free again, m/s², and before one, when nothing swings; what the offset adds per (rad/s)², m; for
 * so long, s: a hand that is to take it sooner would lie on the floor.
 */
const freeAgainMps2 = 8;
const freeBeforeMps2 = 4.5;
const freeAgainS = 0.02;
const freeAgainOffsetM = 0.02;
/**
 * The hands have stopped the ball this long after they met it, s. They give way and swing besides: seen for `standS`, s, their own
 * mean tells as much of how they move as that most players hardly do.
 */
const settleS = 0.12;
const standS = 0.15;
/** No pass from hands to hands is shorter, s. */
const shortestPassS = 0.15;
/** Missing samples this near the start of a run may have held what began it, s. */
const gapReachS = 0.03;
/** A ball this near to where the floor is expected, m, that rises this fast, m/s, bounced off it. */
const nearFloorM = 0.6;
const leastBounceMps = 1.5;
/** A bounce off the floor changes the spin by this much, rad/s, or is not told from none where it was not seen. */
const leastTurnRadps = 2;
/** From the hands' first touch to release a shot takes at least this long, s. */
const shortestHandsS = 0.25;
/** Hands that met the ball have slowed its turning after the first, and do not let it go before the second of these, s. */
const stillTurns = { fromS: 0.09, untilS: 0.16 } as const;
/**
 * A bounce off the floor is over within this time, s, and this hard, m/s². `apartS`: two flights no farther apart than this
 * have a bounce between them, where the packet that held it was lost; no hand takes and throws a ball so fast.
 * `ringS`: a filter's swing stands apart from the push by no more. `hardestMps2`: no hand brakes a ball so hard.
 */
const bounce = {
  longestS: 0.045,
  forceMps2: 60,
  edgeMps2: 25,
  hardestMps2: 130,
  ringS: 0.012,
  rhythmS: 0.55,
  apartS: 0.08,
} as const;
/** Share of its vertical speed that a basketball keeps on a floor: rules ask for 1.2 to 1.4 m back from 1.8 m. */
const restitution = 0.77;

/** Where an arrival is looked for. */
export interface ArrivalSearch {
  readonly block: ImuBlock;
  /** Quiet runs before the shot, oldest first, within the block. */
  readonly runs: readonly QuietRun[];
  readonly solution: Solution;
  /** What is known of the parameters behind the solution. */
  readonly joint: Gaussian;
  readonly aero: AeroPreset;
  /** Sample at which the walk starts. */
  readonly from: number;
  readonly stepS: number;
  readonly noiseMps2: number;
  readonly filterDelayS: number;
  /** Where the floor is expected to hold a ball, m above release. */
  readonly floorM: number;
}

/** Finds the free flight before the shot's own that ended in the hands. */
export function findArrival(search: ArrivalSearch): ArrivalFlight | null {
  const { block, runs, solution, from, filterDelayS } = search;
  for (let r = runs.length - 1; r >= 0; r--) {
    const within = runs[r] as QuietRun;
    if ((block.timeS[from] as number) - (block.timeS[within.end - 1] as number) < shortestHandsS) continue;
    const whole = surelyUntouched(search, within, 0);
    const touched = whole ? null : softTouch(search, within);
    const run = touched === null ? within : { start: within.start, end: touched };
    if (!whole && !surelyUntouched(search, run, 1)) continue;
    const longS = (block.timeS[run.end - 1] as number) - (block.timeS[run.start] as number);
    const earlier = runs.slice(0, r);
    const rhythm = rhythmBefore(block, earlier, run, filterDelayS);
    const apart = boundBefore(block, earlier, run, filterDelayS, search.stepS);
    const bounced = apart !== null || bouncedBefore(block, run.start, filterDelayS);
    const startLost = gapNear(block, run.start, search.stepS);
    const lost = bounceAfter(block, run.end - 1, filterDelayS);
    // A hand that catches hard may let go for a moment, too: only off the floor the ball comes from below and fast.
    const onToFloor = lost !== null && risesFromFloor(solution, from, lost.behind, search.floorM);
    // A pass flies longer; what is shorter came off the floor or went on to it, or began where samples are missing.
    const short = longS < shortestPassS && !bounced && !startLost && !onToFloor;
    if (short && !clearlyFree(search, run, longS)) continue;
    if (onToFloor) {
      // It went on to the floor, and the last way up into the hand was too short to be seen, or lost.
      const reason = lost.gap ? 'gap' : 'no-previous-flight';
      const end: Edge = { timeS: null, reason, outside: Math.min(lost.behind, from) };
      return { run, within, end, seen: false, startLost, bounced: true, rhythm, thrown: run };
    }
    const hidden = hiddenEnd(search, run);
    if (hidden) return { run, within, end: hidden, seen: false, startLost, bounced: true, rhythm, thrown: run };
    return { run, within, end: arrivalEnd(search, run), seen: true, startLost, bounced, rhythm, thrown: apart };
  }
  return null;
}

/**
 * Where what ended a flight cannot have been the hands: the ball still turns faster than the gyroscope can say when hands would have
 * stopped it, or it came up from the floor as only a bounce makes it. When it came to the hands after that was not seen.
 */
function hiddenEnd({ block, solution, from, floorM }: ArrivalSearch, run: QuietRun): Edge | null {
  const { timeS, flags } = block;
  const endS = timeS[run.end - 1] as number;
  let hard = false;
  let settled = -1;
  for (let i = run.end; i < from && (timeS[i] as number) - endS < stillTurns.untilS; i++) {
    const sinceS = (timeS[i] as number) - endS;
    const flag = flags[i] as number;
    if (sinceS > stillTurns.fromS && (flag & sampleFlag.gyroClipped) !== 0) {
      return { timeS: null, reason: 'clipped', outside: i };
    }
    if (sinceS > bounce.longestS) {
      if (settled < 0) settled = i;
      continue;
    }
    hard ||= (flag & sampleFlag.accelClipped) !== 0 || norm(vecAt(block.accelMps2, i)) > bounce.hardestMps2;
  }
  if (!hard || settled < 0 || !risesFromFloor(solution, from, settled, floorM)) return null;
  // A way that lost itself may seem to rise, but not to fall before.
  const fell = from - (run.end - 1);
  const fallMps = fell < solution.walk.length ? -dot(vecAt(solution.walk.velocityMps, fell), solution.axes.up) : 0;
  if (fallMps < leastBounceMps) return null;
  const clipped = (flags.subarray(run.end, settled) as Uint8Array).some(
    (flag) => (flag & sampleFlag.accelClipped) !== 0,
  );
  return { timeS: null, reason: clipped ? 'clipped' : 'no-previous-flight', outside: settled };
}

/** Whether samples are missing at or just before sample `start`. */
function gapNear(block: ImuBlock, start: number, stepS: number): boolean {
  const reach = Math.ceil(gapReachS / stepS);
  for (let i = start; i >= Math.max(0, start - reach); i--) {
    if (((block.flags[i] as number) & sampleFlag.gapBefore) !== 0) return true;
  }
  return false;
}

/**
 * The instant at which the hand meets the arriving ball. What is left over just before is taken for granted: an uncertain
 * offset or speed changes it slowly, a hand quickly.
 */
function arrivalEnd(search: ArrivalSearch, run: QuietRun): Edge {
  const { block, solution, aero, from, stepS, noiseMps2, filterDelayS } = search;
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
    byHand: true,
  };
  const edge = locateEdge(series, Math.max(0, inner - first - 1), 1);
  if (!edge) return { timeS: null, reason: 'no-previous-flight', outside: last };
  const outside = edge.outside + first;
  // How the ball's turning changes is not known beside a gap: a weak force in the last sample before one is no touch yet, it may lie within.
  if ((size[edge.outside] as number) < turningDoubt(block, outside, norm(solution.state.offsetM))) {
    return { timeS: null, reason: 'gap', outside: outside + 1 };
  }
  return { ...edge, outside };
}

/**
 * Force that a turning which changes somewhere in the gap behind sample `i` may feign there through the sensor's lever, m/s²; 0 where
 * no samples are missing behind it.
 */
function turningDoubt(block: ImuBlock, i: number, leverM: number): number {
  const { timeS, flags, gyroRadps } = block;
  if (((flags[i + 1] ?? 0) & sampleFlag.gapBefore) === 0 || gyroRadps === null) return 0;
  const change = norm(subtract(vecAt(gyroRadps, i + 1), vecAt(gyroRadps, i)));
  return 0.5 + (2 * leverM * change) / ((timeS[i + 1] as number) - (timeS[i] as number));
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
      // A filter swings back after the push.
    } else if (seen && firstS - (block.timeS[i] as number) > bounce.ringS) break;
  }
  return seen && lastS - firstS <= bounce.longestS + 3 * filterDelayS && (clipped || peak > bounce.forceMps2);
}

/** Whether the ball was free right before the short hard push that `bouncedBefore` finds before sample `start`. */
export function freeBeforeBounce(block: ImuBlock, start: number): boolean {
  const { timeS, accelMps2, gyroRadps } = block;
  const size = (i: number) => norm(vecAt(accelMps2, i));
  const startS = timeS[start] as number;
  let i = start;
  while (i >= 0 && size(i) <= bounce.edgeMps2) if (startS - (timeS[i--] as number) > bounce.apartS) return false;
  const pushEndS = timeS[i] ?? startS;
  while (i >= 0 && size(i) > bounce.edgeMps2) if (pushEndS - (timeS[i--] as number) > bounce.longestS) return false;
  // The sample next to the push may feel a part of it.
  const last = i - 1;
  for (i = last; i >= 0; i--) {
    const rate = gyroRadps === null ? 0 : norm(vecAt(gyroRadps, i));
    if (size(i) > freeBeforeMps2 + freeAgainOffsetM * rate * rate) return false;
    if ((timeS[last] as number) - (timeS[i] as number) >= freeAgainS) return true;
  }
  return false;
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

/** The flight that ended in the bounce from which `run` rose; null where none was seen. */
function boundBefore(
  block: ImuBlock,
  earlier: readonly QuietRun[],
  run: QuietRun,
  filterDelayS: number,
  stepS: number,
): QuietRun | null {
  const before = earlier[earlier.length - 1];
  if (!before) return null;
  const apartS = (block.timeS[run.start] as number) - (block.timeS[before.end - 1] as number);
  if (apartS > bounce.apartS + 2 * filterDelayS + 2 * stepS) return null;
  if (bouncedBefore(block, run.start, filterDelayS)) return before;
  for (let i = before.end; i <= run.start; i++) {
    if (((block.flags[i] as number) & sampleFlag.gapBefore) !== 0) return before;
  }
  return null;
}

/**
 * Whether right after sample `last` of a flight a bounce off the floor stands with free motion, or missing samples, behind it.
 *
 * @returns the first sample behind that and whether samples are missing there; null where there is no such bounce.
 */
function bounceAfter(
  block: ImuBlock,
  last: number,
  filterDelayS: number,
): { readonly behind: number; readonly gap: boolean } | null {
  const t0 = block.timeS[last] as number;
  const longestS = bounce.longestS + 3 * filterDelayS;
  /** From a sample on, for long enough. */
  const isFree = (from: number): boolean => {
    for (let i = from; i < block.length; i++) {
      const w = norm(vecAt(block.gyroRadps as Float64Array, i));
      if (norm(vecAt(block.accelMps2, i)) > freeAgainMps2 + freeAgainOffsetM * w * w) return false;
      if (i > from && (block.timeS[i] as number) - (block.timeS[from] as number) >= freeAgainS) return true;
    }
    return false;
  };
  let firstS = -1;
  let hard = false;
  for (let i = last + 1; i + 1 < block.length; i++) {
    const t = block.timeS[i] as number;
    const flags = block.flags[i] as number;
    if ((flags & sampleFlag.gapBefore) !== 0) {
      // All of the bounce may lie among missing samples: the ball is free behind them and turns otherwise.
      const unseen = firstS < 0 && i === last + 1 && turnedOver(block, last, i);
      if (firstS >= 0 || unseen) return (hard || unseen) && isFree(i) ? { behind: i, gap: true } : null;
    }
    const f = norm(vecAt(block.accelMps2, i));
    if (f > bounce.edgeMps2) {
      if (firstS < 0) firstS = t;
      hard ||= f > bounce.hardestMps2 || (flags & sampleFlag.accelClipped) !== 0;
      if (t - firstS > longestS) return null;
    } else if (firstS >= 0) {
      if (!hard || t - firstS > longestS + 0.01) return null;
      if (isFree(i)) return { behind: i, gap: false };
    } else if (t - t0 > bounce.longestS) return null;
  }
  return null;
}

/** Whether the spin changed between two samples as only a touch makes it. */
function turnedOver({ gyroRadps }: ImuBlock, a: number, b: number): boolean {
  if (gyroRadps === null) return false;
  return norm(subtract(vecAt(gyroRadps, b), vecAt(gyroRadps, a))) > leastTurnRadps;
}

/** How the ball was thrown to the floor from where it bounced into the hands; null where that was not seen. */
export function thrownBefore(
  block: ImuBlock,
  solution: Solution,
  from: number,
  arrival: ArrivalFlight,
  radiusM: number,
  hands: Vec3,
): Thrown | null {
  const { thrown, run } = arrival;
  if (!thrown || !arrival.seen) return null;
  const { walk, axes } = solution;
  const up = from - (run.start + 1);
  const down = from - (thrown.end - 2);
  if (up < 0 || down >= walk.length) return null;
  const inAxes = (v: Vec3): Vec3 => [dot(v, axes.forward), dot(v, axes.left), dot(v, axes.up)];
  const velocity = inAxes(vecAt(walk.velocityMps, up));
  const turned = subtract(inAxes(vecAt(walk.spinRadps, up)), inAxes(vecAt(walk.spinRadps, down)));
  // The floor's friction that changed the spin of a hollow ball (2/3 m R²) by Δω slowed it by 2/3 R ẑ × Δω.
  const share = (2 / 3) * radiusM;
  const level = Math.hypot(velocity[0] + share * turned[1] - hands[0], velocity[1] - share * turned[0] - hands[1]);
  const fallS = (block.timeS[thrown.end - 1] as number) - (block.timeS[thrown.start] as number);
  const riseMps = standardGravityMps2 * fallS - velocity[2] / restitution;
  return { levelMps: level, riseMps, dropM: (standardGravityMps2 * fallS * fallS) / 2 - riseMps * fallS };
}

/**
 * A ball that grips the floor leaves it all but rolling: its skin there keeps this share of the speed it came with, to the other side, and
 * so much of it either way (see `touchParameters.grip`); one sigma of the rest, m/s. It grips where friction had to give no more than this
 * share of the push upward.
 */
const rolls = { kept: 0.05, spread: 0.12, sway: 0.06, gripShare: 0.3 } as const;

/** How a ball rolled as it left the floor, in the frozen frame. */
export interface FloorRoll {
  /** Sample just after the bounce. */
  readonly sample: number;
  readonly radiusM: number;
  /** Expected velocity of the ball's skin where it left the floor, m/s, and one sigma of either level part. */
  readonly skinMps: Vec3;
  readonly standardDeviationMps: number;
}

/** How the ball must have rolled off the floor into the flight that came to the hands; null where that was not seen or it slid. */
export function rollOffFloor(search: ArrivalSearch, arrival: ArrivalFlight, radiusM: number): FloorRoll | null {
  const { block, solution, from, floorM } = search;
  const { run, thrown } = arrival;
  if (!arrival.seen || !arrival.bounced || !thrown || arrival.startLost) return null;
  const sample = run.start + 1;
  const after = from - sample;
  const before = from - (thrown.end - 2);
  const { walk, axes } = solution;
  if (after < 0 || before >= walk.length || !risesFromFloor(solution, from, sample, floorM)) return null;
  for (let i = thrown.end - 2; i < sample; i++) {
    if (((block.flags[i] as number) & (sampleFlag.gyroClipped | sampleFlag.gapBefore)) !== 0) return null;
  }
  // The push along the floor that turned the hollow ball (2/3 m R²) by Δω was 2/3 R up × Δω.
  const turned = subtract(vecAt(walk.spinRadps, after), vecAt(walk.spinRadps, before));
  const push = scale(cross(turned, axes.up), -(2 / 3) * radiusM);
  const riseMps = dot(vecAt(walk.velocityMps, after), axes.up);
  if (norm(push) > rolls.gripShare * riseMps * (1 + 1 / restitution)) return null;
  // It changed the skin's speed by 5/2 of that, from u to -e u.
  const skin = scale(push, 2.5 / (1 + rolls.kept));
  return {
    sample,
    radiusM,
    skinMps: scale(skin, rolls.kept),
    standardDeviationMps: Math.hypot(rolls.sway, rolls.spread * norm(skin)),
  };
}

/** What the skin's velocity where the ball left the floor is off from that of a ball that rolls so, m/s. */
export function offRolling({ walk, axes }: Solution, from: number, roll: FloorRoll): Vec3 | null {
  const k = from - roll.sample;
  if (k < 0 || k >= walk.length) return null;
  const along = scale(cross(vecAt(walk.spinRadps, k), axes.up), -roll.radiusM);
  return subtract(add(vecAt(walk.velocityMps, k), along), roll.skinMps);
}

/** Time between two flights not covered by flights between them, s. */
function handBetween(block: ImuBlock, between: readonly QuietRun[], a: QuietRun, b: QuietRun): number {
  let free = 0;
  for (const run of between) free += (block.timeS[run.end - 1] as number) - (block.timeS[run.start] as number);
  return (block.timeS[b.start] as number) - (block.timeS[a.end - 1] as number) - free;
}

/** Whether the arriving flight, whose beginning was not seen, rose from about the floor, `floorM` above release. */
export function roseFromFloor(solution: Solution, from: number, arrival: ArrivalFlight, floorM: number): boolean {
  return arrival.startLost && risesFromFloor(solution, from, arrival.run.start + 1, floorM);
}

/** Whether the ball is about as low as the floor at a sample, and rises as fast as a bounce makes it. */
function risesFromFloor({ walk, axes }: Solution, from: number, sample: number, floorM: number): boolean {
  const k = from - sample;
  if (k < 0 || k >= walk.length) return false;
  const heightM = dot(vecAt(walk.positionM, k), axes.up);
  return heightM < floorM + nearFloorM && dot(vecAt(walk.velocityMps, k), axes.up) > leastBounceMps;
}

/** Level velocity of the hands from shortly after the arrival until the lift, along the shot's axes, m/s. */
export function handsVelocity(solution: Solution, arrivalS: number, liftS: number): Vec3 {
  const { walk, axes } = solution;
  let hands: Vec3 = [0, 0, 0];
  let count = 0;
  for (let k = 0; k < walk.length; k++) {
    const t = walk.timeS[k] as number;
    if (t <= arrivalS + settleS) break;
    if (t > liftS) continue;
    const v = vecAt(walk.velocityMps, k);
    hands = add(hands, [dot(v, axes.forward), dot(v, axes.left), 0]);
    count++;
  }
  const seenS = liftS - arrivalS - settleS;
  return count > 0 ? scale(hands, seenS / (seenS + standS) / count) : [0, 0, 0];
}

/** Level speed of the arriving ball against the hands, m/s. */
export function closingSpeed(solution: Solution, arrivalS: number, hands: Vec3): number {
  const { walk, axes } = solution;
  for (let k = 0; k < walk.length; k++) {
    if ((walk.timeS[k] as number) > arrivalS) continue;
    const v = vecAt(walk.velocityMps, k);
    return Math.hypot(dot(v, axes.forward) - hands[0], dot(v, axes.left) - hands[1]);
  }
  return 0;
}
