import { type MotionSegment, newState, stateLayout, vectorAt } from '../ball-state.ts';
import type { Motion } from '../motion.ts';
import { norm, rotateAboutVertical, scale, subtract, type Vec3 } from '../vectors.ts';
import type { Side } from './arm-chain.ts';
import type { ArmPlayer } from './arm-player.ts';
import type { ActContext, Contact } from './arm-score.ts';
import { Oscillator, smoothColumns } from './reaction.ts';
import type { VectorTrack } from './scalar-track.ts';

/** Interval of the poses along the arm's motion. */
export const armStepS = 0.001;

/** A stretch of play in which hands, anyone's, hold the ball. */
export interface HandStretch {
  readonly fromS: number;
  readonly toS: number;
}

export function handStretches(segments: readonly MotionSegment[]): HandStretch[] {
  const stretches: { fromS: number; toS: number }[] = [];
  segments.forEach((segment, i) => {
    if (segment.touch !== 'hand') return;
    const last = stretches[stretches.length - 1];
    if (last && segments[i - 1]?.touch === 'hand') last.toS = segment.endS;
    else stretches.push({ fromS: segment.startS, toS: segment.endS });
  });
  return stretches;
}

export interface BallState {
  readonly positionM: Vec3;
  readonly velocityMps: Vec3;
  readonly accelerationMps2: Vec3;
  readonly rateRadps: Vec3;
}

export function ballAt(ball: Motion, timeS: number): BallState {
  const state = newState();
  ball.stateAt(timeS, state);
  return {
    positionM: vectorAt(state, stateLayout.position),
    velocityMps: vectorAt(state, stateLayout.velocity),
    accelerationMps2: vectorAt(state, stateLayout.acceleration),
    rateRadps: vectorAt(state, stateLayout.rate),
  };
}

/** Wrist → ball's centre in the trunk's axes, for the ways a hand holds a ball. */
export function grips(radiusM: number, handM: number, side: Side) {
  const skin = radiusM + 0.012;
  return {
    /** Between both hands at the waist: this one outside. */
    between: [0.45 * handM, side * skin, 0.02] as Vec3,
    /** Palm down on top, as in a dribble. */
    onTop: [0.45 * handM, 0, -skin] as Vec3,
    /** Palm forward, fingers up. */
    behind: [skin, 0, 0.4 * handM] as Vec3,
    /** On the palm, fingers forward. */
    cupped: [0.45 * handM, 0, skin] as Vec3,
    /** On the palm, hand bent back. */
    under: [0.05 * handM, 0, skin] as Vec3,
  };
}

/** The wrist of a hand that holds the ball, `offset` being wrist → ball in the trunk's axes. */
export function wristHolding(
  ball: Motion,
  yaw: (timeS: number) => number,
  offset: VectorTrack,
  meeting?: { atS: number; missMps: Vec3; settleS: number },
): (timeS: number) => Vec3 {
  const state = newState();
  return (timeS) => {
    ball.stateAt(timeS, state);
    const wrist = subtract(vectorAt(state, stateLayout.position), rotateAboutVertical(offset.at(timeS), yaw(timeS)));
    if (!meeting) return wrist;
    // The hand does not meet the ball at the ball's speed: palm, fingers and wrist give until it does.
    const u = Math.max(0, (timeS - meeting.atS) / meeting.settleS);
    return u >= 1 ? wrist : subtract(wrist, scale(meeting.missMps, meeting.settleS * u * (1 - u) * (1 - u) * (1 - u)));
  };
}

/** What the ball's force does to the arm beyond what the muscles expect, at steps of `armStepS`. */
export interface Give {
  readonly firstStep: number;
  readonly count: number;
  /** Displacement of the wrist, m, three a step. */
  readonly wristM: Float64Array;
  /** Bend of the hand, rad, positive toward the palm. */
  readonly bendRad: Float64Array;
}

/**
 * Newton's third law at the hand: the ball's force per unit mass times ball mass, over the mass it has to move. Muscles
 * carry what is slower than about a tenth of a second; the rest shakes the arm, whose own stiffness holds against it.
 */
export function giveToBall(context: ActContext, contacts: readonly Contact[], unseen?: (timeS: number) => Vec3): Give {
  const { player, world, ball, startS, endS } = context;
  const firstStep = Math.ceil(startS / armStepS - 1e-9);
  const count = Math.max(0, Math.ceil(endS / armStepS - 1e-9) - firstStep);
  const force = new Float64Array(3 * count);
  const ratio = world.ball.massKg / player.effectiveMassKg;
  for (let i = 0; i < count; i++) {
    const timeS = (firstStep + i) * armStepS;
    const contact = contacts.find(({ fromS, toS }) => timeS >= fromS && timeS <= toS);
    const f = unseen ? unseen(timeS) : contact ? scale(ball.forceAt(timeS), contact.share) : null;
    if (f) for (let k = 0; k < 3; k++) force[3 * i + k] = ratio * (f[k] as number);
  }
  const expected = Float64Array.from(force);
  smoothColumns(expected, 3, 20);
  const size = new Float64Array(count);
  for (let i = 0; i < count; i++)
    size[i] = norm([force[3 * i] as number, force[3 * i + 1] as number, force[3 * i + 2] as number]);
  const expectedSize = Float64Array.from(size);
  smoothColumns(expectedSize, 1, 20);
  const arm = new Oscillator(player.armHz, 0.7, armStepS);
  const hand = new Oscillator(1.6 * player.armHz, 0.7, armStepS);
  const wristM = new Float64Array(3 * count);
  const bendRad = new Float64Array(count);
  for (let i = 0; i < count; i++) {
    wristM.set(arm.x, 3 * i);
    bendRad[i] = hand.x[0] as number;
    const push = (k: number) => (expected[3 * i + k] as number) - (force[3 * i + k] as number);
    arm.step(push(0), push(1), push(2));
    hand.step(player.handLeverPerM * ((expectedSize[i] as number) - (size[i] as number)), 0, 0);
  }
  return { firstStep, count, wristM, bendRad };
}

/** Rate of the hand's bend at a time, rad/s. */
export function bendRate(give: Give, timeS: number): number {
  const i = Math.round(timeS / armStepS) - give.firstStep;
  const at = (k: number) => give.bendRad[Math.min(give.count - 1, Math.max(0, k))] as number;
  return (at(i + 1) - at(i - 1)) / (2 * armStepS);
}

/** How far in front of the trunk a player holds the ball, m. */
export function aheadM(player: ArmPlayer): number {
  return 0.24 + 0.05 * player.statureM;
}

/** Height of the shoulders of a player who holds the ball this high: bent down where arms would have to hang straight. */
export function shouldersOver(player: ArmPlayer, ballHeightM: number): number {
  const full = player.arm.upperArmM + player.arm.forearmM;
  const wanted = ballHeightM + 0.72 * full;
  const over = player.shoulderM - wanted;
  // Blends over 4 cm so that heights that change slowly bend the body smoothly.
  return over <= -0.04
    ? player.shoulderM
    : over >= 0.04
      ? wanted
      : player.shoulderM - ((over + 0.04) * (over + 0.04)) / 0.16;
}
