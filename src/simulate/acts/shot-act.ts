import type { ActBuilder } from '../act-builder.ts';
import { leastSpeed, passageAt, solveSpeed } from '../aim.ts';
import { hoopAt, usualNetGripPerMs } from '../court.ts';
import type { HandPhase } from '../hand-phase.ts';
import type { ShotPlan } from '../practice-plan.ts';
import { fadingForcePiece, pointOf } from '../track.ts';
import { add, addScaled, rotateAboutVertical, scale, subtract, type Vec3, zero3 } from '../vectors.ts';
import { afterPlay } from './after-play.ts';
import { comeToHands } from './start-acts.ts';

const radiansPerDegree = Math.PI / 180;

/** Spin vector, rad/s, x along the launch: backspin about −y, sidespin about +z, rifle spin about +x. */
export function spinVector(spinRps: number, axisTiltDeg: number, rifleDeg: number): Vec3 {
  const across = Math.cos(rifleDeg * radiansPerDegree);
  const tilt = axisTiltDeg * radiansPerDegree;
  return scale(
    [Math.sin(rifleDeg * radiansPerDegree), -across * Math.cos(tilt), across * Math.sin(tilt)],
    2 * Math.PI * spinRps,
  );
}

/** How far beyond the ring's centre each kind of aim means to go, and how far to the side. */
const aimOffsets: Readonly<Record<ShotPlan['aim'], readonly [number, number]>> = {
  through: [0.03, 0],
  front: [-0.2, 0],
  back: [0.26, 0],
  board: [0.62, 0],
  'short-air': [-0.75, 0],
  'wide-air': [-0.1, 0.75],
  long: [0.95, 0],
};

interface Launch {
  readonly positionM: Vec3;
  readonly velocityMps: Vec3;
  readonly rateRadps: Vec3;
}

/** One whole shot: the ball comes to the hands, is gathered, lifted, let go, and falls where physics takes it. */
export function shotAct(b: ActBuilder, plan: ShotPlan): void {
  const { feetM, absorbS } = comeToHands(b, plan);
  const launch = aimed(b, plan, feetM);
  const lift =
    plan.start.kind === 'overhead-hold' ? overheadLift(b, plan, launch) : usualLift(b, plan, launch, feetM, absorbS);
  b.launch(lift.build, launch, lift.how, lift.pushS, { spinUpS: plan.spinUpS, rateBeforeRadps: lift.rateBeforeRadps });
  const flightStartS = b.timeS;
  const boardAngle = plan.boardAngleDeg * radiansPerDegree;
  b.world = { ...b.world, court: { ...b.world.court, hoop: shifted(b, plan, feetM, boardAngle) } };
  afterPlay(b, flightStartS, plan.afterPlayS);
}

function shifted(b: ActBuilder, plan: ShotPlan, feetM: Vec3, boardAngleRad: number) {
  const hoop = hoopAt(plan.distanceM, plan.hoopHeightM, boardAngleRad);
  return {
    ...hoop,
    centreM: [feetM[0] + plan.distanceM, feetM[1], plan.hoopHeightM] as const,
    netGripPerMs: b.random.between(...usualNetGripPerMs),
  };
}

function aimed(b: ActBuilder, plan: ShotPlan, feetM: Vec3): Launch {
  const forwardM = b.random.between(0.3, 0.5);
  const positionM: Vec3 = [feetM[0] + forwardM, feetM[1] + b.random.normal(0, 0.04), plan.releaseHeightM];
  const [depthM, sideM] = aimOffsets[plan.aim];
  const sideSign = b.random.chance(0.5) ? 1 : -1;
  const targetX = feetM[0] + plan.distanceM + depthM + plan.depthErrorM - positionM[0];
  const targetY = feetM[1] + sideSign * sideM + plan.sideErrorM - positionM[1];
  const spin = spinVector(plan.spinRps, plan.axisTiltDeg, plan.rifleDeg);
  const heightM = plan.hoopHeightM - plan.releaseHeightM;
  const angle = plan.launchAngleDeg * radiansPerDegree;
  const distanceM = Math.hypot(targetX, targetY);
  const speed = launchSpeed(b, plan, feetM, positionM) ?? solveSpeed(b.world, distanceM, heightM, angle, spin);
  if (speed === null) {
    throw new RangeError(
      `no launch speed reaches ${distanceM.toFixed(2)} m, ${heightM.toFixed(2)} m up, at ${plan.launchAngleDeg}°: plan a steeper shot`,
    );
  }
  const velocity: Vec3 = [speed * Math.cos(angle), 0, speed * Math.sin(angle)];
  const drift = passageAt(b.world, zero3, velocity, spin, heightM, 0.005)?.positionM[1] ?? 0;
  const heading = Math.atan2(targetY, targetX) - Math.atan2(drift, distanceM);
  return {
    positionM,
    velocityMps: rotateAboutVertical(velocity, heading),
    rateRadps: rotateAboutVertical(spin, heading),
  };
}

/** The speed of a player who throws harder than the ring asks for; null for one who aims. */
function launchSpeed(b: ActBuilder, plan: ShotPlan, feetM: Vec3, fromM: Vec3): number | null {
  const over = plan.manner?.overLeastMps;
  if (over === undefined) return null;
  const toRingM = Math.hypot(feetM[0] + plan.distanceM - fromM[0], feetM[1] - fromM[1]);
  const least = leastSpeed(b.world, toRingM, plan.hoopHeightM - plan.releaseHeightM);
  return least === null ? null : least + over;
}

interface Lift {
  readonly build: () => HandPhase;
  readonly how: { pushMps2: Vec3; shape: ShotPlan['fadeShape']; fadeS: number };
  readonly pushS: number;
  readonly rateBeforeRadps: Vec3;
}

function push(plan: ShotPlan, launch: Launch): Lift['how'] {
  const speed = Math.hypot(...launch.velocityMps);
  const along = scale(launch.velocityMps, plan.pushMps2 / speed);
  return {
    pushMps2: add(along, [0, plan.sidePushMps2, 0.2 * plan.pushMps2]),
    shape: plan.fadeShape,
    fadeS: plan.fadeS,
  };
}

/** Where the push must begin, and how long before release, to bring the ball evenly from the set velocity to the fade. */
function setPoint(b: ActBuilder, plan: ShotPlan, launch: Launch, setVelocity: Vec3): { setM: Vec3; pushS: number } {
  const { point } = b.freePoint(launch.positionM, launch.velocityMps, launch.rateRadps);
  const fadeStart = pointOf(fadingForcePiece(point, push(plan, launch).pushMps2, plan.fadeShape, plan.fadeS), 0);
  const share = 0.5 * b.random.between(0.9, 1);
  const meanMps = scale(add(fadeStart.slope, setVelocity), share);
  const dropM = plan.setDropM - (plan.releaseHeightM - fadeStart.value[2]);
  const beforeFadeS = Math.max(0.085, dropM / meanMps[2]);
  const drawnM = b.random.normal(0, 0.025);
  const besideM: Vec3 = [0, plan.manner?.strayMps === undefined ? drawnM : 0, 0];
  return { setM: add(addScaled(fadeStart.value, meanMps, -beforeFadeS), besideM), pushS: beforeFadeS + plan.fadeS };
}

function usualLift(b: ActBuilder, plan: ShotPlan, launch: Launch, feetM: Vec3, absorbS: number): Lift {
  const { random } = b;
  const inHands = plan.start.kind === 'routine' || plan.start.kind === 'long-hold';
  const setUpMps = plan.motion === 'one' ? random.between(1.6, 3) : 0;
  const { manner = {} } = plan;
  const drawn: Vec3 = plan.motion === 'one' ? [random.between(-0.3, 0.3), random.normal(0, 0.3), setUpMps] : zero3;
  const setVelocity: Vec3 = manner.strayMps === undefined ? drawn : [drawn[0], manner.strayMps, drawn[2]];
  const { setM, pushS } = setPoint(b, plan, launch, setVelocity);
  const setBend: Vec3 = plan.motion === 'one' ? [5, 0, (0.6 * (launch.velocityMps[2] - setUpMps)) / pushS] : zero3;
  const lowM = manner.dropM === undefined || inHands ? plan.dipHeightM : Math.max(0.3, b.position[2] - manner.dropM);
  const dipM: Vec3 = [feetM[0] + random.between(0.22, 0.38), feetM[1] + plan.dipSideM, lowM];
  const handRate = (top: number): Vec3 => scale(random.direction(), top * random.unit());
  const gatherRate = handRate(plan.gatherTurnRadps);
  const dipRate = handRate(plan.lowPauseS > 0 ? 0.4 : 1.5);
  const liftRate = handRate(2);
  const setRate: Vec3 = plan.motion === 'one' ? handRate(2) : handRate(0.3);
  const wobbleM = [1, 2].map(() => scale(random.direction(), 0.004));
  const bounceMps2 = plan.lowPauseS > 0 ? 0 : (manner.turnMps2 ?? random.between(3, 12));
  const gatherS = plan.gatherS + absorbS;
  // Faster than this the ball would overtake its own release speed on the way up.
  const liftS = Math.max(plan.liftS, (setM[2] - lowM) / (plan.motion === 'one' ? 3 : 2.4));
  const first = inHands ? b.phase() : absorbS > 0 ? passCatch(b, dipM, absorbS, plan.gatherS) : b.catchPhase(gatherS);
  const build = (): HandPhase => {
    // A fresh phase each call: the launch may ask twice.
    const phase = first.copy();
    if (manner.roundM !== undefined) {
      phase.to(add(dipM, [0, 0, manner.roundM]), 0.55 * (gatherS - phase.timeS));
    }
    phase.to(dipM, gatherS - phase.timeS, zero3, [0, 0, bounceMps2]);
    phase.turn(gatherRate, gatherS * 0.5).turn(dipRate);
    if (plan.lowPauseS > 0) {
      phase
        .to(addScaled(dipM, wobbleM[0] as Vec3, 1), plan.lowPauseS / 2)
        .to(dipM, plan.lowPauseS / 2)
        .turn(scale(dipRate, 0.2));
    }
    const liftStart = phase.timeS;
    const wayM = subtract(setM, dipM);
    for (const { share, asideM, asideMps } of loopAside(manner.loopM, liftS)) {
      const wayMps = add(scale(wayM, 1.2 / liftS), asideMps);
      phase.to(add(addScaled(dipM, wayM, share), asideM), liftStart + share * liftS - phase.timeS, wayMps);
    }
    phase.to(setM, liftStart + liftS - phase.timeS, setVelocity, setBend);
    phase.turn(liftRate, liftStart + liftS * 0.5);
    if (plan.highPauseS > 0 && plan.motion === 'two') {
      phase.turn(setRate);
      phase.to(addScaled(setM, wobbleM[1] as Vec3, 1), plan.highPauseS / 2).to(setM, plan.highPauseS / 2);
    }
    return phase;
  };
  return { build, how: push(plan, launch), pushS, rateBeforeRadps: setRate };
}

/** A circle beside the way up: out to the side, back toward the body and home. */
function loopAside(radiusM: number | undefined, liftS: number) {
  if (radiusM === undefined) return [];
  const ahead = Math.abs(radiusM);
  const perS = (2 * Math.PI) / liftS;
  return [0.2, 0.4, 0.6, 0.8].map((share) => {
    const [c, s] = [Math.cos(2 * Math.PI * share), Math.sin(2 * Math.PI * share)];
    const asideM: Vec3 = [-ahead * s, radiusM * (1 - c), 0];
    const asideMps: Vec3 = [-ahead * c * perS, radiusM * s * perS, 0];
    return { share, asideM, asideMps };
  });
}

/** Hands stop a pass within a forearm's length and already move toward where the ball goes next. */
function passCatch(b: ActBuilder, nextM: Vec3, absorbS: number, restS: number): HandPhase {
  const phase = b.catchPhase(absorbS);
  const stopM = addScaled(b.position, b.velocity, 0.42 * absorbS);
  const onward = scale(subtract(nextM, stopM), 0.8 / restS);
  return phase.to(stopM, absorbS - phase.timeS, onward);
}

/** From a hold above the head the ball goes straight to release. */
function overheadLift(b: ActBuilder, plan: ShotPlan, launch: Launch): Lift {
  const { setM, pushS } = setPoint(b, plan, launch, zero3);
  const build = () => b.phase().to(setM, 0.35).turn(zero3);
  return { build, how: push(plan, launch), pushS, rateBeforeRadps: zero3 };
}
