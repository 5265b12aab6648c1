// Longer than most: the ways that are drawn, what narrows them and what is read off them share one set of draws.
import type { ImuBlock } from '../../foundation/imu-block.ts';
import type { RestingWork } from '../../foundation/resting-work.ts';
import { cross, dot, subtract, type Vec3, vecAt } from '../../signal/vec3.ts';
import { type PathPhases, type PathWay, type RoomPath, readPhases, readWay, roomPath } from './before-release.ts';
import { edgeParameters } from './edges.ts';
import { drawCount, normalDraws, widestDraw } from './normal-draws.ts';
import { gainDoubts, stepDoubts, turnDoubts } from './path-doubts.ts';
import { type ShiftedWalk, type Solution, type SolutionTask, sidewaysWindowS } from './shot-solution.ts';
import type { Walk } from './walk-back.ts';
import { packShifts, shiftsAt } from './walk-slopes.ts';

/** A number read off the way before release, as the mean and spread over what that way may have been. */
export interface PathEstimate {
  readonly value: number;
  readonly standardError: number;
  readonly interval90: readonly [number, number];
  /** Whether the ways fall into two groups far apart. */
  readonly twoPeaked: boolean;
}

/** The numbers of the way before release, times in s of the recording, lengths in m. */
export interface PathStudy {
  /** Phases of the likeliest way. */
  readonly phases: PathPhases;
  readonly lift: PathEstimate;
  readonly pause: PathEstimate;
  readonly dip: PathEstimate;
  readonly side: PathEstimate;
  /** Share of the possible ways that swing out farthest to the side where fewer of them do. */
  readonly otherSideShare: number;
  /** Last low rest; null where hardly any possible way has one. */
  readonly lowRest: PathEstimate | null;
  /** One sigma of what lost and clipped samples hide of the last push to the side, m/s. */
  readonly hiddenPushMps: number;
  /** Vertical speed at the pickup, m/s. */
  readonly pickupRiseMps: number;
  /** Shares of the possible ways whose lift and whose last low rest lie among missing samples. */
  readonly hiddenShare: { readonly lift: number; readonly lowRest: number };
}

/** What a path study needs beside the solution. */
export interface PathTask {
  readonly task: SolutionTask;
  /** The likeliest solution, and how the way lies one standard deviation away along each axis of the covariance's factor. */
  readonly best: Solution;
  readonly shifted: readonly ShiftedWalk[];
  readonly stepS: number;
  /** Instant at which the ball came to the hands. */
  readonly pickupS: number;
  /** Whether the clock starts at the last low rest instead. */
  readonly held: boolean;
  /** Whether the release fell among missing samples right before the walk's start. */
  readonly releaseLost: boolean;
}

/** A gap this much longer than a sample hides something. */
const { gapRatio } = edgeParameters;
/** A lost release lies this near to the first sample in flight, s. */
const releaseGapReachS = 0.06;
/** Paths are followed in steps no coarser than this where samples lie closer, s, and changes of them in so many such steps. */
const coarsestS = 0.0051;
const knotSteps = 3;
/** So many draws are a piece of work. */
const drawsAtOnce = 32;
/** Ways on either side of an empty stretch this long, in standard deviations, with this share of them at least on each, are two groups. */
const apart = { sigmas: 0.9, share: 0.03 } as const;
/** Share of the possible ways that must have a low rest. */
const restShare = 0.6;

/** Change of a path by one standard deviation of one thing that is not known exactly, at the knots. */
interface Change {
  readonly heightM: Float64Array;
  readonly riseMps: Float64Array;
  readonly sideM: Float64Array;
}

/**
 * Reads the phases off many possible ways, drawn from what is known of flight, sensor and gaps. A lowest point or a pause may
 * jump from one place of the path to another with a change far below one standard deviation, and so may the side to which
 * the ball swings out: there neither the likeliest way nor a tangent to it tells the error.
 */
export function* studyPath(path: PathTask): RestingWork<PathStudy> {
  const { best, pickupS, held } = path;
  const stride = Math.max(1, Math.floor(coarsestS / path.stepS));
  const release = releaseDoubt(path, best);
  const base = coarse(roomPath(best.walk, best.axes, path.task.releaseS), stride);
  if (release) lower(base, release.raiseM);
  const knots = knotsOf(base.length);
  const at: Knots = {
    timeS: Float64Array.from(knots, (i) => base.timeS[i] as number),
    endRiseMps: base.riseMps[base.length - 1] as number,
  };
  const changes = shiftedChanges(path, path.shifted.slice(0, widestDraw), knots, base.length, stride);
  changes.push(release ? release.change(at) : laterRelease(path, at));
  const more = [...gainChanges(path, best, at), ...turnChanges(path, best, at), ...hiddenChanges(path, best, at)];
  for (const change of more) if (changes.length < widestDraw) changes.push(change);
  const table = normalDraws();
  const draws: PathWay[] = [];
  const n = base.length;
  const trial = {
    ...base,
    heightM: new Float64Array(n),
    riseMps: new Float64Array(n),
    sideM: new Float64Array(n),
  };
  const sum = emptyChange(knots.length);
  const heights = changes.map(({ heightM }) => heightM);
  const rises = changes.map(({ riseMps }) => riseMps);
  const sides = changes.map(({ sideM }) => sideM);
  for (let d = 0; d < drawCount; d++) {
    if (d % drawsAtOnce === 0) yield;
    addUp(heights, table, d * widestDraw, sum.heightM);
    addUp(rises, table, d * widestDraw, sum.riseMps);
    addUp(sides, table, d * widestDraw, sum.sideM);
    for (const sign of [1, -1]) {
      spreadOut(base.heightM, sum.heightM, sign, knots, trial.heightM);
      spreadOut(base.riseMps, sum.riseMps, sign, knots, trial.riseMps);
      spreadOut(base.sideM, sum.sideM, sign, knots, trial.sideM);
      draws.push(readWay(trial, pickupS, held));
    }
  }
  const phases = readPhases(base, pickupS, held);
  const rests = draws.flatMap((draw) => (draw.lowRestS === null ? [] : [draw.lowRestS]));
  const lefts = draws.reduce((count, draw) => count + (draw.sidePathM > 0 ? 1 : 0), 0) / draws.length;
  return {
    phases,
    lift: estimate(draws.map((draw) => draw.liftS)),
    pause: estimate(draws.map((draw) => draw.pauseS)),
    dip: estimate(draws.map((draw) => draw.pickupHeightM - draw.liftHeightM)),
    side: estimate(draws.map((draw) => draw.sidePathM)),
    otherSideShare: Math.min(lefts, 1 - lefts),
    lowRest: rests.length < restShare * draws.length ? null : estimate(rests),
    hiddenPushMps: hiddenPush(path, best),
    pickupRiseMps: riseAt(base, pickupS),
    hiddenShare: {
      lift: shareInGaps(
        path,
        draws.map((draw) => draw.liftS),
      ),
      lowRest: shareInGaps(path, rests),
    },
  };
}

/** Share of the instants at which samples are missing. */
function shareInGaps({ task: { block, from }, stepS }: PathTask, instants: readonly number[]): number {
  const inGap = instants.filter((timeS) => isMissing(block, from, stepS, timeS));
  return inGap.length / Math.max(1, instants.length);
}

/** Whether samples are missing at an instant before sample `from`. */
function isMissing({ timeS: timesS, length }: ImuBlock, from: number, stepS: number, timeS: number): boolean {
  let i = from;
  while (i > 0 && (timesS[i] as number) > timeS) i--;
  return i + 1 < length && (timesS[i + 1] as number) - (timesS[i] as number) > gapRatio * stepS;
}

function estimate(unsorted: readonly number[]): PathEstimate {
  const n = unsorted.length;
  const values = Float64Array.from(unsorted).sort();
  let mean = 0;
  for (const value of values) mean += value / n;
  let square = 0;
  for (const value of values) square += (value - mean) ** 2 / n;
  const at = (share: number) => values[Math.min(n - 1, Math.floor(share * n))] as number;
  return {
    value: mean,
    standardError: Math.sqrt(square),
    interval90: [at(0.05), at(0.95)],
    twoPeaked: widestGap(values) > apart.sigmas * Math.sqrt(square),
  };
}

/** Longest empty stretch between sorted values with some of them on both sides. */
function widestGap(values: Float64Array): number {
  const rim = Math.ceil(apart.share * values.length);
  let widest = 0;
  for (let i = rim; i < values.length - rim; i++) {
    widest = Math.max(widest, (values[i] as number) - (values[i - 1] as number));
  }
  return widest;
}

/** Every `stride`-th entry of a path, counted from release. */
function coarse(path: RoomPath, stride: number): RoomPath {
  if (stride === 1) return path;
  const last = path.length - 1;
  const n = Math.floor(last / stride) + 1;
  const pick = (from: Float64Array) =>
    Float64Array.from({ length: n }, (_, i) => from[last - (n - 1 - i) * stride] as number);
  return {
    length: n,
    timeS: pick(path.timeS),
    heightM: pick(path.heightM),
    riseMps: pick(path.riseMps),
    sideM: pick(path.sideM),
    forwardMps: pick(path.forwardMps),
    leftMps: pick(path.leftMps),
    forceMps2: pick(path.forceMps2),
  };
}

/** Instants of the knots and the vertical speed at the last of them, the release. */
interface Knots {
  readonly timeS: Float64Array;
  readonly endRiseMps: number;
}

/** Entries at which changes are kept: release, the sample before it (where the ball may have been let go), and every few back from there. */
function knotsOf(length: number): number[] {
  const knots = [length - 1];
  for (let i = length - 2; i > 0; i -= knotSteps) knots.push(i);
  if (length > 1) knots.push(0);
  return knots.reverse();
}

function emptyChange(knots: number): Change {
  return { heightM: new Float64Array(knots), riseMps: new Float64Array(knots), sideM: new Float64Array(knots) };
}

/** Adds a change to a path, along straight lines between its knots. */
function spreadOut(
  base: Float64Array,
  change: Float64Array,
  sign: number,
  knots: readonly number[],
  out: Float64Array,
): void {
  for (let k = 1; k < knots.length; k++) {
    const from = knots[k - 1] as number;
    const to = knots[k] as number;
    const a = sign * (change[k - 1] as number);
    const slope = (sign * (change[k] as number) - a) / (to - from);
    for (let i = from; i < to; i++) out[i] = (base[i] as number) + a + slope * (i - from);
  }
  const last = base.length - 1;
  out[last] = (base[last] as number) + sign * (change[knots.length - 1] as number);
}

/** What one standard deviation along each axis of the covariance's factor changes of the way, in the axes of either. */
function shiftedChanges(
  { task, best }: PathTask,
  shifted: readonly ShiftedWalk[],
  knots: readonly number[],
  length: number,
  stride: number,
): Change[] {
  const { walk, axes } = best;
  const [first] = shifted;
  const changes = shifted.map(() => emptyChange(knots.length));
  if (!first) return changes;
  const shifts = packShifts(shifted.map(({ shift }) => shift));
  const lagS = (walk.timeS[0] as number) - task.releaseS;
  const atStart = new Float64Array(6 * shifted.length);
  shiftsAt(first.slopes, shifts, 0, atStart);
  const moved = new Float64Array(6 * shifted.length);
  const [vx, vy, vz] = vecAt(walk.velocityMps, 0);
  // The first entries of the walk may lie behind release: the path leaves them out.
  const firstEntry = walk.length - (best.path.length - 1);
  const last = knots.length - 1;
  // Knot by knot, since the slopes at one knot serve all shifts.
  for (let j = 0; j < last; j++) {
    const k = firstEntry + (length - 1 - (knots[j] as number)) * stride - 1;
    shiftsAt(first.slopes, shifts, k, moved);
    const x = vecAt(walk.positionM, k);
    const v = vecAt(walk.velocityMps, k);
    const wayWas: Vec3 = [x[0] + vx * lagS, x[1] + vy * lagS, x[2] + vz * lagS];
    const heightWas = dot(wayWas, axes.up);
    const sideWas = dot(wayWas, axes.left);
    const riseWas = dot(v, axes.up);
    for (let c = 0; c < shifted.length; c++) {
      const o = 6 * c;
      const { up, left } = (shifted[c] as ShiftedWalk).axes;
      const change = changes[c] as Change;
      const wx = x[0] + (moved[o + 3] as number) + (vx + (atStart[o] as number)) * lagS;
      const wy = x[1] + (moved[o + 4] as number) + (vy + (atStart[o + 1] as number)) * lagS;
      const wz = x[2] + (moved[o + 5] as number) + (vz + (atStart[o + 2] as number)) * lagS;
      const rx = v[0] + (moved[o] as number);
      const ry = v[1] + (moved[o + 1] as number);
      const rz = v[2] + (moved[o + 2] as number);
      change.heightM[j] = wx * up[0] + wy * up[1] + wz * up[2] - heightWas;
      change.sideM[j] = wx * left[0] + wy * left[1] + wz * left[2] - sideWas;
      change.riseMps[j] = rx * up[0] + ry * up[1] + rz * up[2] - riseWas;
    }
  }
  const riseWas = dot([vx, vy, vz], axes.up);
  for (const [c, { axes: there }] of shifted.entries()) {
    const start: Vec3 = [
      vx + (atStart[6 * c] as number),
      vy + (atStart[6 * c + 1] as number),
      vz + (atStart[6 * c + 2] as number),
    ];
    (changes[c] as Change).riseMps[last] = dot(start, there.up) - riseWas;
  }
  return changes;
}

/** Sums up changes, each times its share; the one array `shares` holds them from `first` on. */
function addUp(changes: readonly Float64Array[], shares: Float64Array, first: number, sum: Float64Array): void {
  sum.fill(0);
  let c = 0;
  // Four at a time, so that each sum is read and written a fourth as often.
  for (; c + 4 <= changes.length; c += 4) {
    const [c0, c1, c2, c3] = [changes[c], changes[c + 1], changes[c + 2], changes[c + 3]] as [
      Float64Array,
      Float64Array,
      Float64Array,
      Float64Array,
    ];
    const s0 = shares[first + c] as number;
    const s1 = shares[first + c + 1] as number;
    const s2 = shares[first + c + 2] as number;
    const s3 = shares[first + c + 3] as number;
    for (let i = 0; i < sum.length; i++) {
      let s = sum[i] as number;
      s += s0 * (c0[i] as number);
      s += s1 * (c1[i] as number);
      s += s2 * (c2[i] as number);
      s += s3 * (c3[i] as number);
      sum[i] = s;
    }
  }
  for (; c < changes.length; c++) {
    const change = changes[c] as Float64Array;
    const share = shares[first + c] as number;
    for (let i = 0; i < sum.length; i++) sum[i] = (sum[i] as number) + share * (change[i] as number);
  }
}

function lower(path: RoomPath, raiseM: number): void {
  // The last entry is the release itself.
  for (let i = 0; i < path.length - 1; i++) path.heightM[i] = (path.heightM[i] as number) + raiseM;
}

/** A step of velocity at an instant (up and to the left, m/s), seen from release: what lies before it moves. */
function stepChange({ timeS }: Knots, atS: number, upMps: number, leftMps: number): Change {
  const change = emptyChange(timeS.length);
  for (let i = 0; i < timeS.length; i++) {
    const beforeS = atS - (timeS[i] as number);
    if (beforeS <= 0) continue;
    change.riseMps[i] = upMps;
    change.heightM[i] = -upMps * beforeS;
    change.sideM[i] = -leftMps * beforeS;
  }
  return change;
}

/** What lost and clipped samples on the way may hide, without the gap that holds a lost release. */
function hiddenChanges(path: PathTask, best: Solution, knots: Knots): Change[] {
  const { task, pickupS } = path;
  const { walk, axes } = best;
  const lost = releaseGap(path, walk);
  return stepDoubts(task.block, walk, task.from, pickupS)
    .filter(({ entry, atS }) => entry !== lost && atS < task.releaseS)
    .map(({ atS, velocityMps }) => stepChange(knots, atS, dot(velocityMps, axes.up), dot(velocityMps, axes.left)));
}

/**
 * How the way changes where the forces at each entry of the walk are others.
 *
 * @param more writes what `count` things add to the force at an entry, m/s² in the frame of the walk, 3 numbers each.
 */
function forceChanges(
  { walk, axes }: Solution,
  { timeS }: Knots,
  releaseS: number,
  count: number,
  more: (k: number, out: Float64Array) => void,
): Change[] {
  const changes = Array.from({ length: count }, () => emptyChange(timeS.length));
  if (count === 0) return changes;
  const here = new Float64Array(3 * count);
  // Of each: push up and to the left at the entry before, speeds and places along both.
  const state = new Float64Array(6 * count);
  const [ux, uy, uz] = axes.up;
  const [lx, ly, lz] = axes.left;
  let knot = timeS.length - 1;
  for (let k = 0; k < walk.length && knot >= 0; k++) {
    const t = walk.timeS[k] as number;
    const h = k > 0 && t < releaseS ? Math.min(releaseS, walk.timeS[k - 1] as number) - t : 0;
    more(k, here);
    for (let c = 0; c < count; c++) {
      const x = here[3 * c] as number;
      const y = here[3 * c + 1] as number;
      const z = here[3 * c + 2] as number;
      pushOn(state, 6 * c, x * ux + y * uy + z * uz, h);
      pushOn(state, 6 * c + 3, x * lx + y * ly + z * lz, h);
    }
    for (; knot >= 0 && t <= (timeS[knot] as number) + 1e-9; knot--) {
      for (let c = 0; c < count; c++) {
        const change = changes[c] as Change;
        change.riseMps[knot] = state[6 * c + 1] as number;
        change.heightM[knot] = state[6 * c + 2] as number;
        change.sideM[knot] = state[6 * c + 5] as number;
      }
    }
  }
  return changes;
}

/** Carries push, speed and place along one axis back by `h`, s. */
function pushOn(state: Float64Array, at: number, push: number, h: number): void {
  const was = state[at + 1] as number;
  const speed = was - (h / 2) * (push + (state[at] as number));
  state[at + 2] = (state[at + 2] as number) - (h / 2) * (speed + was);
  state[at + 1] = speed;
  state[at] = push;
}

/** What one standard deviation of each accelerometer axis' sensitivity changes of the way. */
function gainChanges({ task }: PathTask, best: Solution, knots: Knots): Change[] {
  return forceChanges(best, knots, task.releaseS, 3, (k, out) => gainDoubts(best.walk, k, out));
}

/** What a turn beyond the gyroscope's range changes: all forces before it point elsewhere. */
function turnChanges({ task, pickupS }: PathTask, best: Solution, knots: Knots): Change[] {
  const { walk } = best;
  const turns = turnDoubts(task.block, walk, task.from, pickupS);
  return forceChanges(best, knots, task.releaseS, turns.length, (k, out) => {
    for (const [i, { atS, turnRad }] of turns.entries()) {
      out.set((walk.timeS[k] as number) < atS ? cross(turnRad, vecAt(walk.forceMps2, k)) : none3, 3 * i);
    }
  });
}

const none3: Vec3 = [0, 0, 0];

function hiddenPush({ task }: PathTask, { walk, axes }: Solution): number {
  const sinceS = task.releaseS - sidewaysWindowS;
  const steps = stepDoubts(task.block, walk, task.from, sinceS).map(({ velocityMps }) => dot(velocityMps, axes.left));
  return Math.hypot(0, ...steps);
}

/** Let go a standard deviation later, the ball is higher then: everything before lies lower against it. */
function laterRelease({ task }: PathTask, { timeS, endRiseMps }: Knots): Change {
  const release = task.study.release;
  const shiftM = release && release.timeS !== null ? release.standardErrorS * endRiseMps : 0;
  const change = emptyChange(timeS.length);
  change.heightM.fill(-shiftM, 0, timeS.length - 1);
  return change;
}

interface ReleaseDoubt {
  /** The ball was let go this much lower on the mean than at the walk's start, m. */
  readonly raiseM: number;
  readonly change: (knots: Knots) => Change;
}

/** The gap right before the walk's start that holds the release: entry of the walk behind it; −1 where there is none. */
function releaseGap({ releaseLost, stepS }: PathTask, walk: Walk): number {
  if (!releaseLost) return -1;
  const startS = walk.timeS[0] as number;
  for (let k = 1; k < walk.length && startS - (walk.timeS[k - 1] as number) < releaseGapReachS; k++) {
    if ((walk.timeS[k - 1] as number) - (walk.timeS[k] as number) >= gapRatio * stepS) return k - 1;
  }
  return -1;
}

/**
 * A release that fell into a gap lies anywhere in it: the hand pushed on until then. The walk drew its force as a straight line,
 * which is right on the mean.
 */
function releaseDoubt(path: PathTask, best: Solution): ReleaseDoubt | null {
  const { walk, axes } = best;
  const later = releaseGap(path, walk);
  if (later < 0) return null;
  const laterS = walk.timeS[later] as number;
  const earlierS = walk.timeS[later + 1] as number;
  const lengthS = laterS - earlierS;
  const riseMps = dot(vecAt(walk.velocityMps, later), axes.up);
  const push: Vec3 = subtract(vecAt(walk.forceMps2, later + 1), vecAt(walk.forceMps2, later));
  const spreadS = lengthS / Math.sqrt(12);
  return {
    raiseM: (riseMps * lengthS) / 2 - dot(vecAt(walk.positionM, later), axes.up),
    change: (knots) => {
      // Let go later: higher up, and pushed for longer, so slower before.
      const change = stepChange(knots, laterS, -spreadS * dot(push, axes.up), -spreadS * dot(push, axes.left));
      for (let i = 0; i < knots.timeS.length; i++) {
        if ((knots.timeS[i] as number) <= earlierS) {
          change.heightM[i] = (change.heightM[i] as number) - spreadS * riseMps;
        }
      }
      return change;
    },
  };
}

function riseAt(path: RoomPath, timeS: number): number {
  let i = 0;
  while (i < path.length - 1 && (path.timeS[i] as number) < timeS) i++;
  return path.riseMps[i] as number;
}
