import { dot, subtract, type Vec3, vecAt } from '../../signal/vec3.ts';
import { type PathPhases, type RoomPath, readPhases, roomPath } from './before-release.ts';
import { edgeParameters } from './edges.ts';
import { drawCount, normalDraws, widestDraw } from './normal-draws.ts';
import { stepDoubts } from './path-doubts.ts';
import { type Solution, type SolutionTask, sidewaysWindowS } from './shot-solution.ts';
import type { Walk } from './walk-back.ts';

/** A number read off the way before release, as the mean and spread over what that way may have been. */
export interface PathEstimate {
  readonly value: number;
  readonly standardError: number;
  readonly interval90: readonly [number, number];
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
}

/** What a path study needs beside the solution. */
export interface PathTask {
  readonly task: SolutionTask;
  /** The likeliest solution, and the ways of those one standard deviation away along each axis of the covariance's factor. */
  readonly best: Solution;
  readonly shifted: readonly RoomPath[];
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
/** Paths are followed in steps no finer than this, s. */
const coarsestS = 0.0045;
/** Share of the possible ways that must have a low rest. */
const restShare = 0.6;

/** Change of a path by one standard deviation of one thing that is not known exactly. */
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
export function studyPath(path: PathTask): PathStudy {
  const { task, best, pickupS, held } = path;
  const stride = Math.max(1, Math.floor(coarsestS / path.stepS));
  const release = releaseDoubt(path, best);
  const base = coarse(roomPath(best.walk, best.axes, task.releaseS), stride);
  if (release) lower(base, release.raiseM);
  const changes: Change[] = [];
  for (const shifted of path.shifted) {
    const other = coarse(shifted, stride);
    if (release) lower(other, release.raiseM);
    if (changes.length < widestDraw) changes.push(difference(other, base));
  }
  changes.push(release ? release.change(base) : laterRelease(path, base));
  for (const hidden of hiddenChanges(path, best, base)) if (changes.length < widestDraw) changes.push(hidden);
  const draws: PathPhases[] = [];
  const n = base.length;
  const trial = {
    ...base,
    heightM: new Float64Array(n),
    riseMps: new Float64Array(n),
    sideM: new Float64Array(n),
  };
  const sum: Change = {
    heightM: new Float64Array(n),
    riseMps: new Float64Array(n),
    sideM: new Float64Array(n),
  };
  for (let d = 0; d < drawCount; d++) {
    sum.heightM.fill(0);
    sum.riseMps.fill(0);
    sum.sideM.fill(0);
    for (const [c, change] of changes.entries()) addTo(sum, change, normalDraws()[d * widestDraw + c] as number);
    for (const sign of [1, -1]) {
      for (let i = 0; i < n; i++) {
        trial.heightM[i] = (base.heightM[i] as number) + sign * (sum.heightM[i] as number);
        trial.riseMps[i] = (base.riseMps[i] as number) + sign * (sum.riseMps[i] as number);
        trial.sideM[i] = (base.sideM[i] as number) + sign * (sum.sideM[i] as number);
      }
      draws.push(readPhases(trial, pickupS, held));
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
  };
}

function estimate(values: number[]): PathEstimate {
  const n = values.length;
  values.sort((a, b) => a - b);
  let mean = 0;
  for (const value of values) mean += value / n;
  let square = 0;
  for (const value of values) square += (value - mean) ** 2 / n;
  const at = (share: number) => values[Math.min(n - 1, Math.floor(share * n))] as number;
  return {
    value: mean,
    standardError: Math.sqrt(square),
    interval90: [at(0.05), at(0.95)],
  };
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
    levelMps: pick(path.levelMps),
    forceMps2: pick(path.forceMps2),
  };
}

function difference(a: RoomPath, b: RoomPath): Change {
  const minus = (x: Float64Array, y: Float64Array) => x.map((value, i) => value - (y[i] as number));
  return {
    heightM: minus(a.heightM, b.heightM),
    riseMps: minus(a.riseMps, b.riseMps),
    sideM: minus(a.sideM, b.sideM),
  };
}

function addTo(sum: Change, change: Change, share: number): void {
  const { heightM, riseMps, sideM } = change;
  for (let i = 0; i < heightM.length; i++) {
    sum.heightM[i] = (sum.heightM[i] as number) + share * (heightM[i] as number);
    sum.riseMps[i] = (sum.riseMps[i] as number) + share * (riseMps[i] as number);
    sum.sideM[i] = (sum.sideM[i] as number) + share * (sideM[i] as number);
  }
}

function lower(path: RoomPath, raiseM: number): void {
  // The last entry is the release itself.
  for (let i = 0; i < path.length - 1; i++) path.heightM[i] = (path.heightM[i] as number) + raiseM;
}

/** A step of velocity at an instant (up and to the left, m/s), seen from release: what lies before it moves. */
function stepChange(base: RoomPath, atS: number, upMps: number, leftMps: number): Change {
  const n = base.length;
  const change: Change = {
    heightM: new Float64Array(n),
    riseMps: new Float64Array(n),
    sideM: new Float64Array(n),
  };
  for (let i = 0; i < n; i++) {
    const beforeS = atS - (base.timeS[i] as number);
    if (beforeS <= 0) continue;
    change.riseMps[i] = upMps;
    change.heightM[i] = -upMps * beforeS;
    change.sideM[i] = -leftMps * beforeS;
  }
  return change;
}

/** What lost and clipped samples on the way may hide, without the gap that holds a lost release. */
function hiddenChanges(path: PathTask, best: Solution, base: RoomPath): Change[] {
  const { task, pickupS } = path;
  const { walk, axes } = best;
  const lost = releaseGap(path, walk);
  return stepDoubts(task.block, walk, task.from, pickupS)
    .filter(({ entry, atS }) => entry !== lost && atS < task.releaseS)
    .map(({ atS, velocityMps }) => stepChange(base, atS, dot(velocityMps, axes.up), dot(velocityMps, axes.left)));
}

function hiddenPush({ task }: PathTask, { walk, axes }: Solution): number {
  const sinceS = task.releaseS - sidewaysWindowS;
  const steps = stepDoubts(task.block, walk, task.from, sinceS).map(({ velocityMps }) => dot(velocityMps, axes.left));
  return Math.hypot(0, ...steps);
}

/** Let go a standard deviation later, the ball is higher then: everything before lies lower against it. */
function laterRelease({ task }: PathTask, base: RoomPath): Change {
  const n = base.length;
  const release = task.study.release;
  const shiftM = release && release.timeS !== null ? release.standardErrorS * (base.riseMps[n - 1] as number) : 0;
  const heightM = new Float64Array(n).fill(-shiftM);
  heightM[n - 1] = 0;
  return { heightM, riseMps: new Float64Array(n), sideM: new Float64Array(n) };
}

interface ReleaseDoubt {
  /** The ball was let go this much lower on the mean than at the walk's start, m. */
  readonly raiseM: number;
  readonly change: (base: RoomPath) => Change;
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
    change: (base) => {
      // Let go later: higher up, and pushed for longer, so slower before.
      const change = stepChange(base, laterS, -spreadS * dot(push, axes.up), -spreadS * dot(push, axes.left));
      for (let i = 0; i < base.length; i++) {
        if ((base.timeS[i] as number) <= earlierS) {
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
