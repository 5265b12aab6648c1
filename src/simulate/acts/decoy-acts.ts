import type { ActBuilder } from '../act-builder.ts';
import { stateLayout } from '../ball-state.ts';
import type { DecoyKind } from '../practice-plan.ts';
import { scale, type Vec3, zero3 } from '../vectors.ts';
import { liesOnFloor, pickUp } from './after-play.ts';
import { dribble } from './dribble-act.ts';
import { bouncePass, chestPass, lobPass, spinOut, throwBall } from './pass-acts.ts';

const { position: P, velocity: V, acceleration: A } = stateLayout;

/** Plays one act that is no shot; the ball starts and ends at rest in the hands. */
export function decoyAct(b: ActBuilder, kind: DecoyKind, size: number): void {
  const { random } = b;
  switch (kind) {
    case 'chest-pass':
      chestPass(b, 2.5 + 5 * size, random.between(1, 1.5));
      catchIt(b);
      return;
    case 'bounce-pass':
      bouncePass(b, 3 + 3.5 * size);
      catchIt(b);
      return;
    case 'lob-pass':
      lobPass(b, 3.5 + 5.5 * size, random.between(1.2, 2.4));
      catchIt(b);
      return;
    case 'spin-out':
      spinOut(b);
      catchIt(b);
      return;
    case 'self-toss':
      toss(b, 1.6 + 2 * size, random.between(0, 8), 0);
      return;
    case 'thrown-up':
      toss(b, 3.6 + 2.4 * size, random.between(0, 25), random.between(-0.4, 0.9));
      return;
    case 'carry':
      carry(b, 2 + 3 * size);
      return;
    case 'roll':
      roll(b, 1 + 2 * size);
      return;
    case 'hand-to-hand':
      handToHand(b, 3 + Math.round(5 * size));
      return;
    case 'pump-fake':
      pumpFake(b, size);
      return;
    case 'dribbling':
      dribble(b, {
        count: 2 + Math.round(8 * size),
        heightM: random.between(0.6, 1.05),
        crossover: random.chance(0.3),
        walkMps: [2 * size, 0, 0],
      });
      catchIt(b);
      return;
    case 'drop':
      dropIt(b, 0.5 + 1.3 * size);
      return;
    case 'slam':
      slam(b, 4.5 + 2.5 * size);
      return;
    case 'kick':
      kick(b, 6 + 7 * size);
      return;
  }
}

/** Hands take the flying ball and bring it to rest at the chest. */
function catchIt(b: ActBuilder): void {
  const { random } = b;
  const durationS = random.between(0.18, 0.45);
  const phase = b.catchPhase(durationS);
  const [x, y, z] = b.position;
  const [vx, vy, vz] = b.velocity;
  const stop: Vec3 = [x + 0.35 * vx * durationS, y + 0.35 * vy * durationS, Math.max(0.35, z + 0.35 * vz * durationS)];
  phase.to(stop, durationS - phase.timeS);
  phase.turn(scale(random.direction(), random.between(0, 4)), durationS * 0.6).turn(zero3);
  b.commit(phase);
  b.carryTo([stop[0], stop[1], random.between(0.9, 1.3)], random.between(0.4, 0.9), 2);
  b.holdStill(random.between(0.1, 1.2));
}

function toss(b: ActBuilder, upMps: number, spinRadps: number, forwardMps: number): void {
  const { random } = b;
  const spin = scale(random.direction(), spinRadps);
  throwBall(b, [forwardMps, random.normal(0, 0.1), upMps], spin, random.between(0.2, 0.35));
  const heightM = b.position[2] + random.between(-0.4, 0.1);
  b.fly(4, (_timeS, state) => (state[V + 2] as number) < 0 && (state[P + 2] as number) < heightM);
  b.source = 'hands';
  catchIt(b);
}

/** Walks with the ball in the hands: a step every half second, the hands swing. */
function carry(b: ActBuilder, durationS: number): void {
  const { random } = b;
  const phase = b.phase();
  const [, , z] = b.position;
  const stepS = random.between(0.22, 0.3);
  const speed = random.between(0.8, 2.5);
  const steps = Math.round(durationS / stepS);
  for (let i = 1; i <= steps; i++) {
    const last = i === steps;
    const up = i % 2 === 1 ? 0.03 : -0.01;
    const at: Vec3 = [speed * stepS * i, random.normal(0, 0.03), z + (last ? 0 : up + random.normal(0, 0.01))];
    phase.to(at, stepS, last ? zero3 : [speed, random.normal(0, 0.1), 0]);
    phase.turn(last ? zero3 : scale(random.direction(), random.between(0, 1.5)));
  }
  b.commit(phase);
  b.holdStill(random.between(0.2, 1));
}

function roll(b: ActBuilder, speedMps: number): void {
  const { random } = b;
  const radiusM = b.world.ball.radiusM;
  b.carryTo([0.3, 0, radiusM + 0.05], 0.8);
  const spin: Vec3 = [0, (speedMps / radiusM) * random.between(0, 0.8), 0];
  const target = {
    positionM: [0.3 + 0.25 * speedMps, 0, radiusM + 0.012] as Vec3,
    velocityMps: [speedMps, 0, -0.1] as Vec3,
    rateRadps: spin,
  };
  const how = { pushMps2: [6, 0, 9] as Vec3, shape: 'linear' as const, fadeS: 0.02 };
  b.launch(() => b.phase(), target, how, 0.45, { spinUpS: 0.3, rateBeforeRadps: zero3 });
  leftAlone(b, random.between(1.5, 4));
}

/** The ball is on its own for a while, until hands can take it: rolling, or in the air at a height to reach. */
function leftAlone(b: ActBuilder, leastS: number): void {
  const radiusM = b.world.ball.radiusM;
  const fromS = b.timeS + leastS;
  b.fly(leastS + 8, (timeS, state) => {
    if (timeS < fromS) return false;
    const z = state[P + 2] as number;
    const freeFall = Math.abs((state[A + 2] as number) + b.world.gravityMps2) < 4;
    return liesOnFloor(b, state) || (freeFall && z > radiusM + 0.3);
  });
  b.source = 'hands';
  pickUp(b);
}

function handToHand(b: ActBuilder, count: number): void {
  const { random } = b;
  const [x, , z] = b.position;
  b.carryTo([x, -0.25, z], 0.4);
  for (let i = 0; i < count; i++) {
    const side = i % 2 === 0 ? 1 : -1;
    const first = i === 0;
    const pushS = random.between(0.14, 0.25);
    const level = random.between(1.2, 2.2) * side;
    const up = random.between(0.4, 1.1);
    const from = b.position;
    const positionM: Vec3 = [from[0], from[1] + level * pushS * 0.4, from[2] + (first ? 0.04 : 0)];
    const how = { pushMps2: [0, 8 * side, 6] as Vec3, shape: 'linear' as const, fadeS: 0.02 };
    const rise = first ? 0 : Math.min(random.between(...b.hands.riseS), 0.04);
    if (!first) b.handStartS = b.timeS;
    b.launch(
      () => (first ? b.phase() : b.phase().take([0, 12 * side, 14], 'smooth', rise)),
      { positionM, velocityMps: [0, level, up], rateRadps: scale(random.direction(), random.between(0, 6)) },
      how,
      pushS - rise,
      { spinUpS: 0.1, rateBeforeRadps: b.rate },
    );
    const heightM = b.position[2] - random.between(0, 0.05);
    b.fly(1, (_timeS, state) => (state[V + 2] as number) < 0 && (state[P + 2] as number) < heightM);
  }
  b.source = 'hands';
  catchIt(b);
}

/** Dip and rise as for a shot, but the ball stays in the hands. */
function pumpFake(b: ActBuilder, size: number): void {
  const { random } = b;
  b.carryTo([0.3, 0, random.between(0.8, 1)], random.between(0.3, 0.5), 4);
  b.carryTo([0.25, 0, 1.5 + 0.6 * size], random.between(0.22, 0.4), 5);
  b.holdStill(random.between(0.02, 0.25));
  b.carryTo([0.3, 0, random.between(0.85, 1.1)], random.between(0.25, 0.5), 4);
  b.holdStill(random.between(0.1, 0.8));
}

function dropIt(b: ActBuilder, heightM: number): void {
  const { random } = b;
  b.carryTo([0.4, 0, heightM], 0.6);
  const { point } = b.freePoint([0.4, 0, heightM - 0.002], [0, 0, -0.12], zero3);
  const how = {
    pushMps2: [0, 0, b.world.gravityMps2] as Vec3,
    shape: 'linear' as const,
    fadeS: random.between(0.01, 0.03),
  };
  const target = { positionM: point.value, velocityMps: point.slope, rateRadps: scale(random.direction(), 0.5) };
  b.launch(() => b.phase(), target, how, 0.08, { spinUpS: 0.05, rateBeforeRadps: zero3 });
  leftAlone(b, random.between(1, 4));
}

function slam(b: ActBuilder, speedMps: number): void {
  const { random } = b;
  b.carryTo([0.3, 0, 1.5], 0.6);
  throwBall(b, [random.between(0, 1), random.normal(0, 0.3), -speedMps], scale(random.direction(), 3), 0.25);
  leftAlone(b, random.between(1, 3));
}

/** A ball put on the floor and kicked flat: the foot touches it for about a hundredth of a second. */
function kick(b: ActBuilder, speedMps: number): void {
  const { random } = b;
  const radiusM = b.world.ball.radiusM;
  b.carryTo([0.4, 0, radiusM], 0.9);
  b.holdStill(0.4, 0.2);
  const angle = random.between(6, 18) * (Math.PI / 180);
  const footS = random.between(0.009, 0.014);
  const velocityMps: Vec3 = [speedMps * Math.cos(angle), 0, speedMps * Math.sin(angle)];
  const positionM: Vec3 = [0.4 + 0.5 * footS * velocityMps[0], 0, radiusM + 0.002 + 0.5 * footS * velocityMps[2]];
  const how = { pushMps2: scale(velocityMps, 80), shape: 'linear' as const, fadeS: 0.3 * footS };
  b.launch(() => b.phase(), { positionM, velocityMps, rateRadps: scale(random.direction(), 15) }, how, footS, {
    spinUpS: footS,
    rateBeforeRadps: zero3,
  });
  leftAlone(b, random.between(1.5, 3));
}
