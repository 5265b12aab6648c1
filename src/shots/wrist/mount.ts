/**
 * How a sensor sits on the shooting arm, from the player's own movement: no ruler, any turn of the strap.
 *
 * - Where the long axis (toward the fingers) points follows from the posture in which the arm hangs, told from other quiet
 *   postures by where the axis would point at release, and from turns of the forearm about itself.
 * - The flexion axis is the axis of the snap itself.
 * - Above the wrist or on the hand: through release the hand turns forward about twice as far as the forearm, and in the
 *   follow-through the fingers drop while the forearm stays up.
 * - Right or left arm: mirror images to an inertial sensor but for one thing, where the thumb points when a hanging arm is
 *   raised.
 *
 * No outside source; Bayes' rule over the postures and the two places with the spreads of mount-params.ts, and linear
 * error propagation for the axis. What is not decided is `unknown`.
 */
import { add, cross, dot, norm, scale, subtract, tangentBasis, unit, type Vec3 } from '../../signal/vec3.ts';
import type { ArmMount } from '../shot.ts';
import type { MountEvidence, Posture } from './mount-evidence.ts';
import type { MountParams } from './mount-params.ts';

/** A direction in the sensor's axes with its error. */
export interface MountAxis {
  readonly inSensor: Vec3;
  /** Error about the flexion axis (how steep the axis seems in a shot) and square to that, rad. */
  readonly pitchSdRad: number;
  readonly sideSdRad: number;
}

export type ArmSide = 'right' | 'left';

export interface MountEstimate {
  /** Toward the fingers; null while it is not known which quiet posture is that of the hanging arm. */
  readonly longAxis: MountAxis | null;
  /** Axis about which the snap turns, to the player's left as the ball leaves; null before the first shot. */
  readonly flexionAxis: { readonly inSensor: Vec3; readonly sdRad: number } | null;
  readonly place: ArmMount | 'unknown';
  /** Probability that the sensor is on the back of the hand. */
  readonly handShare: number;
  readonly side: ArmSide | 'unknown';
  /** Probability that it is the right arm. */
  readonly rightShare: number;
}

/** What a person told; it overrides what would be found. */
export interface ToldMount {
  readonly place: ArmMount | null;
  readonly side: ArmSide | null;
}

/** Axes closer than this are one: 8°, the error of an arm that was only seen hanging. */
const sameAxisCosine = Math.cos(0.14);
const nothingTold: ToldMount = { place: null, side: null };
const places: readonly ArmMount[] = ['forearm', 'back-of-hand'];

/** @returns what is known of the mount by now. */
export function estimateMount(
  params: MountParams,
  evidence: MountEvidence,
  told: ToldMount = nothingTold,
): MountEstimate {
  const flexion = flexionAxis(evidence);
  const cases = weighCases(params, evidence, flexion, told);
  const handShare = shareOf(cases, (c) => c.place === 'back-of-hand');
  const place =
    handShare >= params.decidedShare ? 'back-of-hand' : 1 - handShare >= params.decidedShare ? 'forearm' : 'unknown';
  let long: Case | null = null;
  for (const c of cases) if (c.axis !== null && (long === null || c.weight > long.weight)) long = c;
  // Postures that lead to about the same axis, as all near an axis of turns do, need not be told apart.
  const agrees = (c: Case): boolean => c.axis !== null && dot(c.axis.inSensor, long!.axis!.inSensor) > sameAxisCosine;
  const sure = long !== null && shareOf(cases, agrees) >= params.decidedShare;
  const longAxis = sure ? (long as Case).axis : null;
  const rightShare = rightArmShare(params, longAxis, flexion, sure ? (long as Case).posture : null, told);
  return Object.freeze({
    longAxis,
    flexionAxis: flexion,
    place,
    handShare,
    side: rightShare >= params.decidedShare ? 'right' : 1 - rightShare >= params.decidedShare ? 'left' : 'unknown',
    rightShare,
  });
}

interface Case {
  readonly place: ArmMount;
  /** Null: none of the postures is that of the hanging arm. */
  readonly posture: Posture | null;
  readonly axis: MountAxis | null;
  readonly weight: number;
}

function shareOf(cases: readonly Case[], of: (c: Case) => boolean): number {
  let sum = 0;
  let all = 0;
  for (const c of cases) {
    all += c.weight;
    if (of(c)) sum += c.weight;
  }
  return sum / all;
}

type Flexion = { readonly inSensor: Vec3; readonly sdRad: number } | null;

function flexionAxis({ snap, shots }: MountEvidence): Flexion {
  const length = norm(snap);
  if (shots === 0 || !(length > 0)) return null;
  // Scatter of directions about their mean (Fisher 1953 for small scatter), with half a shot of 10° before the first.
  const squares = 2 * (shots - length) + 0.5 * 0.06;
  const sdRad = Math.sqrt(squares / (2 * (shots + 0.5)) / shots) + 0.02;
  return { inSensor: unit(snap), sdRad };
}

function weighCases(params: MountParams, evidence: MountEvidence, flexion: Flexion, told: ToldMount): Case[] {
  const seconds = evidence.postures.map((posture) => norm(posture.sum));
  const all = seconds.reduce((a, b) => a + b, 0);
  const logs: number[] = [];
  const cases: Omit<Case, 'weight'>[] = [];
  for (const place of told.place === null ? places : [told.place]) {
    const byTurn = evidence.shots > 0 ? logTurn(params, evidence, place) : 0;
    cases.push({ place, posture: null, axis: null });
    logs.push(
      byTurn +
        Math.log(1 - params.hangShare) +
        logAnywhere(evidence, flexion) +
        logTwists(params, evidence, place, null),
    );
    for (const [k, posture] of evidence.postures.entries()) {
      const axis = longAxisOf(params, evidence, place, posture, flexion);
      cases.push({ place, posture, axis });
      logs.push(
        byTurn +
          Math.log((params.hangShare * seconds[k]!) / all) +
          logPosture(params, evidence, place, axis, flexion) +
          logTwists(params, evidence, place, hangOf(params, posture)),
      );
    }
  }
  const most = Math.max(...logs);
  return cases.map((c, k) => ({ ...c, weight: Math.exp(logs[k]! - most) }));
}

/** Log density of the mean forward turn, were the sensor there: the spread between players and the scatter of the mean. */
function logTurn(params: MountParams, evidence: MountEvidence, place: ArmMount): number {
  const mean = evidence.turnSum / evidence.shots;
  const scatter = Math.max(0, evidence.turnSquares / evidence.shots - mean * mean) / evidence.shots;
  const onHand = place === 'back-of-hand';
  const middle = onHand ? params.handTurnRad : params.forearmTurnRad;
  const sd = Math.sqrt((onHand ? params.handTurnSdRad : params.forearmTurnSdRad) ** 2 + scatter);
  return logNormal(mean - middle, sd);
}

/** Log density of the shots' directions for an axis that may point anywhere. */
function logAnywhere(evidence: MountEvidence, flexion: Flexion): number {
  if (evidence.shots === 0 || flexion === null) return 0;
  const elevation = Math.log(0.5);
  return Math.log(0.5) + elevation + (evidence.holds > 0 ? elevation : 0);
}

function logPosture(
  params: MountParams,
  evidence: MountEvidence,
  place: ArmMount,
  axis: MountAxis,
  flexion: Flexion,
): number {
  if (evidence.shots === 0 || flexion === null) return 0;
  const onHand = place === 'back-of-hand';
  const elevation = (ups: Vec3) => Math.asin(Math.min(1, Math.max(-1, dot(axis.inSensor, unit(ups)))));
  const hang = Math.hypot(params.hangForwardSdRad, params.hangSideSdRad) / Math.SQRT2;
  let log = logNormal(dot(axis.inSensor, flexion.inSensor), Math.hypot(squareSd(params, place), hang));
  const up = onHand ? params.forearmUpRad + 0.2 : params.forearmUpRad;
  log += logNormal(elevation(evidence.upAtRelease) - up, Math.hypot(params.forearmUpSdRad * (onHand ? 1.5 : 1), hang));
  if (evidence.holds === 0) return log;
  const hold = onHand ? params.handHoldRad : params.forearmUpRad - 0.15;
  const holdSd = onHand ? params.handHoldSdRad : 1.3 * params.forearmUpSdRad;
  return log + logNormal(elevation(evidence.upAtHold) - hold, Math.hypot(holdSd, hang));
}

/**
 * Log density of the axes of turns to and fro, each mostly of the forearm about itself, if the arm hung so; null: in none of
 * the postures that were seen.
 */
function logTwists(params: MountParams, evidence: MountEvidence, place: ArmMount, hang: Hang | null): number {
  const anywhere = 1 / (2 * Math.PI);
  const own = Math.hypot(params.twistSdRad, place === 'forearm' ? 0 : params.hangSideSdRad);
  let log = 0;
  for (const { axis: sum, count } of evidence.twists) {
    if (count < params.twistsLeast) continue;
    const direction = unit(sum);
    let near = 0;
    if (hang !== null && Math.abs(dot(direction, hang.start)) > Math.SQRT1_2) {
      const axis = dot(direction, hang.start) < 0 ? scale(direction, -1) : direction;
      const along = logNormal(dot(axis, hang.e1), Math.hypot(hang.alongSdRad, own));
      near = Math.exp(along + logNormal(dot(axis, hang.e2), Math.hypot(hang.acrossSdRad, own)));
    }
    const share = hang === null ? 0 : params.twistOwnShare;
    log += Math.log(share * near + (1 - share) * anywhere);
  }
  return log;
}

function squareSd(params: MountParams, place: ArmMount): number {
  return place === 'forearm' ? params.forearmSquareSdRad : params.handSquareSdRad;
}

function logNormal(difference: number, sd: number): number {
  return -0.5 * (difference / sd) ** 2 - Math.log(sd * Math.sqrt(2 * Math.PI));
}

interface Hang {
  /** Where the forearm points if the arm hung so, and the two directions square to that in which it may be off. */
  readonly start: Vec3;
  readonly e1: Vec3;
  readonly e2: Vec3;
  readonly alongSdRad: number;
  readonly acrossSdRad: number;
}

/** How an arm hung in a posture. */
function hangOf(params: MountParams, posture: Posture): Hang {
  const down = scale(unit(posture.sum), -1);
  const forward = forwardOf(posture, down);
  const tilt = params.hangForwardRad;
  const start = forward === null ? down : add(scale(down, Math.cos(tilt)), scale(forward, Math.sin(tilt)));
  // Without a raise the direction of the tilt is not known, only its size.
  const unknown = Math.hypot(tilt, params.hangForwardSdRad) / Math.SQRT2;
  const alongSdRad = forward === null ? Math.hypot(unknown, params.hangSideSdRad) : params.hangForwardSdRad;
  const acrossSdRad = forward === null ? alongSdRad : params.hangSideSdRad;
  const direction = forward ?? tangentBasis(down)[0];
  const e1 = unit(subtract(direction, scale(start, dot(direction, start))), tangentBasis(start)[0]);
  return { start, e1, e2: cross(start, e1), alongSdRad, acrossSdRad };
}

/** Long axis if the arm hung in a posture, sharpened by turns about it and by the axis of the snap. */
function longAxisOf(
  params: MountParams,
  evidence: MountEvidence,
  place: ArmMount,
  posture: Posture,
  flexion: Flexion,
): MountAxis {
  const { start, e1, e2, alongSdRad, acrossSdRad } = hangOf(params, posture);
  let axis = unit(start);
  let information: readonly [number, number, number] = [1, 0, 1];
  let basis = tangentBasis(axis);
  for (let round = 0; round < 4; round++) {
    basis = tangentBasis(axis);
    const sum = { xx: 0, xy: 0, yy: 0, x: 0, y: 0 };
    const observe = (gradient: Vec3, residual: number, sd: number) => {
      const gx = dot(gradient, basis[0]) / sd;
      const gy = dot(gradient, basis[1]) / sd;
      sum.xx += gx * gx;
      sum.xy += gx * gy;
      sum.yy += gy * gy;
      sum.x += (gx * residual) / sd;
      sum.y += (gy * residual) / sd;
    };
    observe(e1, -dot(axis, e1), alongSdRad);
    observe(e2, -dot(axis, e2), acrossSdRad);
    if (flexion !== null) {
      observe(flexion.inSensor, -dot(axis, flexion.inSensor), Math.hypot(squareSd(params, place), flexion.sdRad));
    }
    const twist = twistNear(params, evidence, start);
    if (twist !== null) {
      // Of a hand the turns are about the forearm: how the hand lies to that is no better known than of a hanging hand.
      const own = place === 'forearm' ? 0 : params.hangSideSdRad;
      const sd = Math.hypot(params.twistSdRad, own, twist.scatterRad);
      const [t1, t2] = tangentBasis(twist.axis);
      observe(t1, -dot(axis, t1), sd);
      observe(t2, -dot(axis, t2), sd);
    }
    const determinant = sum.xx * sum.yy - sum.xy ** 2;
    const dx = (sum.x * sum.yy - sum.y * sum.xy) / determinant;
    const dy = (sum.y * sum.xx - sum.x * sum.xy) / determinant;
    information = [sum.xx, sum.xy, sum.yy];
    axis = unit(add(axis, add(scale(basis[0], dx), scale(basis[1], dy))));
  }
  // Directions in which the axis would turn about the flexion axis, and square to that.
  const pitch = flexion === null ? basis[0] : unit(cross(flexion.inSensor, axis), basis[0]);
  const side = cross(axis, pitch);
  const [xx, xy, yy] = information;
  const determinant = xx * yy - xy * xy;
  const sdAlong = (direction: Vec3) => {
    const x = dot(direction, basis[0]);
    const y = dot(direction, basis[1]);
    return Math.sqrt((yy * x * x - 2 * xy * x * y + xx * y * y) / determinant);
  };
  return { inSensor: axis, pitchSdRad: sdAlong(pitch), sideSdRad: sdAlong(side) };
}

/** Forward in the sensor while the arm hangs, from the axes about which it was raised; null where they disagree. */
function forwardOf(posture: Posture, down: Vec3): Vec3 | null {
  if (posture.raises === 0 || norm(posture.raise) < 0.6 * posture.raises) return null;
  const forward = cross(unit(posture.raise), down);
  return norm(forward) > 0.5 ? unit(forward) : null;
}

/** The most frequent axis of turns to and fro within 45° of where the long axis should be, with its sign. */
function twistNear(
  params: MountParams,
  evidence: MountEvidence,
  axis: Vec3,
): { axis: Vec3; count: number; scatterRad: number } | null {
  let best: { axis: Vec3; count: number; scatterRad: number } | null = null;
  for (const { axis: sum, count, squares } of evidence.twists) {
    if (count < params.twistsLeast) continue;
    const direction = unit(sum);
    const cosine = dot(direction, axis);
    if (Math.abs(cosine) < Math.SQRT1_2 || (best !== null && best.count >= count)) continue;
    // Two directions share the squares; the swings of a bout have lost one of themselves to its mean.
    const scatterRad = Math.sqrt(squares / 2 / (count - 1) / count);
    best = { axis: scale(direction, Math.sign(cosine)), count, scatterRad };
  }
  return best;
}

function rightArmShare(
  params: MountParams,
  longAxis: MountAxis | null,
  flexion: Flexion,
  posture: Posture | null,
  told: ToldMount,
): number {
  if (told.side !== null) return told.side === 'right' ? 1 : 0;
  if (longAxis === null || flexion === null || posture === null || posture.raises === 0) return 0.5;
  // Fingers up and the snap's axis to the left: their cross product is the back of the hand, of either arm.
  const back = unit(cross(longAxis.inSensor, flexion.inSensor));
  const agreement = dot(scale(posture.raise, 1 / posture.raises), back);
  const one = Math.log(params.raiseShare / (1 - params.raiseShare));
  // One player's habit repeats itself: many raises count as three.
  const odds = agreement * one * Math.min(posture.raises, 3);
  return 1 / (1 + Math.exp(-odds));
}
