/**
 * One player: body, habits of the arm and the sensor's place on it.
 *
 * Where the numbers come from (all ranges here are wider than the sources, for players of all ages):
 * - segment lengths as shares of stature: Drillis and Contini 1966, as in Winter, Biomechanics and Motor Control of Human
 *   Movement (shoulder height 0.818, upper arm 0.186, forearm 0.146, hand 0.108, shoulder half width 0.129); from memory
 * - masses of forearm and hand, 1.6 % and 0.6 % of the body: Winter, the same table; from memory
 * - statures from eight years on: WHO growth reference 2007 and adult players; from memory
 * - ball release before the top of the jump, jump heights from hardly any (free throw) to about 0.35 m, elbow angle at
 *   release 115–160°, wrist flexing 45–90° through release: Miller and Bartlett 1993 and 1996 (J. Sports Sciences 11:285,
 *   14:243), Okazaki and Rodacki 2012 (J. Sports Science and Medicine 11:231), Okazaki, Rodacki and Satern 2015 (Sports
 *   Biomechanics 14:190); from memory
 * - backspin 1.2–3 revolutions a second: as for the ball, common practice
 * - rolling gain from hand to spin: no source; a ball that rolled off fingers as long as its radius would turn as fast as they
 *   do, the push and the guiding hand take some of it (slip: hand-spin.ts)
 * - a relaxed hanging arm: elbow bent by 11–30°, hand a little in front and outside of the shoulder; no source
 * - skin and strap under a sensor swinging at 10–30 Hz: Forner-Cordero et al. 2008 (Medical Engineering and Physics 30:775)
 *   for masses on skin; damping no source
 */
import { Random } from '../random.ts';
import { add, multiplyQuat, type Quat, quatFromRotationVector, scale, type Vec3 } from '../vectors.ts';
import type { ArmLengths, Side } from './arm-chain.ts';
import { type FingerGrip, frictionRange } from './hand-spin.ts';

export const mountPlaces = ['wrist-forearm', 'back-of-hand'] as const;
export type MountPlace = (typeof mountPlaces)[number];

/** Where the sensor sits. Axes of forearm and hand as in arm-chain. */
export interface WristMount {
  readonly place: MountPlace;
  /** Wrist to sensor in forearm or hand axes. */
  readonly offsetM: Vec3;
  /** Turns sensor axes into forearm or hand axes. */
  readonly sensorToSegment: Quat;
  /** Swing of skin and strap. */
  readonly wobbleHz: number;
  readonly wobbleDamping: number;
  /** Share of the bone's acceleration that the swing feels; 0 for a sensor screwed to the bone. */
  readonly wobbleShare: number;
}

/** How a player lets the arm hang: bend of the elbow, and the line shoulder → wrist off the vertical. */
export interface ArmHang {
  readonly bendRad: number;
  readonly forwardRad: number;
  readonly outRad: number;
}

/** How a player turns the forearm about itself. */
export interface ForearmTurning {
  /** Axis of the turning off the line elbow → wrist, toward the forearm's y and z axes. */
  readonly offRad: readonly [number, number];
  /** Turn of the upper arm that comes with it, as a share. */
  readonly upperArmShare: number;
}

export interface ArmPlayer {
  readonly side: Side;
  readonly statureM: number;
  readonly massKg: number;
  readonly arm: ArmLengths;
  /** Height of the shoulders above the floor when standing. */
  readonly shoulderM: number;
  readonly halfWidthM: number;
  /** Mass that the ball's reaction has to move at wrist and hand, kg. */
  readonly effectiveMassKg: number;
  /** Turning of the hand by the ball's reaction: lever times ball mass over the hand's moment of inertia, 1/m. */
  readonly handLeverPerM: number;
  /** Stiffness of the arm against what it did not expect. */
  readonly armHz: number;
  readonly grip: FingerGrip;
  /** Usual spin, and its scatter from shot to shot as a share. */
  readonly spinRps: number;
  readonly spinScatter: number;
  readonly elbowReleaseRad: number;
  /** Elevation of the line shoulder → wrist at release. */
  readonly reachReleaseRad: number;
  readonly swivelRad: number;
  readonly hang: ArmHang;
  readonly turning: ForearmTurning;
  readonly jumpMps: number;
  readonly crouchM: number;
  /** Release at this share of the way from take-off to the top of the jump. */
  readonly releaseShare: number;
  readonly followThroughS: number;
  readonly tempo: number;
  readonly motion: 'one' | 'two';
  readonly setDropM: number;
  readonly dips: boolean;
  readonly mount: WristMount;
}

/** What a drawn player is held to. */
export interface PlayerDraw {
  readonly statureM: readonly [number, number];
  readonly side?: Side;
  readonly place?: MountPlace;
  readonly spinRps: readonly [number, number];
  /** 1 as drawn, 2 doubled, 0 none. */
  readonly wobbleFactor: number;
  readonly motion?: 'one' | 'two';
  readonly jumpMps?: number;
  readonly spinGain?: number;
}

export const usualPlayers: PlayerDraw = { statureM: [1.3, 2.1], spinRps: [1.3, 2.8], wobbleFactor: 1 };

/** Ball spin over hand rate of the average player while nothing slips, and how far players differ from it at most. */
export const usualSpinGain = 0.65;
export const spinGainSpread = 0.35;

export function drawArmPlayer(seed: string | number, options: Partial<PlayerDraw> = {}): ArmPlayer {
  const draw = { ...usualPlayers, ...options };
  const random = new Random(seed).fork('player');
  const statureM = random.between(...draw.statureM);
  const massKg = 22.5 * statureM * statureM * random.between(0.85, 1.2);
  const side: Side = draw.side ?? (random.chance(0.3) ? -1 : 1);
  const handMassKg = 0.006 * massKg;
  const forearmMassKg = 0.016 * massKg;
  const handM = 0.108 * statureM * random.between(0.95, 1.06);
  const jumps = random.chance(0.8);
  const own = random.fork('habits');
  const hangs = random.fork('hang');
  const grips = random.fork('grip');
  return {
    side,
    statureM,
    massKg,
    arm: {
      upperArmM: 0.186 * statureM * random.between(0.96, 1.04),
      forearmM: 0.146 * statureM * random.between(0.96, 1.05),
      handM,
    },
    shoulderM: 0.818 * statureM * random.between(0.985, 1.015),
    halfWidthM: 0.115 * statureM,
    effectiveMassKg: (handMassKg + forearmMassKg * random.between(0.35, 0.9)) * random.between(1, 1.3),
    handLeverPerM: random.between(4, 12),
    armHz: random.between(3, 5.5),
    grip: {
      rollGain: draw.spinGain ?? usualSpinGain * (1 + random.between(-spinGainSpread, spinGainSpread)),
      rollScatter: grips.between(0.03, 0.055),
      friction: grips.between(...frictionRange),
    },
    spinRps: own.between(...draw.spinRps),
    spinScatter: own.between(0.04, 0.1),
    elbowReleaseRad: radians(own.between(118, 142)),
    reachReleaseRad: radians(own.between(38, 54)),
    swivelRad: radians(own.between(-5, 25)),
    hang: {
      bendRad: radians(hangs.between(11, 30)),
      forwardRad: radians(hangs.between(-3, 8)),
      outRad: radians(hangs.between(2, 9)),
    },
    turning: {
      offRad: [radians(hangs.boundedNormal(0, 2)), radians(hangs.boundedNormal(0, 2))],
      upperArmShare: hangs.between(0, 0.2),
    },
    jumpMps: draw.jumpMps ?? (jumps ? own.between(0.7, 2.5) : 0),
    crouchM: statureM * own.between(0.06, 0.13),
    releaseShare: own.between(0.45, 1),
    followThroughS: own.between(0.3, 1.2),
    tempo: own.between(0.85, 1.25),
    motion: draw.motion ?? own.pick(['one', 'two']),
    setDropM: own.between(0.14, 0.22) * statureM,
    dips: own.chance(0.75),
    mount: drawMount(random.fork('mount'), handM, draw),
  };
}

function drawMount(random: Random, handM: number, draw: PlayerDraw): WristMount {
  const place = draw.place ?? random.pick(mountPlaces);
  const onHand = place === 'back-of-hand';
  // Around the forearm the strap may sit anywhere; on the back of the hand only near its middle.
  const around = radians(onHand ? random.normal(0, 12) : random.between(-180, 180));
  const depthM = onHand ? random.between(0.014, 0.022) : random.between(0.024, 0.034);
  const alongM = onHand ? handM * random.between(0.2, 0.4) : -random.between(0.025, 0.07);
  const offsetM: Vec3 = [alongM, -depthM * Math.sin(around), depthM * Math.cos(around)];
  // The case lies flat on the skin, turned by any angle, with a few degrees of tilt and either face up.
  const flat = multiplyQuat(
    quatFromRotationVector([around, 0, 0]),
    quatFromRotationVector([0, 0, random.between(-Math.PI, Math.PI)]),
  );
  const faced = multiplyQuat(flat, quatFromRotationVector([random.chance(0.2) ? Math.PI : 0, 0, 0]));
  const tilt = scale(add(random.direction(), [0, 0, 0]), radians(random.between(0, 15)));
  return {
    place,
    offsetM,
    sensorToSegment: multiplyQuat(faced, quatFromRotationVector(tilt)),
    wobbleHz: random.between(10, 30),
    wobbleDamping: random.between(0.15, 0.45),
    wobbleShare: random.between(0.15, 0.45) * draw.wobbleFactor,
  };
}

export function radians(degrees: number): number {
  return (degrees * Math.PI) / 180;
}
