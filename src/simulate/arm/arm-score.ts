import type { BallWorld } from '../free-motion.ts';
import type { Motion } from '../motion.ts';
import type { Random } from '../random.ts';
import { add, type Quat, rotateAboutVertical, subtract, type Vec3 } from '../vectors.ts';
import { hangReachAskedM, reachM } from './arm-chain.ts';
import type { ArmPlayer } from './arm-player.ts';
import type { Pulse } from './reaction.ts';
import { ScalarTrack, type VectorKnot, VectorTrack } from './scalar-track.ts';

/** Angles of forearm roll and wrist: pronation 0 thumb up, flexion toward the palm, deviation toward the y axis. */
export interface HandAngles {
  readonly pronationRad: number;
  readonly flexionRad: number;
  readonly deviationRad: number;
}

/** A stretch in which this hand holds the ball; `share` of the ball's force falls on it. */
export interface Contact {
  readonly fromS: number;
  readonly toS: number;
  readonly share: number;
}

/** Everything that one act asks of trunk and arm, in the room of the act, before the arm's own give. */
export interface ArmScore {
  readonly startS: number;
  readonly endS: number;
  /** Middle between the shoulders. */
  trunk(timeS: number): Vec3;
  yaw(timeS: number): number;
  wrist(timeS: number): Vec3;
  swivel(timeS: number): number;
  angles(timeS: number): HandAngles;
  /** A hand that is led in the room instead of by its angles, by a weight from 0 to 1. */
  readonly led?: { weight(timeS: number): number; attitude(timeS: number): Quat };
  readonly contacts: readonly Contact[];
  /** Force of a ball that is not simulated itself, per unit of its mass, on the ball. */
  readonly unseenBall?: (timeS: number) => Vec3;
  readonly pulses: readonly Pulse[];
}

/** Where the arm is between two acts, relative to the trunk; everything rests. */
export interface ArmRest {
  /** Shoulder → wrist in the trunk's axes. */
  readonly relativeM: Vec3;
  readonly angles: HandAngles;
  readonly swivelRad: number;
}

/** What an act is made from. */
export interface ActContext {
  readonly player: ArmPlayer;
  readonly random: Random;
  readonly startS: number;
  readonly endS: number;
  readonly from: ArmRest;
  readonly ball: Motion;
  readonly world: BallWorld;
}

/** Shoulder of the sensor's arm. */
export function shoulderAt(player: ArmPlayer, trunkM: Vec3, yawRad: number): Vec3 {
  return add(trunkM, rotateAboutVertical([0, -player.side * player.halfWidthM, 0], yawRad));
}

/** Arm hanging at the side as this player lets it hang, palm inward. */
export function hanging({ arm, side, hang }: Pick<ArmPlayer, 'arm' | 'side' | 'hang'>): ArmRest {
  const distanceM = hangReachAskedM(arm, reachM(arm, Math.PI - hang.bendRad));
  const [ahead, out] = [Math.tan(hang.forwardRad), Math.tan(hang.outRad)];
  const down = -distanceM / Math.hypot(ahead, out, 1);
  return {
    relativeM: [-ahead * down, out * down * side, down],
    angles: { pronationRad: 0.3, flexionRad: 0.1, deviationRad: 0 },
    swivelRad: 0.15,
  };
}

/** A path of the wrist put together from stretches, each beginning where the last one ended. */
export class WristPath {
  readonly #stretches: { fromS: number; at: (timeS: number) => Vec3 }[] = [];
  readonly #shoulder: (timeS: number) => Vec3;
  readonly #yaw: (timeS: number) => number;

  constructor(shoulder: (timeS: number) => Vec3, yaw: (timeS: number) => number) {
    this.#shoulder = shoulder;
    this.#yaw = yaw;
  }

  at(timeS: number): Vec3 {
    let i = this.#stretches.length - 1;
    while (i > 0 && (this.#stretches[i] as { fromS: number }).fromS > timeS) i--;
    const stretch = this.#stretches[i];
    if (!stretch) throw new RangeError('a wrist path has no stretch yet');
    return stretch.at(timeS);
  }

  /** From `fromS` on the wrist does this in the room. */
  inRoom(fromS: number, at: (timeS: number) => Vec3): this {
    this.#stretches.push({ fromS, at });
    return this;
  }

  /** From `fromS` on the wrist does this relative to the shoulder, in the trunk's axes. */
  relative(fromS: number, at: (timeS: number) => Vec3): this {
    return this.inRoom(fromS, (t) => add(this.#shoulder(t), rotateAboutVertical(at(t), this.#yaw(t))));
  }

  /** Through knots relative to the shoulder. */
  through(knots: readonly VectorKnot[]): this {
    const track = new VectorTrack(knots);
    return this.relative((knots[0] as VectorKnot).atS, (t) => track.at(t));
  }

  /** Shoulder → wrist in the trunk's axes for a place in the room. */
  toRelative(wristM: Vec3, timeS: number): Vec3 {
    return rotateAboutVertical(subtract(wristM, this.#shoulder(timeS)), -this.#yaw(timeS));
  }

  relativeAt(timeS: number): Vec3 {
    return this.toRelative(this.at(timeS), timeS);
  }
}

/** Tracks of the hand's angles through knots at the same times. */
export class AngleTracks {
  readonly #tracks: readonly [ScalarTrack, ScalarTrack, ScalarTrack, ScalarTrack];

  constructor(knots: readonly { atS: number; angles: HandAngles; swivelRad: number }[]) {
    const of = (f: (knot: { angles: HandAngles; swivelRad: number }) => number) =>
      new ScalarTrack(knots.map((knot) => ({ atS: knot.atS, value: f(knot) })));
    this.#tracks = [
      of((k) => k.angles.pronationRad),
      of((k) => k.angles.flexionRad),
      of((k) => k.angles.deviationRad),
      of((k) => k.swivelRad),
    ];
  }

  angles(timeS: number): HandAngles {
    const [p, f, d] = this.#tracks;
    return { pronationRad: p.at(timeS), flexionRad: f.at(timeS), deviationRad: d.at(timeS) };
  }

  swivel(timeS: number): number {
    return this.#tracks[3].at(timeS);
  }
}
