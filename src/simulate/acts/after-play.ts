import type { ActBuilder } from '../act-builder.ts';
import { stateLayout } from '../ball-state.ts';
import { scale, type Vec3, zero3 } from '../vectors.ts';

const { position: P, velocity: V, acceleration: A } = stateLayout;

/** Rolling or lying, with the floor carrying just the ball's weight: no bounce at its deepest. */
export function liesOnFloor(b: ActBuilder, state: Float64Array): boolean {
  const low = (state[P + 2] as number) < b.world.ball.radiusM + 0.01;
  return low && Math.abs(state[V + 2] as number) < 0.05 && Math.abs(state[A + 2] as number) < 1.5;
}

/** The ball flies, hits what it hits, bounces and rolls for a while; then hands pick it up and hold it. */
export function afterPlay(b: ActBuilder, flightStartS: number, afterPlayS: number): void {
  let contactS: number | null = null;
  const radiusM = b.world.ball.radiusM;
  b.fly(20, (timeS, state) => {
    const freeFall = Math.abs((state[A + 2] as number) + b.world.gravityMps2) < 4;
    if (contactS === null && timeS > flightStartS + 0.2 && !freeFall) contactS = timeS;
    if (contactS === null || timeS < contactS + afterPlayS) return false;
    const z = state[P + 2] as number;
    const reachable = z > radiusM + 0.25 && z < 2.3 && freeFall;
    return liesOnFloor(b, state) || reachable || (freeFall && timeS > contactS + afterPlayS + 6);
  });
  b.source = 'hands';
  pickUp(b);
}

/** Hands take the ball from whatever it does and bring it to rest at the waist. */
export function pickUp(b: ActBuilder): void {
  const { random } = b;
  const durationS = random.between(0.45, 0.8);
  const [x, y] = b.position;
  const v = b.velocity;
  const onFloor = b.position[2] < 0.2;
  const target: Vec3 = [x + 0.45 * v[0] * durationS, y + 0.45 * v[1] * durationS, random.between(0.95, 1.15)];
  const phase = onFloor ? b.phase() : b.catchPhase(durationS);
  if (onFloor) b.handStartS = b.timeS;
  phase.to(target, durationS - phase.timeS);
  phase.turn(scale(random.direction(), random.between(0, 3)), durationS * 0.6).turn(zero3);
  b.commit(phase);
  b.holdStill(random.between(0.15, 0.6));
}
