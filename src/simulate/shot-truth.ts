import type { FlightMark } from './act-builder.ts';
import { leastSpeed } from './aim.ts';
import { newState, stateLayout, vectorAt } from './ball-state.ts';
import { FreeMotion } from './free-motion.ts';
import { handTruth } from './hand-truth.ts';
import { firstInstant, lastInstant, Motion } from './motion.ts';
import type { ShotPlan } from './practice-plan.ts';
import type { ShotTruth, TruthMeasure } from './practice-truth.ts';
import { add, dot, norm, scale, type Vec3, zero3 } from './vectors.ts';

/** Force per unit mass beyond gravity and air from which something holds or hits the ball. */
export const touchForceMps2 = 0.5;
const degreesPerRadian = 180 / Math.PI;

/** Truth of one shot with times in session seconds; `index` and the device clock are put on later. */
export type RawShotTruth = Omit<ShotTruth, 'index'>;

export interface ShotFrame {
  /** Level launch direction, the shooter's left, up. */
  readonly forward: Vec3;
  readonly left: Vec3;
}

/**
 * Measures one shot on the continuous noise-free motion, by the definitions and not from what was planned.
 *
 * @param motion the act, from where the ball came to the hands until after the first contact.
 * @param mark the shot's flight.
 * @param feetM where the plan's distance is counted from; only passed on.
 */
export function measureShotTruth(motion: Motion, mark: FlightMark, plan: ShotPlan): RawShotTruth {
  const touching = (t: number) => motion.forceSizeAt(t) > touchForceMps2;
  const actStartS = motion.startS;
  const releaseS = lastInstant(Math.max(actStartS, mark.flightStartS - 0.2), mark.flightStartS - 1e-9, 1e-4, touching);
  if (releaseS === null) throw new RangeError('the ball left no hand before its flight: the act is not a shot');
  const contactS = firstInstant(mark.flightStartS + 1e-6, motion.endS, 2e-4, touching);
  const atRelease = newState();
  motion.stateAt(releaseS, atRelease);
  const velocity = vectorAt(atRelease, stateLayout.velocity);
  const position = vectorAt(atRelease, stateLayout.position);
  const level = Math.hypot(velocity[0], velocity[1]);
  const frame: ShotFrame = {
    forward: [velocity[0] / level, velocity[1] / level, 0],
    left: [-velocity[1] / level, velocity[0] / level, 0],
  };
  const hand = handTruth(motion, mark, releaseS, frame);
  const spinAtRelease = norm(vectorAt(atRelease, stateLayout.rate));
  const direction = meanSpinDirection(motion, releaseS, contactS ?? motion.endS, frame);
  const spinRps = spinAtRelease / (2 * Math.PI);
  const tiltDeg = Math.atan2(direction[2], -direction[1]) * degreesPerRadian;
  const arc = arcTruth(motion, mark, position, plan.hoopHeightM);
  const hoop = mark.world.court.hoop;
  const toRingM = hoop ? Math.hypot(hoop.centreM[0] - position[0], hoop.centreM[1] - position[1]) : null;
  const least = toRingM === null ? null : leastSpeed(mark.world, toRingM, plan.hoopHeightM - position[2]);
  const speed = norm(velocity);
  const noContact: TruthMeasure = { value: null, reason: 'no-contact' };
  return {
    startKind: hand.startKind,
    pickupS: hand.pickupS,
    liftS: hand.liftS,
    releaseS,
    contactS,
    timeReasons: { ...hand.timeReasons, ...(contactS === null ? { contact: 'no-contact' as const } : {}) },
    contactKind: contactS === null ? 'unknown' : contactKindAt(motion, contactS),
    pauseAt: hand.pauseAt,
    measures: {
      ...hand.measures,
      flightS: contactS === null ? noContact : { value: contactS - releaseS },
      spinRps: { value: spinRps },
      backspinRps: { value: -direction[1] * spinRps },
      sidespinRps: { value: direction[2] * spinRps },
      rifleSpinRps: { value: direction[0] * spinRps },
      axisTiltDeg: Math.abs(tiltDeg) > 80 ? { value: null, reason: 'near-sideways-axis' } : { value: tiltDeg },
      launchSpeedMps: { value: speed },
      launchAngleDeg: { value: Math.atan2(velocity[2], level) * degreesPerRadian },
      entryAngleDeg:
        arc.entryAngleDeg === null ? { value: null, reason: 'no-ring-reference' } : { value: arc.entryAngleDeg },
      apexM: { value: arc.apexM },
      speedMarginMps: least === null ? { value: null, reason: 'no-ring-reference' } : { value: speed - least },
      contactHardnessMps: contactS === null ? noContact : { value: hardness(motion, contactS) },
      sidewaysImpulseMps: { value: sidewaysImpulse(motion, releaseS, frame) },
    },
    setting: {
      distanceM: plan.distanceM,
      releaseHeightM: position[2],
      hoopHeightM: plan.hoopHeightM,
      aim: plan.aim,
      start: plan.start.kind,
      spinDirection: [direction[0], direction[1], direction[2]],
      launchVelocityMps: [level, 0, velocity[2]],
    },
  };
}

function contactKindAt(motion: Motion, contactS: number): ShotTruth['contactKind'] {
  const touch = motion.touchAt(contactS + 1e-5);
  if (touch === 'hand') return 'hands';
  return touch === 'free' ? 'unknown' : touch;
}

function meanSpinDirection(motion: Motion, fromS: number, toS: number, frame: ShotFrame): Vec3 {
  const state = newState();
  const steps = Math.max(20, Math.ceil((toS - fromS) / 0.002));
  let sum = zero3;
  for (let i = 0; i < steps; i++) {
    motion.stateAt(fromS + ((i + 0.5) / steps) * (toS - fromS), state);
    const rate = vectorAt(state, stateLayout.rate);
    const size = norm(rate);
    if (size > 0) sum = add(sum, scale(rate, 1 / size));
  }
  const size = norm(sum);
  if (size === 0) return zero3;
  return scale([dot(sum, frame.forward), dot(sum, frame.left), sum[2]], 1 / size);
}

/** Apex above release and angle of fall at ring height, of the flight as if nothing stood in its way. */
function arcTruth(
  motion: Motion,
  mark: FlightMark,
  releaseM: Vec3,
  hoopHeightM: number,
): { apexM: number; entryAngleDeg: number | null } {
  const start = newState();
  motion.stateAt(mark.flightStartS, start);
  const free = { ...mark.world, court: { ...mark.world.court, hoop: null } };
  const { position: P, velocity: V } = stateLayout;
  const lowest = Math.min(releaseM[2], hoopHeightM);
  const fall = (_t: number, s: Float64Array) => (s[V + 2] as number) < 0 && (s[P + 2] as number) < lowest;
  const run = new FreeMotion(free).run(start, mark.flightStartS, 6, fall);
  const flight = new Motion(run.segments, free);
  const state = newState();
  const heightAt = (t: number) => {
    flight.stateAt(t, state);
    return state[P + 2] as number;
  };
  const rising = (t: number) => {
    flight.stateAt(t, state);
    return (state[V + 2] as number) > 0;
  };
  const topS = lastInstant(mark.flightStartS, run.endS, 0.01, rising) ?? mark.flightStartS;
  const apexM = Math.max(0, heightAt(topS) - releaseM[2]);
  if (heightAt(topS) < hoopHeightM) return { apexM, entryAngleDeg: null };
  const passS = firstInstant(topS, run.endS, 0.01, (t) => heightAt(t) < hoopHeightM);
  if (passS === null) return { apexM, entryAngleDeg: null };
  flight.stateAt(passS, state);
  const v = vectorAt(state, V);
  return { apexM, entryAngleDeg: Math.atan2(-v[2], Math.hypot(v[0], v[1])) * degreesPerRadian };
}

/** Size of the first contact's impulse per unit mass, until its force has gone or 0.3 s are over. */
function hardness(motion: Motion, contactS: number): number {
  const stepS = 1e-4;
  let impulse = zero3;
  for (let i = 0; i < 3000; i++) {
    const t = contactS + (i + 0.5) * stepS;
    if (t > motion.endS) break;
    const force = motion.forceAt(t);
    if (i > 0 && norm(force) < touchForceMps2) break;
    impulse = add(impulse, scale(force, stepS));
  }
  return norm(impulse);
}

/** Impulse of the hand toward the shooter's left in the last 80 ms before release, per unit mass. */
function sidewaysImpulse(motion: Motion, releaseS: number, frame: ShotFrame): number {
  const steps = 400;
  const stepS = 0.08 / steps;
  let sum = 0;
  for (let i = 0; i < steps; i++) {
    const t = releaseS - 0.08 + (i + 0.5) * stepS;
    if (t >= motion.startS) sum += dot(motion.forceAt(t), frame.left) * stepS;
  }
  return sum;
}
