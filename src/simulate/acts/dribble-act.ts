import type { ActBuilder } from '../act-builder.ts';
import { stateLayout } from '../ball-state.ts';
import type { GrowthShape } from '../track.ts';
import { add, cross, rotateAboutVertical, scale, unitOr, type Vec3 } from '../vectors.ts';

export interface DribblePlan {
  readonly count: number;
  /** Height of the ball's centre where the hand lets go and meets it again. */
  readonly heightM: number;
  /** The last dribble goes low and across. */
  readonly crossover: boolean;
  readonly walkMps: Vec3;
}

/**
 * Dribbles the ball from the hands and ends at the instant the hand meets it after the last bounce. The player walks with
 * the given velocity; its push lasts 80 to 200 ms.
 */
export function dribble(b: ActBuilder, plan: DribblePlan): void {
  const { random } = b;
  for (let i = 0; i < plan.count; i++) {
    const low = plan.crossover && i === plan.count - 1;
    const heightM = low ? random.between(0.42, 0.6) : plan.heightM * random.between(0.92, 1.08);
    const across = low
      ? rotateAboutVertical([random.between(1.2, 2.4), 0, 0], random.between(-Math.PI, Math.PI))
      : sway(b);
    pushDown(b, i === 0, heightM, add(plan.walkMps, across));
    flyUp(b, heightM * random.between(0.8, 1.02));
    b.source = 'dribble';
  }
}

function sway(b: ActBuilder): Vec3 {
  return [b.random.normal(0, 0.25), b.random.normal(0, 0.25), 0];
}

/** Speed downward at `heightM` that brings the ball back to that height with `spareMps` left. */
export function downwardSpeed(b: ActBuilder, heightM: number, spareMps: number): number {
  const { gravityMps2, ball, court } = b.world;
  const drop = 2 * gravityMps2 * (heightM - ball.radiusM);
  const atFloor = (drop + spareMps * spareMps) / court.floor.restitution ** 2;
  return Math.sqrt(Math.max(0.4, atFloor - drop));
}

function pushDown(b: ActBuilder, fromRest: boolean, heightM: number, levelMps: Vec3): void {
  const { random } = b;
  const down = downwardSpeed(b, heightM, random.between(0.8, 2.2));
  const velocityMps: Vec3 = [levelMps[0], levelMps[1], -down];
  const v = b.velocity;
  const pushS = fromRest ? random.between(0.35, 0.5) : Math.max(random.between(0.08, 0.2), (v[2] + down) / 45);
  const [x, y, z] = b.position;
  const dropM = fromRest ? z - heightM : -((v[2] - down) / 2) * pushS * random.between(0.85, 1.1);
  const positionM: Vec3 = [
    x + ((v[0] + velocityMps[0]) / 2) * pushS,
    y + ((v[1] + velocityMps[1]) / 2) * pushS,
    Math.max(0.3, z - dropM),
  ];
  // A ball pushed along rolls forward off the fingers.
  const along = cross([0, 0, 1], unitOr(levelMps, [1, 0, 0]));
  const rateRadps = add(scale(along, random.between(-2, 6)), scale(random.direction(), random.between(0, 2)));
  const fadeS = random.between(0.01, 0.03);
  const shape = random.pick<GrowthShape>(['linear', 'square', 'smooth']);
  const how = { pushMps2: [0, 0, -random.between(15, 45)] as Vec3, shape, fadeS };
  const riseS = fromRest ? 0 : Math.min(random.between(...b.hands.riseS), 0.3 * pushS);
  const shapeIn = random.pick<GrowthShape>(['linear', 'square', 'smooth']);
  if (!fromRest) b.handStartS = b.timeS;
  const change = (1.2 * (-down - v[2])) / pushS + b.world.gravityMps2;
  b.launch(
    () => (fromRest ? b.phase() : b.phase().take([0, 0, Math.min(-8, change)], shapeIn, riseS)),
    { positionM, velocityMps, rateRadps },
    how,
    pushS - riseS,
    { spinUpS: Math.min(pushS - riseS, 0.12), rateBeforeRadps: fromRest ? [0, 0, 0] : b.rate },
  );
}

/** The ball flies to the floor and up again until it reaches the height or nearly stops. */
function flyUp(b: ActBuilder, heightM: number): void {
  const { position: P, velocity: V } = stateLayout;
  let bounced = false;
  const radiusM = b.world.ball.radiusM;
  b.fly(3, (_timeS, state) => {
    const z = state[P + 2] as number;
    if (z < radiusM) bounced = true;
    const clear = z > radiusM + 0.05;
    return bounced && clear && (z >= heightM || (state[V + 2] as number) < 0.25);
  });
}
