/**
 * A simulated practice as a sensor on the wrist sees it, and as two sensors see it, one in the ball.
 *
 *     const plan = drawWristPlan(7, { shots: 20, decoys: 20 });
 *     const { block, truth, traits } = simulateWristPractice({ seed: 7, plan });
 *     const { ball, wrist } = simulatePairedPractice({ seed: 7, plan });   // plan with pairedDecoyKinds only
 *
 * Both sensors feel one motion: the hand holds the ball where the ball is, the ball's force on the hand is the hand's on the
 * ball, and the ball spins as the fingers drag it (hand-spin.ts). The whole depends on the seed alone.
 */
import { standardGravityMps2 } from '../../foundation/constants.ts';
import type { ImuBlock, SensorTraits } from '../../foundation/imu-block.ts';
import type { MotionSegment } from '../ball-state.ts';
import { type LossWindow, Packetiser, type SimulatedPacket } from '../packets.ts';
import { DeviceClock, packetsToBlock, type SimulatedPractice } from '../practice.ts';
import { withoutGyro } from '../practice-csv.ts';
import type { DecoyTruth, PracticeTruth, ShotTruth } from '../practice-truth.ts';
import { Random } from '../random.ts';
import { Sensing } from '../sensing.ts';
import { drawSensor, type SensorModel, traitsOf } from '../sensor-model.ts';
import { type Switches, switchesOn } from '../switches.ts';
import type { ArmPlayer } from './arm-player.ts';
import { type PlayedArmAct, playArm } from './play-arm.ts';
import { movesWithBall, type WristActPlan, type WristPracticePlan } from './wrist-plan.ts';
import type { WristPlayerTruth, WristPracticeTruth, WristShotTruth } from './wrist-practice-truth.ts';
import { drawWristSensor, wornSensor } from './wrist-sensor.ts';
import { measureWristTruth, type RawWristShotTruth } from './wrist-truth.ts';

/** Loses every packet around an event of one shot. */
export interface WristEventLoss {
  readonly shot: number;
  readonly event: 'pickup' | 'lift' | 'release' | 'landing';
  readonly beforeS: number;
  readonly afterS: number;
}

export interface WristPracticeOptions {
  readonly seed: string | number;
  readonly plan: WristPracticePlan;
  /** Worn on the plan's mount; drawn from the seed where it is not given. */
  readonly sensor?: SensorModel;
  /** False for an accelerometer alone. */
  readonly hasGyro?: boolean;
  readonly switches?: Switches;
  readonly gravityMps2?: number;
  /** Swing of skin and strap: 1 as drawn, 2 doubled, 0 none. */
  readonly wobbleFactor?: number;
  readonly eventLosses?: readonly WristEventLoss[];
}

export interface PairedPracticeOptions extends WristPracticeOptions {
  readonly ballSensor?: SensorModel;
}

/** What one act gave at the wrist. */
export interface WristChunk {
  readonly packets: readonly SimulatedPacket[];
  readonly shots: readonly WristShotTruth[];
  readonly decoys: readonly DecoyTruth[];
  readonly timeZeroTick: number | null;
}

export interface BallChunk {
  readonly packets: readonly SimulatedPacket[];
  readonly shots: readonly ShotTruth[];
  readonly decoys: readonly DecoyTruth[];
  readonly timeZeroTick: number | null;
}

export interface SimulatedWristPractice {
  readonly sensor: SensorModel;
  readonly traits: SensorTraits;
  /** Every received sample on the device's own clock. */
  readonly block: ImuBlock;
  readonly truth: WristPracticeTruth;
}

/** The motion of arm and ball alone, act by act; it does not depend on the sensor's faults. */
export function wristActs(options: WristPracticeOptions): Generator<PlayedArmAct> {
  return playArm(worn(options), options.seed, {
    ballSize: options.plan.ballSize,
    gravityMps2: options.gravityMps2 ?? standardGravityMps2,
    switches: options.switches ?? switchesOn(),
  });
}

/** Sensor of a practice, mounted. */
export function wristSensorOf(options: WristPracticeOptions): SensorModel {
  const { mount } = options.plan.player;
  return options.sensor ? wornSensor(options.sensor, mount) : drawWristSensor(options.seed, mount);
}

export function ballSensorOf(options: PairedPracticeOptions): SensorModel {
  return options.ballSensor ?? drawSensor(options.seed);
}

/** Plays the acts one by one; nothing of the past is kept. */
export function* streamWristPractice(options: WristPracticeOptions): Generator<WristChunk> {
  const ear = wristEar(options);
  for (const act of wristActs(options)) yield ear.hear(act);
}

/** The same for both sensors at once. */
export function* streamPairedPractice(
  options: PairedPracticeOptions,
): Generator<{ readonly ball: BallChunk; readonly wrist: WristChunk }> {
  for (const act of options.plan.acts) {
    if (act.kind === 'move' && movesWithBall.includes(act.move)) {
      throw new RangeError(
        `a ball sensor cannot tell of "${act.move}", whose ball is not simulated: draw the plan with pairedDecoyKinds`,
      );
    }
  }
  const wrist = wristEar(options);
  const ball = ballEar(options);
  for (const act of wristActs(options)) yield { ball: ball.hear(act), wrist: wrist.hear(act) };
}

/** Plays a whole practice and keeps what the wrist sensor gave. */
export function simulateWristPractice(options: WristPracticeOptions): SimulatedWristPractice {
  return keepWrist(options, streamWristPractice(options));
}

/** Plays a whole practice and keeps what both sensors gave; the shots of both truths are the same, in the same order. */
export function simulatePairedPractice(options: PairedPracticeOptions): {
  readonly ball: SimulatedPractice;
  readonly wrist: SimulatedWristPractice;
} {
  const ballChunks: BallChunk[] = [];
  const wristChunks: WristChunk[] = [];
  for (const { ball, wrist } of streamPairedPractice(options)) {
    ballChunks.push(ball);
    wristChunks.push(wrist);
  }
  const sensor = ballSensorOf(options);
  const { packets, shots, decoys, timeZeroTick } = joined(ballChunks);
  const truth: PracticeTruth = { schemaVersion: 1, seed: String(options.seed), timeZeroTick, shots, decoys };
  return {
    ball: { sensor, traits: traitsOf(sensor), block: packetsToBlock(packets, sensor, timeZeroTick), truth },
    wrist: keepWrist(options, wristChunks),
  };
}

export function playerTruth({ side, statureM, arm, grip, mount }: ArmPlayer): WristPlayerTruth {
  return {
    hand: side === 1 ? 'right' : 'left',
    mount: mount.place,
    statureM,
    forearmM: arm.forearmM,
    spinGain: grip.rollGain,
    sensorToSegment: mount.sensorToSegment,
    offsetM: mount.offsetM,
  };
}

function keepWrist(options: WristPracticeOptions, chunks: Iterable<WristChunk>): SimulatedWristPractice {
  const sensor = wristSensorOf(options);
  const { packets, shots, decoys, timeZeroTick } = joined(chunks);
  const block = packetsToBlock(packets, sensor, timeZeroTick);
  const traits = traitsOf(sensor);
  const hasGyro = options.hasGyro ?? true;
  return {
    sensor,
    traits: hasGyro ? traits : { ...traits, gyroRangeRadps: null },
    block: hasGyro ? block : withoutGyro(block),
    truth: {
      schemaVersion: 1,
      seed: String(options.seed),
      timeZeroTick,
      player: playerTruth(options.plan.player),
      shots,
      decoys,
    },
  };
}

function joined<Shot>(
  chunks: Iterable<{
    readonly packets: readonly SimulatedPacket[];
    readonly shots: readonly Shot[];
    readonly decoys: readonly DecoyTruth[];
    readonly timeZeroTick: number | null;
  }>,
) {
  const packets: SimulatedPacket[] = [];
  const shots: Shot[] = [];
  const decoys: DecoyTruth[] = [];
  let timeZeroTick = 0;
  for (const chunk of chunks) {
    packets.push(...chunk.packets);
    shots.push(...chunk.shots);
    decoys.push(...chunk.decoys);
    timeZeroTick = chunk.timeZeroTick ?? timeZeroTick;
  }
  return { packets, shots, decoys, timeZeroTick };
}

function worn({ plan, wobbleFactor = 1 }: WristPracticeOptions): WristPracticePlan {
  const { player } = plan;
  const mount = { ...player.mount, wobbleShare: wobbleFactor * player.mount.wobbleShare };
  return { ...plan, player: { ...player, mount } };
}

/** One sensor with its radio: takes acts, gives packets and the truth on its own clock once that is known. */
class Ear<Raw, Shot> {
  readonly #sensing: Sensing;
  readonly #packetiser: Packetiser;
  readonly #clock: DeviceClock;
  readonly #of: {
    readonly segments: (act: PlayedArmAct) => readonly MotionSegment[];
    readonly shot: (act: PlayedArmAct) => Raw | null;
    readonly onDevice: (raw: Raw, index: number, clock: DeviceClock) => Shot;
    readonly losses: (raw: Raw, index: number) => readonly LossWindow[];
  };
  #held: { act: PlayedArmAct; raw: Raw | null }[] = [];
  #heard = 0;
  #told = 0;

  constructor(
    sensor: SensorModel,
    random: Random,
    options: WristPracticeOptions,
    of: {
      readonly segments: (act: PlayedArmAct) => readonly MotionSegment[];
      readonly shot: (act: PlayedArmAct) => Raw | null;
      readonly onDevice: (raw: Raw, index: number, clock: DeviceClock) => Shot;
      readonly losses: (raw: Raw, index: number) => readonly LossWindow[];
    },
  ) {
    const gravityMps2 = options.gravityMps2 ?? standardGravityMps2;
    this.#sensing = new Sensing(sensor, options.switches ?? switchesOn(), random.fork('sensing'), gravityMps2);
    this.#packetiser = new Packetiser(sensor, random.fork('link'));
    this.#clock = new DeviceClock(sensor);
    this.#of = of;
  }

  hear(act: PlayedArmAct) {
    const raw = this.#of.shot(act);
    const losses = raw === null ? [] : this.#of.losses(raw, this.#heard++);
    const packets = this.#packetiser.push(this.#sensing.read(this.#of.segments(act)), losses);
    this.#clock.see(packets);
    this.#held.push({ act, raw });
    const shots: Shot[] = [];
    const decoys: DecoyTruth[] = [];
    if (this.#clock.zeroTick !== null) {
      for (const told of this.#held) {
        if (told.raw !== null) shots.push(this.#of.onDevice(told.raw, this.#told++, this.#clock));
        else {
          const kind = decoyKindOf(told.act.plan);
          const { startS, endS } = told.act;
          if (kind) decoys.push({ kind, startS: this.#clock.deviceS(startS), endS: this.#clock.deviceS(endS) });
        }
      }
      this.#held = [];
    }
    return { packets, shots, decoys, timeZeroTick: this.#clock.zeroTick };
  }
}

function decoyKindOf(plan: WristActPlan): string | null {
  if (plan.kind === 'move') return plan.move;
  if (plan.kind !== 'ball-play') return null;
  return plan.role === 'catches' ? 'catch' : plan.ball.kind;
}

function wristEar(options: WristPracticeOptions) {
  const random = new Random(options.seed).fork('wrist');
  return new Ear<RawWristShotTruth, WristShotTruth>(wristSensorOf(options), random, options, {
    segments: (act) => act.sensorSegments,
    shot: (act) => (act.shot ? measureWristTruth(act) : null),
    onDevice: (raw, index, clock) => {
      const mapped = (timeS: number | null) => (timeS === null ? null : clock.deviceS(timeS));
      return {
        index,
        ...raw,
        pickupS: mapped(raw.pickupS),
        liftS: mapped(raw.liftS),
        releaseS: clock.deviceS(raw.releaseS),
        takeOffS: mapped(raw.takeOffS),
        landingS: mapped(raw.landingS),
        setting: { ...raw.setting, wristRestS: mapped(raw.setting.wristRestS) },
      };
    },
    losses: (raw, index) =>
      (options.eventLosses ?? []).flatMap(({ shot, event, beforeS, afterS }) => {
        const at = { pickup: raw.pickupS, lift: raw.liftS, release: raw.releaseS, landing: raw.landingS }[event];
        return shot === index && at !== null ? [{ fromS: at - beforeS, toS: at + afterS }] : [];
      }),
  });
}

function ballEar(options: PairedPracticeOptions) {
  return new Ear<NonNullable<PlayedArmAct['ball']['shot']>, ShotTruth>(
    ballSensorOf(options),
    new Random(options.seed),
    options,
    {
      segments: (act) => act.ball.segments,
      shot: (act) => act.ball.shot,
      onDevice: (raw, index, clock) => clock.onDevice(raw, index),
      losses: () => [],
    },
  );
}
