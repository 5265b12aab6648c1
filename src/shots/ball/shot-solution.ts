// Longer than most: the joint solution, what is read from it and how its spread is carried over share one order of the parameters.
import { Matrix } from 'ml-matrix';
import { type ArcAero, type ArcPoint, apexOf, fallThrough, flyFor } from '../../flight/arc.ts';
import type { AeroPreset } from '../../flight/ball-presets.ts';
import { flightParameter, shiftState } from '../../flight/flight-fit.ts';
import {
  airForce,
  airOf,
  attitudeAt,
  type FlightState,
  integrateAttitude,
  integrateVelocity,
  type RateTrack,
} from '../../flight/flight-model.ts';
import { standardGravityMps2 } from '../../foundation/constants.ts';
import type { ImuBlock } from '../../foundation/imu-block.ts';
import type { RestingWork } from '../../foundation/resting-work.ts';
import { condition, copyOf, type Gaussian, sigmaDirections } from '../../signal/gaussian.ts';
import { conjugate, multiply, type Quaternion, stepRotation } from '../../signal/rotation.ts';
import { add, cross, dot, norm, scale, subtract, unit, type Vec3, vecAt } from '../../signal/vec3.ts';
import { type RoomPath, roomPath, type ShotAxes } from './before-release.ts';
import { calibrationPriors } from './calibration.ts';
import type { FlightStudy } from './flight-study.ts';
import { type Walk, type WalkStart, walkBack } from './walk-back.ts';
import { shiftWalk, type WalkShift, type WalkSlopes, walkLike, walkSlopes } from './walk-slopes.ts';

/** Joint parameter vector: the flight's, then gyro scale x y z and gyro bias x y z of the time before release. */
export const jointCount = flightParameter.count + 6;
/** Places of the gyroscope's scale and bias in it. */
export const jointGyro = { scale: flightParameter.count, bias: flightParameter.count + 3 } as const;

function three(values: readonly number[], from: number): Vec3 {
  return [values[from] as number, values[from + 1] as number, values[from + 2] as number];
}

/** What a solution is asked for. */
export interface SolutionTask {
  readonly block: ImuBlock;
  readonly study: FlightStudy;
  readonly aero: AeroPreset;
  readonly releaseS: number;
  readonly contactS: number | null;
  /** First sample in flight and earliest sample to walk back to. */
  readonly from: number;
  readonly to: number;
}

/** One consistent picture of flight and way before it, for one value of the joint parameters. */
export interface Solution {
  readonly state: FlightState;
  readonly axes: ShotAxes;
  readonly launch: ArcPoint;
  readonly arcAero: ArcAero;
  /** Spin at release in the shot's axes, rad/s. */
  readonly spinRadps: Vec3;
  readonly contact: ArcPoint | null;
  readonly walk: Walk;
  readonly path: RoomPath;
  /** What the walk started from. */
  readonly start: WalkStart;
  /** Attitude and velocity along the flight's track and the spin at release, all in the frozen frame. */
  readonly attitude: Float64Array;
  readonly velocity: Float64Array;
  readonly spinFrame: Vec3;
}

/** The flight's part of a solution, and what the walk starts from. */
type FlightPart = Omit<Solution, 'walk' | 'path'>;

/** Solves for one value of the joint parameters. */
export function solve(task: SolutionTask, joint: readonly number[]): Solution {
  const part = solveFlight(task, joint);
  return withWalk(task, part, walkBack(task.block, task.from, task.to, part.start));
}

function withWalk(task: SolutionTask, part: FlightPart, walk: Walk): Solution {
  let path: RoomPath | null = null;
  return {
    ...part,
    walk,
    // Most solutions are asked for other things.
    get path() {
      path ??= roomPath(walk, part.axes, task.releaseS);
      return path;
    },
  };
}

/** @returns the same solution with no more of its walk than the task asks for. */
export function shorten(task: SolutionTask, solution: Solution): Solution {
  const { walk } = solution;
  const length = Math.min(walk.length, task.from - task.to + 1);
  if (length === walk.length) return solution;
  const three = (values: Float64Array) => values.subarray(0, 3 * length);
  const { path: _, ...rest } = solution;
  return withWalk(task, rest as FlightPart, {
    length,
    timeS: walk.timeS.subarray(0, length),
    positionM: three(walk.positionM),
    velocityMps: three(walk.velocityMps),
    forceMps2: three(walk.forceMps2),
    spinRadps: three(walk.spinRadps),
    attitude: walk.attitude.subarray(0, 4 * length),
  });
}

/** @param near the part for other parameters: what these do not change is taken from it. */
function solveFlight(task: SolutionTask, joint: readonly number[], near: FlightPart | null = null): FlightPart {
  const { study, aero, block } = task;
  const { fit } = study;
  const { track } = fit;
  const state = shiftState(fit.state, fit.upBasis, joint);
  const sensor = {
    biasMps2: state.biasMps2,
    offsetM: state.offsetM,
    rateScale: three(joint, jointGyro.scale),
    rateBiasRadps: three(joint, jointGyro.bias),
  };
  const turnsAlike = near !== null && same(near.state.rateCorrectionRadps, state.rateCorrectionRadps);
  if (turnsAlike && fliesAlike(near.state, state)) return { ...near, state, start: { ...near.start, ...sensor } };
  const attitude = turnsAlike ? near.attitude : integrateAttitude(track, state.rateCorrectionRadps);
  const velocity = integrateVelocity(track, state, attitude, aero);
  const air = airOf(state, aero);
  const rateAt = (i: number): Vec3 => add(vecAt(track.rateRadps, i), state.rateCorrectionRadps);
  const spinFrame = turnsAlike ? near.spinFrame : spinAtRelease(track, state, attitude, task.releaseS);
  const gravity = scale(state.up, -standardGravityMps2);
  const velocityNear = (i: number, timeS: number): Vec3 => {
    const v = vecAt(velocity, i);
    const h = timeS - (track.timeS[i] as number);
    const a = add(airForce(v, spinFrame, state.up, air), gravity);
    const middle = add(v, scale(a, h / 2));
    return add(v, scale(add(airForce(middle, spinFrame, state.up, air), gravity), h));
  };
  const launchVelocity = velocityNear(0, task.releaseS);
  const forward = unit(
    subtract(launchVelocity, scale(state.up, dot(launchVelocity, state.up))),
    unit(cross(state.up, [1, 0, 0])),
  );
  const axes: ShotAxes = { forward, left: cross(state.up, forward), up: state.up };
  const inAxes = (v: Vec3): Vec3 => [dot(v, axes.forward), dot(v, axes.left), dot(v, axes.up)];
  const spinRadps = inAxes(spinFrame);
  const launch: ArcPoint = { timeS: task.releaseS, positionM: [0, 0, 0], velocityMps: inAxes(launchVelocity) };
  let contact: ArcPoint | null = null;
  if (task.contactS !== null) {
    const last = track.length - 1;
    const end = velocityNear(last, task.contactS);
    const place = travel(track, velocity, launchVelocity, task.releaseS, end, task.contactS);
    contact = { timeS: task.contactS, positionM: inAxes(place), velocityMps: inAxes(end) };
  }
  const fromS = block.timeS[task.from] as number;
  const h = fromS - (track.timeS[0] as number);
  const startAttitude: Quaternion = multiply(attitudeAt(attitude, 0), stepRotation(rateAt(0), rateAt(0), h));
  return {
    state,
    axes,
    launch,
    arcAero: { ...air, spinRadps },
    spinRadps,
    contact,
    attitude,
    velocity,
    spinFrame,
    start: { attitude: startAttitude, velocityMps: velocityNear(0, fromS), up: state.up, ...sensor },
  };
}

function same(a: Vec3, b: Vec3): boolean {
  return a[0] === b[0] && a[1] === b[1] && a[2] === b[2];
}

/** Whether two states differ in nothing but what the sensor itself reads. */
function fliesAlike(a: FlightState, b: FlightState): boolean {
  return (
    same(a.velocityMps, b.velocityMps) &&
    same(a.up, b.up) &&
    a.dragRatio === b.dragRatio &&
    a.liftGrowth === b.liftGrowth &&
    a.buoyancyMps2 === b.buoyancyMps2 &&
    a.dragSlope === b.dragSlope &&
    a.dragBend === b.dragBend &&
    a.liftLag === b.liftLag
  );
}

/** Direction of the spin: mean over the flight; size at release: straight line through the sizes. Frozen frame, rad/s. */
function spinAtRelease(track: RateTrack, state: FlightState, attitude: Float64Array, releaseS: number): Vec3 {
  const [cx, cy, cz] = state.rateCorrectionRadps;
  let [ax, ay, az] = [0, 0, 0];
  let [s0, s1, s2, m0, m1] = [0, 0, 0, 0, 0];
  for (let i = 0; i < track.length; i++) {
    const wx = (track.rateRadps[3 * i] as number) + cx;
    const wy = (track.rateRadps[3 * i + 1] as number) + cy;
    const wz = (track.rateRadps[3 * i + 2] as number) + cz;
    const qw = attitude[4 * i] as number;
    const qx = attitude[4 * i + 1] as number;
    const qy = attitude[4 * i + 2] as number;
    const qz = attitude[4 * i + 3] as number;
    const tx = 2 * (qy * wz - qz * wy);
    const ty = 2 * (qz * wx - qx * wz);
    const tz = 2 * (qx * wy - qy * wx);
    ax += wx + qw * tx + qy * tz - qz * ty;
    ay += wy + qw * ty + qz * tx - qx * tz;
    az += wz + qw * tz + qx * ty - qy * tx;
    const dt = (track.timeS[i] as number) - releaseS;
    const size = Math.sqrt(wx * wx + wy * wy + wz * wz);
    s0++;
    s1 += dt;
    s2 += dt * dt;
    m0 += size;
    m1 += size * dt;
  }
  const size = (s2 * m0 - s1 * m1) / (s0 * s2 - s1 * s1);
  return scale(unit([ax, ay, az]), size);
}

/** Way from release to contact, m: trapezoid rule through the flight's samples. */
function travel(track: RateTrack, velocity: Float64Array, launch: Vec3, releaseS: number, end: Vec3, contactS: number) {
  const place: [number, number, number] = [0, 0, 0];
  const last = track.length - 1;
  for (let axis = 0; axis < 3; axis++) {
    const v = (i: number) => velocity[3 * i + axis] as number;
    const t = (i: number) => track.timeS[i] as number;
    let sum =
      ((launch[axis] as number) + v(0)) * (t(0) - releaseS) + (v(last) + (end[axis] as number)) * (contactS - t(last));
    for (let i = 1; i <= last; i++) sum += (v(i - 1) + v(i)) * (t(i) - t(i - 1));
    place[axis] = sum / 2;
  }
  return place;
}

/** What else a walk starts from, seen from where another starts. */
function shiftBetween(base: WalkStart, other: WalkStart): WalkShift {
  const turn = multiply(other.attitude, conjugate(base.attitude));
  const twice = turn[0] < 0 ? -2 : 2;
  return {
    turnRad: [twice * turn[1], twice * turn[2], twice * turn[3]],
    velocityMps: subtract(other.velocityMps, base.velocityMps),
    up: subtract(other.up, base.up),
    sensor: [
      ...subtract(other.biasMps2, base.biasMps2),
      ...subtract(other.offsetM, base.offsetM),
      ...subtract(other.rateScale, base.rateScale),
      ...subtract(other.rateBiasRadps, base.rateBiasRadps),
    ],
  };
}

/** Numbers read off a solution; NaN inside this module alone marks what one solution does not have. */
export interface ShotNumbers {
  readonly launchSpeed: number;
  readonly launchAngle: number;
  readonly spin: number;
  readonly backspin: number;
  readonly sidespin: number;
  readonly rifle: number;
  readonly tilt: number;
  readonly entryAngle: number;
  readonly apex: number;
  readonly contactHeight: number;
  readonly contactRise: number;
  readonly contactAway: number;
  readonly sidewaysImpulse: number;
}

export type ShotNumberName = keyof ShotNumbers;

/** The hand's push to the side is taken over this time before release, s. */
export const sidewaysWindowS = 0.08;

/** What the arc follows from. */
type FlightArc = Pick<Solution, 'launch' | 'arcAero'>;

/** Reads the numbers off one solution. */
export function readNumbers(solution: Solution, ringHeightM: number | null): ShotNumbers {
  const { launch, arcAero, spinRadps, contact } = solution;
  const v = launch.velocityMps;
  const apex = apexOf(launch, arcAero);
  return {
    launchSpeed: norm(v),
    launchAngle: Math.atan2(v[2], Math.hypot(v[0], v[1])),
    spin: norm(spinRadps),
    backspin: -spinRadps[1],
    sidespin: spinRadps[2],
    rifle: spinRadps[0],
    tilt: Math.atan2(spinRadps[2], -spinRadps[1]),
    entryAngle: entryAngle(solution, ringHeightM),
    apex: apex.positionM[2],
    contactHeight: contact ? contact.positionM[2] : Number.NaN,
    contactRise: contact ? contact.velocityMps[2] : Number.NaN,
    contactAway: contact ? Math.hypot(contact.positionM[0], contact.positionM[1]) : Number.NaN,
    sidewaysImpulse: -leftBeforePush(solution),
  };
}

/** @returns the angle below horizontal at the ring's height, rad; NaN where the arc does not reach it or it is not known. */
function entryAngle({ launch, arcAero }: FlightArc, ringHeightM: number | null): number {
  const entry = ringHeightM === null ? null : fallThrough(launch, arcAero, ringHeightM);
  return entry ? angleBelow(entry) : Number.NaN;
}

function angleBelow({ velocityMps: [x, y, z] }: ArcPoint): number {
  return Math.atan2(-z, Math.hypot(x, y));
}

/** The first entry of a walk at which the hand's push to the side has not begun; past the end where the walk does not reach it. */
function pushEntry(walk: Walk, releaseS: number): number {
  let k = 1;
  while (k < walk.length && (walk.timeS[k] as number) > releaseS - sidewaysWindowS) k++;
  return k;
}

/** Velocity to the left of the launch plane before the hand's push to the side, m/s; NaN where the walk does not reach it. */
function leftBeforePush({ walk, axes, launch }: Solution): number {
  const k = pushEntry(walk, launch.timeS);
  if (k >= walk.length) return Number.NaN;
  const left = (entry: number) => dot(vecAt(walk.velocityMps, entry), axes.left);
  const earlierS = walk.timeS[k] as number;
  const laterS = walk.timeS[k - 1] as number;
  const atS = launch.timeS - sidewaysWindowS;
  return left(k) + ((left(k - 1) - left(k)) * (atS - earlierS)) / (laterS - earlierS);
}

/** @returns what is known of the joint parameters after the flight fit alone, as shifts from the fit. */
export function jointPrior(study: FlightStudy): Gaussian {
  const covariance = Matrix.zeros(jointCount, jointCount);
  covariance.setSubMatrix(study.fit.covariance, 0, 0);
  covariance.setSubMatrix(study.calibration.gyro.covariance, flightParameter.count, flightParameter.count);
  // The gyroscope's slow noise makes its bias before release another than that over many flights.
  const wander = calibrationPriors.gyroWanderRadps ** 2;
  for (let i = jointGyro.bias; i < jointCount; i++) covariance.set(i, i, covariance.get(i, i) + wander);
  const mean = new Array<number>(jointCount).fill(0);
  for (let i = 0; i < 6; i++) mean[flightParameter.count + i] = study.calibration.gyro.mean[i] as number;
  return { mean, covariance };
}

/** Things known of the way before release: each row is a value that should be zero, with its standard deviation. */
export type PathKnowledge = (solution: Solution) => readonly PathRow[];

export interface PathRow {
  readonly value: number;
  readonly standardDeviation: number;
  /** Whether it holds whatever the flight says: gravity and a ball that goes nowhere. Another row may rest on a flight that was none. */
  readonly sure: boolean;
}

/** Standard deviations beyond which knowledge of the path contradicts the flight. */
const believable = 8;
/**
 * Where what is sure contradicts the flight, its air was another than the fit allows for: its covariance then is taken for larger by as much as
 * makes the contradiction one of so many standard deviations, `lifted`, but at most by the square of `most`.
 */
const contradiction = { lifted: 2.5, most: 8 } as const;

/** @returns the same with the covariance of the flight's own parameters larger by a factor. */
function loosened({ mean, covariance }: Gaussian, factor: number): Gaussian {
  const wider = copyOf(covariance);
  const n = flightParameter.count;
  for (let p = 0; p < n; p++) for (let q = 0; q < n; q++) wider.set(p, q, factor * covariance.get(p, q));
  return { mean, covariance: wider };
}

/** So many shifts of the solution are a piece of work. */
const shiftsAtOnce = 7;

/**
 * The step is taken anew about its own end while a row there lies this many standard deviations off the straight line, and halved
 * where it made the rows worse (Gauss and Newton's step with a line search); then more steps are worth it.
 */
const bent = { sigmas: 1, mostSteps: 2, mostHalvings: 3, mostStepsOnceHalved: 5 } as const;

/** A step that leaves rows this many standard deviations off is taken only where it brought them nearer. */
const looseSigmas = 3;

/** Sum of the squares of what is known, in units of its standard deviations; NaN where a row is none. */
function squaresOf(rows: readonly PathRow[]): number {
  return rows.reduce((sum, { value, standardDeviation }) => sum + (value / standardDeviation) ** 2, 0);
}

/** What is known of the way before release, and the samples that it looks at. */
export interface PathEvidence {
  readonly rows: PathKnowledge;
  /** Stretches of samples, first and one past the last, counted within the block. */
  readonly stretches: readonly { readonly start: number; readonly end: number }[];
}

/**
 * Sharpens the joint parameters by what is known of the way before release: a linearised step, taken anew about its end where
 * the way bends (iterated Kalman update, Bell and Cathey 1993, IEEE Trans. Autom. Control 38:294).
 *
 * @param first the solution at the prior's mean.
 * @returns the parameters, and the solution at their mean.
 */
export function* sharpen(
  task: SolutionTask,
  prior: Gaussian,
  first: Solution,
  { rows: knowledge, stretches }: PathEvidence,
): RestingWork<{ readonly joint: Gaussian; readonly solution: Solution }> {
  let known = prior;
  let unchanged = { joint: prior, solution: first };
  let around = [...prior.mean];
  let solution = first;
  let rows = knowledge(first);
  if (rows.length === 0) return unchanged;
  let kept: readonly boolean[] = rows.map(() => true);
  const keptOf = <T>(all: readonly T[]) => all.filter((_, r) => kept[r]);
  let noise = rows.map((row) => row.standardDeviation ** 2);
  const parts = stretches.map(({ start, end }) => ({ first: task.from - end, last: task.from - start + 1 }));
  const reach = Math.max(...parts.map((part) => part.last)) + 1;
  const like = walkLike(first.walk);
  let sharper = prior;
  let steps: number = bent.mostSteps;
  for (let step = 0; step < steps; step++) {
    let design = Matrix.zeros(rows.length, jointCount);
    const slopes = walkSlopes(task.block, task.from, solution.walk, reach, solution.start, parts);
    const shifted = [...around];
    for (let p = 0; p < jointCount; p++) {
      if (p % shiftsAtOnce === 0) yield;
      const h = 0.3 * Math.sqrt(prior.covariance.get(p, p));
      shifted[p] = (around[p] as number) + h;
      const moved = keptOf(knowledge(solveNear(task, solution, slopes, shifted, like)));
      shifted[p] = around[p] as number;
      for (const [r, row] of rows.entries()) design.set(r, p, ((moved[r]?.value ?? row.value) - row.value) / h);
    }
    if (!Number.isFinite(design.sum())) return unchanged;
    if (step === 0) {
      const expected = design.mmul(prior.covariance).mmul(design.transpose());
      const off = rows.map(({ value }, r) => Math.abs(value) / Math.sqrt(expected.get(r, r) + (noise[r] as number)));
      // A row far outside what the flight allows speaks of something else than it claims: then none like it is believed.
      if (rows.some(({ sure }, r) => !sure && (off[r] as number) > believable)) kept = rows.map(({ sure }) => sure);
      const worst = Math.max(0, ...keptOf(off));
      if (worst > believable) {
        known = loosened(prior, Math.min(contradiction.most, worst / contradiction.lifted) ** 2);
        unchanged = { joint: known, solution: first };
        if (worst > contradiction.lifted * contradiction.most) return unchanged;
      }
      design = new Matrix(keptOf(design.to2DArray()));
      rows = keptOf(rows);
      noise = keptOf(noise);
      if (rows.length === 0) return unchanged;
    }
    const along = (r: number, place: readonly number[]) =>
      place.reduce((sum, value, p) => sum + design.get(r, p) * value, 0);
    sharper = condition(
      known,
      design,
      rows.map((row, r) => along(r, around) - row.value),
      noise,
    );
    // Where the flight is hardly known a straight step can lead anywhere: then a shorter one may do, and what does not explain the way
    // better even so is no knowledge.
    const enough = Math.max(squaresOf(rows), looseSigmas ** 2 * rows.length);
    let reached = [...sharper.mean];
    let after: PathRow[] = [];
    let halvings = 0;
    for (; ; halvings++) {
      solution = solve(task, reached);
      after = keptOf(knowledge(solution));
      if (squaresOf(after) <= enough) break;
      if (halvings === bent.mostHalvings) return unchanged;
      reached = reached.map((value, p) => (value + (around[p] as number)) / 2);
      steps = bent.mostStepsOnceHalved;
    }
    sharper = { ...sharper, mean: reached };
    const off = (value: number, r: number) =>
      Math.abs((after[r]?.value ?? value) - value - along(r, reached) + along(r, around)) /
      Math.sqrt(noise[r] as number);
    if (halvings === 0 && rows.every((row, r) => off(row.value, r) < bent.sigmas)) break;
    around = reached;
    rows = after;
  }
  return { joint: sharper, solution };
}

/** A solution next to another: its walk holds only some parts, and is overwritten by the next one. */
function solveNear(
  task: SolutionTask,
  base: Solution,
  slopes: WalkSlopes,
  joint: readonly number[],
  walk: Walk,
): Solution {
  const flight = solveFlight(task, joint, base);
  shiftWalk(slopes, shiftBetween(base.start, flight.start), walk);
  return withWalk(task, flight, walk);
}

/** How the walk and its axes lie one standard deviation away from the likeliest along one axis of the covariance's factor. */
export interface ShiftedWalk {
  readonly slopes: WalkSlopes;
  readonly shift: WalkShift;
  readonly axes: ShotAxes;
}

/** Spread of the numbers, and what it was read from. */
export interface Spread {
  /** Variance of each number but the entry angle; numbers that some shift does not have count without it. */
  readonly variance: Readonly<Record<Exclude<ShotNumberName, 'entryAngle'>, number>>;
  /** The shifts one way. */
  readonly shifted: readonly ShiftedWalk[];
  /** The arcs of the shifts one way and the other. */
  readonly arcs: readonly (readonly [FlightArc, FlightArc])[];
}

/**
 * @returns variance of the entry angle, rad², at a height of the ring that may become known later than the rest. Where the contact told
 * the height, an error of the arc moves both: the angle is then that at the same instant, not at the same height.
 */
export function entryVariance(
  { arcs }: Spread,
  { launch, arcAero }: FlightArc,
  ring: { readonly meanM: number; readonly byContact: boolean } | null,
): number {
  const entry = ring?.byContact ? fallThrough(launch, arcAero, ring.meanM) : null;
  const afterS = entry ? entry.timeS - launch.timeS : null;
  const angle = (arc: FlightArc) =>
    afterS === null ? entryAngle(arc, ring?.meanM ?? null) : angleBelow(flyFor(arc.launch, arc.arcAero, afterS));
  let variance = 0;
  for (const [plus, minus] of arcs) {
    const half = (angle(plus) - angle(minus)) / 2;
    variance += Number.isFinite(half) ? half * half : 0;
  }
  return variance;
}

/**
 * Spread of every number by one-sigma shifts along the axes of the covariance's factor (central differences; exact for
 * linear numbers, and tame where a number has a kink).
 *
 * @param base the solution at the mean, with as much of the walk as the shifts are wanted for.
 */
export function* spreadOf(task: SolutionTask, base: Solution, joint: Gaussian): RestingWork<Spread> {
  const directions = sigmaDirections(joint.covariance);
  const variance: Partial<Record<ShotNumberName, number>> = {};
  const place = [...joint.mean];
  const { walk } = base;
  // All that the numbers look at.
  const last = pushEntry(walk, base.launch.timeS);
  const slopes = walkSlopes(task.block, task.from, walk, walk.length, base.start, [{ first: last - 1, last }]);
  const short = shorten({ ...task, to: Math.max(task.to, task.from - last) }, base);
  const like = walkLike(short.walk);
  const shifted: ShiftedWalk[] = [];
  const arcs: [FlightArc, FlightArc][] = [];
  for (let c = 0; c < jointCount; c++) {
    if (c % shiftsAtOnce === 0) yield;
    const at = (sign: number): Solution => {
      for (let p = 0; p < jointCount; p++) place[p] = (joint.mean[p] as number) + sign * directions.get(p, c);
      return solveNear(task, base, slopes, place, like);
    };
    const there = at(1);
    shifted.push({ slopes, shift: shiftBetween(base.start, there.start), axes: there.axes });
    const plus = readNumbers(there, null);
    const back = at(-1);
    const minus = readNumbers(back, null);
    arcs.push([arcOf(there), arcOf(back)]);
    for (const name of shotNumberNames(plus)) {
      const half = (plus[name] - minus[name]) / 2;
      variance[name] = (variance[name] ?? 0) + (Number.isFinite(half) ? half * half : 0);
    }
  }
  return { variance: variance as Record<ShotNumberName, number>, shifted, arcs };
}

function arcOf({ launch, arcAero }: Solution): FlightArc {
  return { launch, arcAero };
}

function shotNumberNames(numbers: ShotNumbers): readonly ShotNumberName[] {
  return Object.keys(numbers) as ShotNumberName[];
}
