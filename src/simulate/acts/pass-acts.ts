import type { ActBuilder } from '../act-builder.ts';
import { stateLayout } from '../ball-state.ts';
import type { GrowthShape } from '../track.ts';
import { scale, type Vec3, zero3 } from '../vectors.ts';

const { position: P, velocity: V } = stateLayout;

/** Way of the hands during a throw over push time times final speed. */
const pushShare = 0.42;

/** Throws the resting ball with a velocity, the hands pushing for `pushS`; the flight is left to the caller. */
export function throwBall(b: ActBuilder, velocityMps: Vec3, spinRadps: Vec3, pushS: number, riseM = 0): void {
  const { random } = b;
  const speed = Math.hypot(...velocityMps);
  const from = b.position;
  const along = pushShare * pushS;
  const positionM: Vec3 = [
    from[0] + along * velocityMps[0],
    from[1] + along * velocityMps[1],
    from[2] + along * velocityMps[2] + riseM,
  ];
  const push = scale(velocityMps, random.between(15, 45) / Math.max(speed, 0.5));
  const how = {
    pushMps2: push,
    shape: random.pick<GrowthShape>(['linear', 'square', 'smooth']),
    fadeS: random.between(0.008, 0.035),
  };
  const target = { positionM, velocityMps, rateRadps: spinRadps };
  b.launch(() => b.phase(), target, how, pushS, { spinUpS: Math.min(pushS, 0.12), rateBeforeRadps: zero3 });
}

function passSpin(b: ActBuilder): Vec3 {
  const { random } = b;
  return [random.normal(0, 2), -2 * Math.PI * random.between(0.3, 2.2), random.normal(0, 2)];
}

function toChest(b: ActBuilder): void {
  b.carryTo([0, 0, b.random.between(1.15, 1.35)], b.random.between(0.35, 0.6));
}

/** A chest pass along x over `distanceM`; ends where the catcher's hands meet the ball, at `catchHeightM` or somewhat below it. */
export function chestPass(b: ActBuilder, distanceM: number, catchHeightM: number, isMetThere = false): void {
  const { random } = b;
  toChest(b);
  const speed = random.between(7, 10.5);
  const pushS = random.between(0.25, 0.38);
  // The hands carry the ball for part of the way; drag stretches the rest by about a twentieth.
  const flightS = (1.05 * (distanceM - pushShare * pushS * speed)) / speed;
  const fallM = 0.5 * b.world.gravityMps2 * flightS ** 2;
  const up = (catchHeightM - b.position[2] + fallM) / (flightS + pushShare * pushS);
  throwBall(b, [speed, 0, up], passSpin(b), pushS);
  flyTo(b, distanceM, isMetThere ? catchHeightM : 0.55);
}

/** A lob over `distanceM`, high above the heads, caught at `catchHeightM` but hardly above where it was let go. */
export function lobPass(b: ActBuilder, distanceM: number, catchHeightM: number): void {
  const { random } = b;
  toChest(b);
  const angle = random.between(40, 55) * (Math.PI / 180);
  const rise = distanceM * Math.tan(angle) - (catchHeightM - b.position[2] - 0.4);
  const g = b.world.gravityMps2;
  const speed = 1.05 * Math.sqrt((g * distanceM ** 2) / (2 * Math.cos(angle) ** 2 * Math.max(rise, 0.5)));
  throwBall(
    b,
    [speed * Math.cos(angle), random.normal(0, 0.2), speed * Math.sin(angle)],
    passSpin(b),
    random.between(0.28, 0.42),
    0.2,
  );
  const reachM = Math.min(catchHeightM, b.position[2] + 0.1);
  b.fly(4, (_timeS, state) => (state[V + 2] as number) < 0 && (state[P + 2] as number) < reachM);
  b.source = 'pass';
}

/** A bounce pass: down, off the floor about two thirds of the way, up to the catcher's hands. */
export function bouncePass(b: ActBuilder, distanceM: number): void {
  const { random } = b;
  toChest(b);
  const speed = random.between(6.2, 8.8);
  const toFloorS = (random.between(0.55, 0.68) * distanceM) / speed;
  const fallM = b.position[2] - b.world.ball.radiusM;
  const down = fallM / toFloorS - 0.5 * b.world.gravityMps2 * toFloorS;
  throwBall(b, [speed, 0, -Math.max(0.5, down)], passSpin(b), random.between(0.25, 0.38));
  flyTo(b, distanceM, 0.6, true);
}

/** The player tosses the ball out with backspin and takes it again after its bounce. */
export function spinOut(b: ActBuilder): void {
  const { random } = b;
  const spin: Vec3 = [random.normal(0, 0.8), 2 * Math.PI * random.between(1.2, 3), random.normal(0, 0.8)];
  // Thrown along −x with backspin, so that the ball comes back along +x toward the ring.
  throwBall(b, [-random.between(1.4, 2.4), 0, random.between(1.6, 3)], spin, random.between(0.25, 0.4));
  let bounced = false;
  const heightM = random.between(0.65, 1);
  const radiusM = b.world.ball.radiusM;
  b.fly(4, (_timeS, state) => {
    const z = state[P + 2] as number;
    if (z < radiusM) bounced = true;
    return bounced && z > radiusM + 0.1 && (z > heightM || (state[V + 2] as number) < 0.2);
  });
  b.source = 'pass';
}

/** The pass flies until it has gone `distanceM` along x, or is about to drop below `lowestM`. */
function flyTo(b: ActBuilder, distanceM: number, lowestM: number, afterBounce = false): void {
  const startX = b.position[0];
  const radiusM = b.world.ball.radiusM;
  let bounced = !afterBounce;
  b.fly(4, (_timeS, state) => {
    const z = state[P + 2] as number;
    if (z < radiusM) bounced = true;
    if (!bounced || z < radiusM + 0.1) return false;
    const arrived = (state[P] as number) - startX >= distanceM;
    const late = (state[V + 2] as number) < 0 && (z < lowestM || (afterBounce && arrived));
    return (arrived && z > 0.6) || late;
  });
  b.source = 'pass';
}
