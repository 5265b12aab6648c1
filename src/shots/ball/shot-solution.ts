import { Matrix } from 'ml-matrix';
import { type ArcAero, type ArcPoint, apexOf, fallThrough } from '../../flight/arc.ts';
import type { AeroPreset } from '../../flight/ball-presets.ts';
import { flightParameter, shiftState } from '../../flight/flight-fit.ts';
import {
  airForce,
  airOf,
  attitudeAt,
  type FlightState,
  integrateAttitude,
  integrateVelocity,
} from '../../flight/flight-model.ts';
import { standardGravityMps2 } from '../../foundation/constants.ts';
import type { ImuBlock } from '../../foundation/imu-block.ts';
import { condition, type Gaussian, sigmaDirections } from '../../signal/gaussian.ts';
import { multiply, type Quaternion, rotate, stepRotation } from '../../signal/rotation.ts';
import { add, cross, dot, norm, scale, subtract, unit, type Vec3, vecAt } from '../../signal/vec3.ts';
import { type RoomPath, roomPath, type ShotAxes } from './before-release.ts';
import { calibrationPriors } from './calibration.ts';
import type { FlightStudy } from './flight-study.ts';
import { type Walk, walkBack } from './walk-back.ts';

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
}

/** Solves for one value of the joint parameters. */
export function solve(task: SolutionTask, joint: readonly number[]): Solution {
  const { study, aero, block } = task;
  const { fit } = study;
  const { track } = fit;
  const state = shiftState(fit.state, fit.upBasis, joint);
  const attitude = integrateAttitude(track, state.rateCorrectionRadps);
  const velocity = integrateVelocity(track, state, attitude, aero);
  const air = airOf(state, aero);
  const rateAt = (i: number): Vec3 => add(vecAt(track.rateRadps, i), state.rateCorrectionRadps);
  // Direction of the spin: mean over the flight; size at release: straight line through the sizes.
  let direction: Vec3 = [0, 0, 0];
  let s0 = 0;
  let s1 = 0;
  let s2 = 0;
  let m0 = 0;
  let m1 = 0;
  for (let i = 0; i < track.length; i++) {
    const w = rateAt(i);
    direction = add(direction, rotate(attitudeAt(attitude, i), w));
    const dt = (track.timeS[i] as number) - task.releaseS;
    const size = norm(w);
    s0++;
    s1 += dt;
    s2 += dt * dt;
    m0 += size;
    m1 += size * dt;
  }
  const spinSize = (s2 * m0 - s1 * m1) / (s0 * s2 - s1 * s1);
  const spinFrame = scale(unit(direction), spinSize);
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
    let place: Vec3 = [0, 0, 0];
    let v = launchVelocity;
    let t = task.releaseS;
    for (let i = 0; i <= track.length; i++) {
      const tNext = i < track.length ? (track.timeS[i] as number) : task.contactS;
      const next = i < track.length ? vecAt(velocity, i) : velocityNear(track.length - 1, task.contactS);
      place = add(place, scale(add(v, next), (tNext - t) / 2));
      v = next;
      t = tNext;
    }
    contact = { timeS: task.contactS, positionM: inAxes(place), velocityMps: inAxes(v) };
  }
  const fromS = block.timeS[task.from] as number;
  const h = fromS - (track.timeS[0] as number);
  const startAttitude: Quaternion = multiply(attitudeAt(attitude, 0), stepRotation(rateAt(0), rateAt(0), h));
  const walk = walkBack(block, task.from, task.to, {
    attitude: startAttitude,
    velocityMps: velocityNear(0, fromS),
    up: state.up,
    biasMps2: state.biasMps2,
    offsetM: state.offsetM,
    rateScale: three(joint, jointGyro.scale),
    rateBiasRadps: three(joint, jointGyro.bias),
  });
  let path: RoomPath | null = null;
  return {
    state,
    axes,
    launch,
    arcAero: { ...air, spinRadps },
    spinRadps,
    contact,
    walk,
    // Most solutions are asked for other things.
    get path() {
      path ??= roomPath(walk, axes, task.releaseS);
      return path;
    },
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

/** Reads the numbers off one solution. */
export function readNumbers(solution: Solution, ringHeightM: number | null): ShotNumbers {
  const { launch, arcAero, spinRadps, contact } = solution;
  const v = launch.velocityMps;
  const apex = apexOf(launch, arcAero);
  const entry = ringHeightM === null ? null : fallThrough(launch, arcAero, ringHeightM);
  return {
    launchSpeed: norm(v),
    launchAngle: Math.atan2(v[2], Math.hypot(v[0], v[1])),
    spin: norm(spinRadps),
    backspin: -spinRadps[1],
    sidespin: spinRadps[2],
    rifle: spinRadps[0],
    tilt: Math.atan2(spinRadps[2], -spinRadps[1]),
    entryAngle: entry
      ? Math.atan2(-entry.velocityMps[2], Math.hypot(entry.velocityMps[0], entry.velocityMps[1]))
      : Number.NaN,
    apex: apex.positionM[2],
    contactHeight: contact ? contact.positionM[2] : Number.NaN,
    contactRise: contact ? contact.velocityMps[2] : Number.NaN,
    contactAway: contact ? Math.hypot(contact.positionM[0], contact.positionM[1]) : Number.NaN,
    sidewaysImpulse: -leftVelocity(solution, launch.timeS - sidewaysWindowS),
  };
}

/** Velocity to the left of the launch plane at an instant of the walk, m/s; NaN where the walk does not reach it. */
function leftVelocity({ walk, axes }: Solution, atS: number): number {
  const left = (k: number) => dot(vecAt(walk.velocityMps, k), axes.left);
  for (let k = 1; k < walk.length; k++) {
    const earlierS = walk.timeS[k] as number;
    if (earlierS > atS) continue;
    const laterS = walk.timeS[k - 1] as number;
    return left(k) + ((left(k - 1) - left(k)) * (atS - earlierS)) / (laterS - earlierS);
  }
  return Number.NaN;
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
export type PathKnowledge = (
  solution: Solution,
) => readonly { readonly value: number; readonly standardDeviation: number }[];

/** Standard deviations beyond which knowledge of the path contradicts the flight. */
const believable = 8;

/** The step is taken anew about its own end while a row there lies this many standard deviations off the straight line. */
const bent = { sigmas: 1, mostSteps: 2 } as const;

/**
 * Sharpens the joint parameters by what is known of the way before release: a linearised step, taken anew about its end where
 * the way bends (iterated Kalman update, Bell and Cathey 1993, IEEE Trans. Autom. Control 38:294).
 */
export function sharpen(task: SolutionTask, prior: Gaussian, knowledge: PathKnowledge): Gaussian {
  let around = [...prior.mean];
  let rows = knowledge(solve(task, around));
  if (rows.length === 0) return prior;
  const noise = rows.map((row) => row.standardDeviation ** 2);
  let sharper = prior;
  for (let step = 0; step < bent.mostSteps; step++) {
    const design = Matrix.zeros(rows.length, jointCount);
    const shifted = [...around];
    for (let p = 0; p < jointCount; p++) {
      const h = 0.3 * Math.sqrt(prior.covariance.get(p, p));
      shifted[p] = (around[p] as number) + h;
      const moved = knowledge(solve(task, shifted));
      shifted[p] = around[p] as number;
      for (const [r, row] of rows.entries()) design.set(r, p, ((moved[r]?.value ?? row.value) - row.value) / h);
    }
    const along = (r: number, place: readonly number[]) =>
      place.reduce((sum, value, p) => sum + design.get(r, p) * value, 0);
    if (step === 0) {
      const expected = design.mmul(prior.covariance).mmul(design.transpose());
      // A row far outside what the flight allows speaks of something else than it claims: then nothing is believed.
      const beyond = (value: number, r: number) =>
        Math.abs(value) > believable * Math.sqrt(expected.get(r, r) + (noise[r] as number));
      if (rows.some((row, r) => beyond(row.value, r))) return prior;
    }
    sharper = condition(
      prior,
      design,
      rows.map((row, r) => along(r, around) - row.value),
      noise,
    );
    const after = knowledge(solve(task, sharper.mean));
    const off = (value: number, r: number) =>
      Math.abs((after[r]?.value ?? value) - value - along(r, sharper.mean) + along(r, around)) /
      Math.sqrt(noise[r] as number);
    if (rows.every((row, r) => off(row.value, r) < bent.sigmas)) break;
    around = [...sharper.mean];
    rows = after;
  }
  return sharper;
}

/**
 * Spread of every number by one-sigma shifts along the axes of the covariance's factor (central differences; exact for
 * linear numbers, and tame where a number has a kink).
 *
 * @param task for the shifts one way.
 * @param short for the shifts the other way: as much of the walk as the numbers need.
 * @param visit sees each solution of the first kind.
 * @returns variance of each number; NaN where too few shifts gave it.
 */
export function spreadOf(
  task: SolutionTask,
  short: SolutionTask,
  joint: Gaussian,
  read: (solution: Solution) => ShotNumbers,
  visit: (shifted: Solution) => void,
): Record<ShotNumberName, number> {
  const directions = sigmaDirections(joint.covariance);
  const variance: Partial<Record<ShotNumberName, number>> = {};
  const place = [...joint.mean];
  for (let c = 0; c < jointCount; c++) {
    const shift = (sign: number): readonly number[] => {
      for (let p = 0; p < jointCount; p++) place[p] = (joint.mean[p] as number) + sign * directions.get(p, c);
      return place;
    };
    const there = solve(task, shift(1));
    visit(there);
    const plus = read(there);
    const minus = read(solve(short, shift(-1)));
    for (const name of Object.keys(plus) as ShotNumberName[]) {
      const half = (plus[name] - minus[name]) / 2;
      variance[name] = (variance[name] ?? 0) + (Number.isFinite(half) ? half * half : 0);
    }
  }
  return variance as Record<ShotNumberName, number>;
}
