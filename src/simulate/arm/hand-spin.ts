/**
 * How fast the hand turns as the ball leaves it, for the spin that the ball then has.
 *
 * The fingers drag the back of the ball down. Where they do not slip, the ball turns as fast as the fingertips pass its
 * surface over its radius: a share of the hand's rate that depends on how far out the ball leaves the fingers and how much of the fingers' way goes
 * into pushing, `rollGain`. Friction can give no more than μ times the push: over the last moments, with an impulse J of the push per
 * unit mass and a thin-walled ball (moment of inertia 2/3 m R²), a rate of 3/2 μ J / R. Near that limit the fingers slip for part of
 * the way; between the two the spin goes over smoothly.
 *
 * Where the numbers come from: rolling and sliding under Coulomb friction, textbook mechanics; friction of dry to moist finger
 * pads on rough rubber and leather 0.45 to 0.9 (Derler and Gerhardt 2012, Tribology Letters 45:1, give 0.3 to over 1; from
 * memory); scatter from shot to shot (where the fingers lie on seams and pebbles, sweat, dust) no source.
 */
import type { Random } from '../random.ts';

/** How a player's fingers hold on to the ball. */
export interface FingerGrip {
  /** Ball spin over hand rate while nothing slips. */
  readonly rollGain: number;
  /** Scatter of that from shot to shot, as a share. */
  readonly rollScatter: number;
  readonly friction: number;
}

/** What one shot's grip differs from the player's, as factors. */
export interface ShotGrip {
  readonly rollShare: number;
  readonly frictionShare: number;
}

export const frictionRange = [0.45, 0.9] as const;
/** The time before release in which the fingers spin the ball up. */
export const fingerS = 0.08;
/** How sharply rolling goes over into slipping. */
const sharpness = 4;
/** No shot is planned nearer to the limit of friction than this. */
const nearestToLimit = 0.95;

export function drawShotGrip(random: Random, { rollScatter }: FingerGrip): ShotGrip {
  return {
    rollShare: 1 + rollScatter * random.boundedNormal(0, 1),
    frictionShare: 1 + 0.08 * random.boundedNormal(0, 1),
  };
}

/**
 * Rate of the hand that gives a spin.
 *
 * @param impulseMps of the push on the ball over the last `fingerS`, per unit mass.
 */
export function handRateFor(
  spinRadps: number,
  grip: FingerGrip,
  shot: ShotGrip,
  impulseMps: number,
  radiusM: number,
): number {
  const limitRadps = (1.5 * grip.friction * shot.frictionShare * impulseMps) / radiusM;
  const share = Math.min(nearestToLimit, spinRadps / limitRadps);
  const slipped = (1 - share ** sharpness) ** (1 / sharpness);
  return spinRadps / (grip.rollGain * shot.rollShare * slipped);
}
