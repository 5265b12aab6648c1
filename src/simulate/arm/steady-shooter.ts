/**
 * A grown player with a sound, steady shot, and habits that can be built into it, each in physical units. What a habit changes is
 * the motion alone; what somebody may call it is not known here.
 *
 * Where the numbers come from: spread of the launch angle from shot to shot 1.2 to 1.3° (Slegers, Lee and Wong 2021, J. Sports Sci.
 * Med. 20:508, abstract); of the spin as in arm-player.ts; the others common practice, no source.
 */
import { drawShotPlan, usualPractice } from '../draw-plan.ts';
import type { ShotPlan, StartPlan } from '../practice-plan.ts';
import type { Random } from '../random.ts';
import { reachM } from './arm-chain.ts';
import { type ArmPlayer, drawArmPlayer, type MountPlace, radians } from './arm-player.ts';
import { drawWristShot, releaseHeightM, type ShotArm, type WristShotPlan } from './wrist-plan.ts';

/** Levels that this player's shots scatter about. */
export interface SteadyShooter {
  readonly player: ArmPlayer;
  readonly tiltDeg: number;
  readonly launchAngleDeg: number;
  readonly spinRps: number;
  readonly pickupSideM: number;
  readonly dropM: number;
  /** Height of the lowest point where the ball was held before. */
  readonly heldLowM: number;
  readonly gatherS: number;
  readonly liftS: number;
}

/** Changes to the sound shot; none by default. Sides are toward the shooter's left. */
export interface ShotHabit {
  /** Impulse per unit mass that the other hand gives in the last 80 ms. */
  readonly sidePushMps?: number;
  readonly tiltDeg?: number;
  /** Forearm this much lower at release. */
  readonly forearmDropDeg?: number;
  /** Launch speed above the least that reaches the ring. */
  readonly overLeastMps?: number;
  readonly launchDropDeg?: number;
  readonly spinRps?: number;
  /** Longer from pickup to lift. */
  readonly gatherS?: number;
  /** The ball stops on its way up for this long. */
  readonly stopS?: number;
  readonly pickupSideM?: number;
  readonly dropM?: number;
  readonly followThroughS?: number;
  readonly airTurnDeg?: number;
  /** Path of the hand on its way up beside one upright plane, RMS over the path's length, on top. */
  readonly offPlane?: number;
  /** Longer from lift to release. */
  readonly liftS?: number;
}

export function drawSteadyShooter(seed: string | number, random: Random, place: MountPlace): SteadyShooter {
  const drawn = drawArmPlayer(seed, { statureM: [1.75, 1.98], place, motion: 'one', spinRps: [1.9, 2.6] });
  const player: ArmPlayer = {
    ...drawn,
    elbowReleaseRad: radians(random.between(126, 138)),
    reachReleaseRad: radians(random.between(46, 54)),
    swivelRad: radians(random.between(-2, 10)),
    jumpMps: random.between(2.1, 2.6),
    releaseShare: random.between(0.6, 0.85),
    followThroughS: random.between(0.6, 1),
    tempo: 1,
    spinScatter: random.between(0.04, 0.07),
    dips: true,
  };
  return {
    player,
    tiltDeg: random.boundedNormal(0, 1),
    launchAngleDeg: random.between(51, 54),
    spinRps: player.spinRps,
    pickupSideM: random.boundedNormal(0, 0.02),
    dropM: random.between(0.08, 0.18),
    heldLowM: random.between(0.5, 0.55) * player.statureM,
    gatherS: random.between(0.19, 0.25),
    liftS: random.between(0.3, 0.38),
  };
}

/** How long the push lasts from where the other hand's push begins, about; shorter than a usual one. */
const strayDropM = 0.2;
/**
 * What a loop on the way up adds to the path beside its plane, over the path's length, a metre of its radius, up to a radius
 * of about 0.4 m: beyond it the longer path takes away what the wider one adds, and no loop adds more than about 0.09.
 */
const planarityPerM = 0.14;
const widestLoopM = 0.36;
/** Part of the other hand's push that falls into the last 80 ms. */
const pushShare = 0.78;
/** A ball that was held is not swung up from a drop: its way up takes this much longer from its last rest. */
const heldRiseS = 0.065;
/**
 * A slower way up begins slower, and what lies within a centimetre of its lowest point is no lift yet; from far the ball is also pushed more
 * briskly than from near. So much longer a lift has to last to be longer by what is meant than the player's others: off a dribble and off
 * a pass from far, and from a hold near (from the simulator's truth of four players, lifts longer by 0.15 to 0.4 s).
 */
const slowBeginS = { dribble: 0.12, pass: 0.175, hold: 0.075 } as const;
/** Hands that take a pass give way by about this much. */
const passGiveM = 0.14;

/** One shot of the player with a habit. */
export function steadyShot(
  random: Random,
  shooter: SteadyShooter,
  { start, distanceM }: { readonly start: StartPlan; readonly distanceM: number },
  habit: ShotHabit = {},
): WristShotPlan {
  const { player } = shooter;
  const usual = drawWristShot(random.fork('usual'), player, { ball: { start } });
  const own = random.fork('own');
  const dropRad = radians(habit.forearmDropDeg ?? 0);
  const arm: ShotArm = {
    ...usual.arm,
    // Lowering the line from shoulder to wrist lowers the forearm with it.
    reachRad: usual.arm.reachRad - dropRad,
    inwardRad: radians(own.between(4, 10)),
    axisOffRad: [radians(own.boundedNormal(0, 1.5)), radians(own.boundedNormal(0, 1.5))],
    turnRad: 0,
    airTurnRad: radians((habit.airTurnDeg ?? 0) + own.boundedNormal(0, 2)),
    followThroughS:
      habit.followThroughS ?? Math.max(0.45, player.followThroughS * (1 + 0.12 * own.boundedNormal(0, 1))),
    followS: habit.followThroughS === undefined ? usual.arm.followS : Math.min(usual.arm.followS, 0.1),
  };
  const held = start.kind === 'routine' || start.kind === 'long-hold';
  const passed = !held && start.kind !== 'dribble';
  const stops = habit.stopS !== undefined;
  const lowM = held ? shooter.heldLowM + own.boundedNormal(0, 0.03) : usual.ball.dipHeightM;
  const ball: ShotPlan = drawShotPlan(random.fork('ball'), usualPractice, {
    ...usual.ball,
    start,
    distanceM,
    aim: 'through',
    releaseHeightM: releaseHeightM(player, arm),
    launchAngleDeg: shooter.launchAngleDeg + own.boundedNormal(0, 1.1) - (habit.launchDropDeg ?? 0),
    depthErrorM: own.boundedNormal(0, 0.06),
    sideErrorM: own.boundedNormal(0, 0.05),
    axisTiltDeg: shooter.tiltDeg + own.boundedNormal(0, 2.2) + (habit.tiltDeg ?? 0),
    rifleDeg: own.boundedNormal(0, 3),
    spinRps: (habit.spinRps ?? shooter.spinRps) * (1 + player.spinScatter * own.boundedNormal(0, 1)),
    motion: stops ? 'two' : 'one',
    highPauseS: stops ? Math.max(0.01, (habit.stopS ?? 0) + own.boundedNormal(0, 0.015)) : 0,
    lowPauseS: 0,
    dipHeightM: lowM,
    dipSideM: 0.5 * shooter.pickupSideM + own.boundedNormal(0, 0.02),
    gatherS: (held ? 0.35 : shooter.gatherS) + (habit.gatherS ?? 0) + own.boundedNormal(0, 0.02),
    liftS:
      shooter.liftS +
      (held ? heldRiseS : 0) +
      (habit.liftS === undefined ? 0 : slowBeginS[held ? 'hold' : passed ? 'pass' : 'dribble']) +
      (habit.liftS ?? 0) +
      own.boundedNormal(0, 0.02),
    setDropM: habit.sidePushMps === undefined ? player.setDropM * own.between(1.15, 1.3) : strayDropM,
    fadeS: own.between(0.01, 0.025),
    sidePushMps2: own.boundedNormal(0, 1),
    gatherTurnRadps: own.between(0.5, 3),
    afterPlayS: own.between(1, 1.6),
    manner: {
      pickupSideM: (habit.pickupSideM ?? shooter.pickupSideM) + own.boundedNormal(0, 0.03),
      passOffRad: radians(own.boundedNormal(0, 5)),
      turnMps2: own.between(9, 12),
      strayMps: own.boundedNormal(0, 0.05) - (habit.sidePushMps ?? 0) / pushShare,
      dropM: Math.max(0.03, (habit.dropM ?? shooter.dropM + (passed ? passGiveM : 0)) + own.boundedNormal(0, 0.025)),
      ...(habit.gatherS === undefined ? {} : { roundM: 0.25 }),
      ...(habit.offPlane === undefined
        ? {}
        : { loopM: -player.side * Math.min(widestLoopM, habit.offPlane / planarityPerM) }),
      ...(habit.overLeastMps === undefined ? {} : { overLeastMps: habit.overLeastMps + own.boundedNormal(0, 0.06) }),
    },
  });
  return { kind: 'shot', ball, arm };
}

/** @returns forearm above level at release that reach and elbow of a player give, rad, without swivel. */
export function forearmElevationRad({ arm, elbowReleaseRad, reachReleaseRad }: ArmPlayer): number {
  const inner = Math.asin((arm.upperArmM * Math.sin(elbowReleaseRad)) / reachM(arm, elbowReleaseRad));
  return reachReleaseRad + inner;
}
