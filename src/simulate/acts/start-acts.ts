import type { ActBuilder } from '../act-builder.ts';
import type { ShotPlan, StartPlan } from '../practice-plan.ts';
import { add, rotateAboutVertical, scale, type Vec3, zero3 } from '../vectors.ts';
import { dribble } from './dribble-act.ts';
import { bouncePass, chestPass, lobPass, spinOut } from './pass-acts.ts';

/**
 * Brings the ball to the shooter in the way the plan says and stops at the instant the hands meet it (held starts: where the
 * ball rests in the hands).
 *
 * @returns where the shooter's feet are, z 0, and how long the hands take to stop a pass (0: it did not come by one).
 */
export function comeToHands(b: ActBuilder, plan: ShotPlan): { feetM: Vec3; absorbS: number } {
  const { start } = plan;
  if (
    start.kind === 'dribble' ||
    start.kind === 'routine' ||
    start.kind === 'long-hold' ||
    start.kind === 'overhead-hold'
  ) {
    return { feetM: ownBall(b, plan, start), absorbS: 0 };
  }
  comePassed(b, start);
  // The ball came along x; the ring lies anywhere, mostly to the side of or against the pass.
  const drawnRad = b.random.between(0.3 * Math.PI, 1.7 * Math.PI);
  const offRad = plan.manner?.passOffRad;
  b.turnRoom(offRad === undefined ? drawnRad : Math.PI + offRad);
  const absorbS = b.random.between(0.07, 0.13);
  return { feetM: shooterAround(b, 1.4 * absorbS, plan.manner?.pickupSideM), absorbS };
}

function comePassed(b: ActBuilder, start: StartPlan): void {
  const { random } = b;
  if (start.kind === 'chest-pass' && start.catchHeightM !== undefined)
    chestPass(b, start.distanceM, start.catchHeightM, true);
  else if (start.kind === 'chest-pass') chestPass(b, start.distanceM, random.between(1.05, 1.5));
  else if (start.kind === 'bounce-pass') bouncePass(b, start.distanceM);
  else if (start.kind === 'lob-pass') lobPass(b, start.distanceM, random.between(1.2, 1.9));
  else spinOut(b);
}

type OwnStart = Extract<StartPlan, { kind: 'dribble' | 'routine' | 'long-hold' | 'overhead-hold' }>;

/** The ball comes from the shooter's own dribble or was in the hands already. */
function ownBall(b: ActBuilder, plan: ShotPlan, start: OwnStart): Vec3 {
  const { random } = b;
  switch (start.kind) {
    case 'dribble': {
      const walk = rotateAboutVertical([start.walkMps, 0, 0], random.between(-Math.PI, Math.PI));
      dribble(b, { count: start.dribbles, heightM: start.heightM, crossover: start.crossover, walkMps: walk });
      return shooterAround(b, plan.gatherS, plan.manner?.pickupSideM);
    }
    case 'routine': {
      if (start.dribbles > 0) {
        dribble(b, { count: start.dribbles, heightM: random.between(0.75, 1), crossover: false, walkMps: zero3 });
        settle(b, plan.dipHeightM + random.between(0, 0.25));
      } else {
        b.carryTo([0, 0, plan.dipHeightM + random.between(0, 0.25)], 0.6);
      }
      b.holdStill(start.stillS);
      return feetBehind(b.position, random.between(0.25, 0.35), plan.manner?.pickupSideM ?? 0);
    }
    case 'long-hold': {
      longHold(b, start.holdS, start.swings);
      const forwardM = random.between(0.2, 0.35);
      const sideM = random.between(-0.1, 0.1);
      return feetBehind(b.position, forwardM, plan.manner?.pickupSideM ?? sideM);
    }
    case 'overhead-hold':
      b.carryTo([0.2, 0, plan.releaseHeightM - 0.45], 0.7);
      b.holdStill(start.holdS);
      return feetBehind(b.position, 0.1, 0);
  }
}

/** Feet of a shooter whose hands meet the moving ball beside the body and stop it within the gather. */
function shooterAround(b: ActBuilder, gatherS: number, ownSideM?: number): Vec3 {
  const [vx, vy] = b.velocity;
  const stopsAt = add(b.position, [0.3 * gatherS * vx, 0.3 * gatherS * vy, 0]);
  const forwardM = b.random.between(0.2, 0.4);
  const sideM = b.random.between(-0.3, 0.3);
  // A side of the player's own is told of where hands and ball meet.
  return ownSideM === undefined
    ? feetBehind(stopsAt, forwardM, sideM)
    : feetBehind([stopsAt[0], b.position[1], stopsAt[2]], forwardM, ownSideM);
}

function feetBehind(positionM: Vec3, forwardM: number, sideM: number): Vec3 {
  return [positionM[0] - forwardM, positionM[1] - sideM, 0];
}

/** The hands that just met the ball bring it to rest at a height. */
function settle(b: ActBuilder, heightM: number): void {
  const durationS = b.random.between(0.25, 0.5);
  const phase = b.catchPhase(durationS);
  const [x, y] = b.position;
  phase.to([x, y, heightM], durationS - phase.timeS);
  phase.turn(scale(b.random.direction(), 2), durationS / 2).turn(zero3);
  b.commit(phase);
}

/** The ball swings about in the hands, between rests. */
function longHold(b: ActBuilder, holdS: number, swings: number): void {
  const { random } = b;
  const startS = b.timeS;
  for (let i = 0; i < swings; i++) {
    b.carryTo(
      [random.between(0.1, 0.5), random.between(-0.4, 0.4), random.between(0.8, 1.4)],
      random.between(0.35, 0.7),
      4,
    );
  }
  b.holdStill(Math.max(0.1, holdS - (b.timeS - startS)));
}
