import { standardGravityMps2 } from '../../foundation/constants.ts';
import { ballBodies } from '../ball-body.ts';
import { drawDecoyPlan, drawShotPlan, usualPractice } from '../draw-plan.ts';
import type { DecoyKind, DecoyPlan, ShotPlan, StartPlan } from '../practice-plan.ts';
import { Random } from '../random.ts';
import { reachM } from './arm-chain.ts';
import { type ArmPlayer, drawArmPlayer, type PlayerDraw, radians } from './arm-player.ts';
import { drawShotGrip, type ShotGrip } from './hand-spin.ts';

/** What the arm and the body do in one shot, besides what the ball does. */
export interface ShotArm {
  readonly grip: ShotGrip;
  /** Axis of the hand's turning off the (reversed) axis of the ball's: about the vertical and about the throw. */
  readonly axisOffRad: readonly [number, number];
  /** Pitch of the hand at release: 0 fingers up, positive fingers forward. */
  readonly handPitchRad: number;
  /** How far the hand turns from the cocked position to release. */
  readonly cockRad: number;
  /** Rate of the hand's turning still growing (positive) or already falling at release, share per second. */
  readonly snapGrowthPerS: number;
  /** Pitch of the hand in the follow-through, and the time it takes to get there. */
  readonly followPitchRad: number;
  readonly followS: number;
  readonly elbowReleaseRad: number;
  readonly elbowEndRad: number;
  readonly elbowRateRadps: number;
  /** Shoulder → wrist at release: elevation, heading toward the middle of the body, and how fast it still rises. */
  readonly reachRad: number;
  readonly inwardRad: number;
  readonly riseRadps: number;
  /** Least speed of the wrist toward the ring at release. */
  readonly forwardMps: number;
  readonly swivelRad: number;
  readonly jumpMps: number;
  readonly releaseShare: number;
  readonly crouchM: number;
  readonly toeM: number;
  readonly landS: number;
  readonly driftMps: number;
  /** Turn of the body in the air, after the release. */
  readonly turnRad: number;
  /** Turn of a body that turns from take-off to landing, in place of it. */
  readonly airTurnRad?: number;
  /** From release until the arm starts down, and how long that takes. */
  readonly followThroughS: number;
  readonly fallS: number;
  /** Heading of the body while it dribbles. */
  readonly dribbleYawRad: number;
}

export interface WristShotPlan {
  readonly kind: 'shot';
  readonly ball: ShotPlan;
  readonly arm: ShotArm;
}

/** Acts with a ball that are no shots; the sensor's arm throws or catches. */
export interface BallPlayPlan {
  readonly kind: 'ball-play';
  readonly ball: DecoyPlan;
  readonly role: 'throws' | 'catches';
}

export const armMoves = [
  'clap',
  'wave',
  'walk',
  'run',
  'drink',
  'gesture',
  'jump-reach',
  'layup',
  'rebound',
  'overhead-pass',
] as const;
export type ArmMove = (typeof armMoves)[number];

/** Acts of the arm alone; the ball, where there is one, lies in other hands. `size` from 0 to 1. */
export interface ArmMovePlan {
  readonly kind: 'move';
  readonly move: ArmMove;
  readonly size: number;
}

/** The wearer shows the arm as told at the start: hanging, then the forearm turned to and fro `turns` times. */
export interface ArmShowPlan {
  readonly kind: 'show';
  readonly hangS: number;
  readonly turns: number;
  /** One turn to and fro. */
  readonly turnS: number;
  readonly restS: number;
}

export interface WristIdlePlan {
  readonly kind: 'idle';
  readonly durationS: number;
}

export type WristActPlan = WristShotPlan | BallPlayPlan | ArmMovePlan | ArmShowPlan | WristIdlePlan;

/** Ball acts that a wrist can be part of. */
export const wristBallPlays = [
  'chest-pass',
  'bounce-pass',
  'lob-pass',
  'spin-out',
  'self-toss',
  'thrown-up',
  'carry',
  'hand-to-hand',
  'pump-fake',
  'dribbling',
  'drop',
  'slam',
] as const satisfies readonly DecoyKind[];
export const wristDecoyKinds = [...wristBallPlays, 'catch', ...armMoves] as const;
export type WristDecoyKind = (typeof wristDecoyKinds)[number];

/** Moves that need a ball of their own, which a ball sensor in the same practice would have to feel. */
export const movesWithBall: readonly WristDecoyKind[] = ['layup', 'rebound', 'overhead-pass'];
/** Decoys that a ball sensor and a wrist sensor can tell of the same practice. */
export const pairedDecoyKinds = wristDecoyKinds.filter((kind) => !movesWithBall.includes(kind)) as [
  WristDecoyKind,
  ...WristDecoyKind[],
];

export interface WristPracticeDraw {
  readonly shots: number;
  readonly decoys: number;
  /** Share of the practices that begin with the wearer showing the arm. */
  readonly showShare: number;
  readonly player: Partial<PlayerDraw>;
  readonly startWeights: { readonly dribble: number; readonly catch: number; readonly hold: number };
  readonly decoyKinds: readonly [WristDecoyKind, ...WristDecoyKind[]];
}

export const usualWristPractice: WristPracticeDraw = {
  shots: 20,
  decoys: 20,
  showShare: 2 / 3,
  player: {},
  startWeights: usualPractice.startWeights,
  decoyKinds: wristDecoyKinds,
};

export interface WristPracticePlan {
  readonly player: ArmPlayer;
  readonly ballSize: 7 | 6 | 5;
  readonly acts: readonly WristActPlan[];
}

/** Draws a player and a mixture of shots and decoys in random order; the same seed gives the same. */
export function drawWristPlan(seed: string | number, options: Partial<WristPracticeDraw> = {}): WristPracticePlan {
  const draw = { ...usualWristPractice, ...options };
  const random = new Random(seed).fork('wrist practice');
  const player = drawArmPlayer(seed, draw.player);
  const acts: WristActPlan[] = [];
  for (let i = 0; i < draw.shots; i++) acts.push(drawWristShot(random.fork(`shot ${i}`), player, {}, draw));
  for (let i = 0; i < draw.decoys; i++) acts.push(drawWristDecoy(random.fork(`decoy ${i}`), draw.decoyKinds));
  for (let i = acts.length - 1; i > 0; i--) {
    const j = random.whole(0, i);
    const swapped = acts[i] as WristActPlan;
    acts[i] = acts[j] as WristActPlan;
    acts[j] = swapped;
  }
  const show = random.fork('show');
  if (show.chance(draw.showShare)) acts.unshift(drawArmShow(show));
  return { player, ballSize: ballSizeFor(player.statureM), acts };
}

export function drawArmShow(random: Random): ArmShowPlan {
  return {
    kind: 'show',
    hangS: random.between(2.2, 4.5),
    turns: random.whole(3, 6),
    turnS: random.between(0.8, 1.8),
    restS: random.between(0.3, 1.5),
  };
}

export function ballSizeFor(statureM: number): 7 | 6 | 5 {
  return statureM < 1.45 ? 5 : statureM < 1.7 ? 6 : 7;
}

export function drawWristDecoy(
  random: Random,
  kinds: readonly [WristDecoyKind, ...WristDecoyKind[]] = wristDecoyKinds,
): WristActPlan {
  const kind = random.pick(kinds);
  const move = armMoves.find((one) => one === kind);
  if (move) return { kind: 'move', move, size: random.unit() };
  if (kind === 'catch') {
    const pass = random.pick(['chest-pass', 'bounce-pass', 'lob-pass'] as const);
    return { kind: 'ball-play', ball: drawDecoyPlan(random, [pass]), role: 'catches' };
  }
  return { kind: 'ball-play', ball: drawDecoyPlan(random, [kind as DecoyKind]), role: 'throws' };
}

/** What may be fixed in a drawn shot. */
export interface FixedWristShot {
  readonly ball?: Partial<ShotPlan>;
  readonly arm?: Partial<ShotArm>;
}

/** Draws one shot of a player; what `fixed` holds stays as given. */
export function drawWristShot(
  random: Random,
  player: ArmPlayer,
  fixed: FixedWristShot = {},
  draw: Pick<WristPracticeDraw, 'startWeights'> = usualWristPractice,
): WristShotPlan {
  const arm = { ...drawShotArm(random.fork('arm'), player), ...fixed.arm };
  const ballRandom = random.fork('ball');
  const child = player.statureM < 1.5;
  const usual = { ...usualPractice, startWeights: draw.startWeights, hoopHeightM: child ? 2.6 : 3.05 };
  const start: StartPlan = fixed.ball?.start ?? drawShotPlan(ballRandom.fork('start'), usual).start;
  const held = start.kind === 'routine' || start.kind === 'long-hold' || start.kind === 'overhead-hold';
  const low = player.dips
    ? held
      ? random.between(0.46, 0.58)
      : start.kind === 'dribble'
        ? random.between(0.4, 0.55)
        : random.between(0.44, 0.6)
    : random.between(0.56, 0.66);
  const spinShare = 1 + player.spinScatter * random.boundedNormal(0, 1);
  const liftS = player.tempo * random.between(0.3, 0.5);
  const ball = drawShotPlan(ballRandom, usual, {
    start,
    distanceM: child ? random.between(2.8, 4.4) : random.between(4.2, 6.9),
    releaseHeightM: releaseHeightM(player, arm),
    dipHeightM: low * player.statureM,
    dipSideM: random.normal(0, 0.06),
    spinRps: player.spinRps * spinShare,
    motion: player.motion,
    highPauseS: player.motion === 'two' && random.chance(0.75) ? random.between(0.03, 0.3) : 0,
    setDropM: player.setDropM * (player.motion === 'one' ? 1.25 : 1) * random.between(0.93, 1.07),
    liftS,
    ...fixed.ball,
  });
  return { kind: 'shot', ball, arm };
}

function drawShotArm(random: Random, player: ArmPlayer): ShotArm {
  const near = (mean: number, sigma: number) => random.boundedNormal(mean, sigma, 2);
  const elbowReleaseRad = near(player.elbowReleaseRad, radians(3));
  const jumpMps = player.jumpMps * (1 + 0.06 * random.boundedNormal(0, 1, 2));
  return {
    grip: drawShotGrip(random.fork('grip'), player.grip),
    axisOffRad: [radians(random.boundedNormal(0, 2.5)), radians(random.boundedNormal(0, 2.5))],
    handPitchRad: radians(random.between(-28, 4)),
    cockRad: radians(random.between(40, 62)),
    snapGrowthPerS: random.between(-3, 6),
    followPitchRad: radians(random.between(55, 95)),
    followS: random.between(0.09, 0.16),
    elbowReleaseRad,
    elbowEndRad: Math.min(radians(172), elbowReleaseRad + radians(random.between(14, 32))),
    elbowRateRadps: random.between(11, 17),
    reachRad: near(player.reachReleaseRad, radians(2.5)),
    inwardRad: radians(random.between(0, 14)),
    riseRadps: random.between(0.3, 2.3),
    forwardMps: random.between(0.9, 1.7),
    swivelRad: near(player.swivelRad, radians(3)),
    jumpMps,
    releaseShare: Math.min(1.1, Math.max(0.3, near(player.releaseShare, 0.08))),
    crouchM: player.crouchM * random.between(0.85, 1.15),
    toeM: player.statureM * random.between(0.02, 0.045),
    landS: random.between(0.13, 0.26),
    driftMps: random.between(-0.1, 0.5),
    turnRad: random.chance(0.4) ? radians(random.normal(0, 12)) : 0,
    followThroughS: Math.min(1.5, Math.max(0.22, player.followThroughS * (1 + 0.3 * random.boundedNormal(0, 1)))),
    fallS: random.between(0.35, 0.7),
    dribbleYawRad: radians(random.normal(0, 25)),
  };
}

/** Height of the ball's centre at release that the player's body and arm give. */
export function releaseHeightM(player: ArmPlayer, arm: ShotArm): number {
  const radiusM = ballBodies[ballSizeFor(player.statureM)].radiusM;
  const fingersM = 0.9 * player.arm.handM;
  const handM = fingersM * Math.cos(arm.handPitchRad) - (radiusM + 0.012) * Math.sin(arm.handPitchRad);
  const jumpM = ((arm.jumpMps * arm.jumpMps) / (2 * standardGravityMps2)) * arm.releaseShare * (2 - arm.releaseShare);
  return player.shoulderM + arm.toeM + jumpM + reachM(player.arm, arm.elbowReleaseRad) * Math.sin(arm.reachRad) + handM;
}
