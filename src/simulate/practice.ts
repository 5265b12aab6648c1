/**
 * A simulated practice: acts of play in, what one ball sensor gives and what truly happened out.
 *
 *     const { block, truth, traits } = simulatePractice({ seed: 7, acts: drawPracticePlan(7, { shots: 20, decoys: 10 }) });
 *
 * `streamPractice` gives the same act by act without holding the rest. The whole depends on the seed alone, bit for bit.
 */
import { standardGravityMps2 } from '../foundation/constants.ts';
import { type ImuBlock, type SensorTraits, sampleFlag } from '../foundation/imu-block.ts';
import type { Air } from './ball-body.ts';
import { type LossWindow, Packetiser, type SimulatedPacket, wrapTick } from './packets.ts';
import { type PlayedAct, playActs } from './play-acts.ts';
import type { ActPlan } from './practice-plan.ts';
import type { DecoyTruth, PracticeTruth, ShotTruth } from './practice-truth.ts';
import { Random } from './random.ts';
import { Sensing } from './sensing.ts';
import { drawSensor, type SensorModel, traitsOf } from './sensor-model.ts';
import type { RawShotTruth } from './shot-truth.ts';
import { type Switches, switchesOn } from './switches.ts';

/** Loses every packet around an event of one shot. */
export interface EventLoss {
  readonly shot: number;
  readonly event: 'pickup' | 'release' | 'contact';
  readonly beforeS: number;
  readonly afterS: number;
}

export interface PracticeOptions {
  readonly seed: string | number;
  readonly acts: Iterable<ActPlan>;
  /** Drawn from the seed where it is not given. */
  readonly sensor?: SensorModel;
  readonly switches?: Switches;
  readonly ballSize?: 7 | 6 | 5;
  readonly gravityMps2?: number;
  readonly air?: Partial<Air>;
  readonly eventLosses?: readonly EventLoss[];
}

/** What one act gave. */
export interface PracticeChunk {
  readonly packets: readonly SimulatedPacket[];
  readonly shots: readonly ShotTruth[];
  readonly decoys: readonly DecoyTruth[];
  /** Device tick of time zero; null until a packet was received. */
  readonly timeZeroTick: number | null;
}

export interface SimulatedPractice {
  readonly sensor: SensorModel;
  readonly traits: SensorTraits;
  /** Every received sample on the device's own clock. */
  readonly block: ImuBlock;
  readonly truth: PracticeTruth;
}

/** The motion of a practice alone, act by act; it does not depend on the sensor. */
export function practiceActs(options: PracticeOptions): Generator<PlayedAct> {
  return playActs(options.acts, new Random(options.seed).fork('play'), {
    ballSize: options.ballSize ?? 7,
    gravityMps2: options.gravityMps2 ?? standardGravityMps2,
    switches: options.switches ?? switchesOn(),
    ...(options.air ? { air: options.air } : {}),
  });
}

/** Plays the acts one by one; nothing of the past is kept. */
export function* streamPractice(options: PracticeOptions): Generator<PracticeChunk> {
  const random = new Random(options.seed);
  const sensor = options.sensor ?? drawSensor(options.seed);
  const switches = options.switches ?? switchesOn();
  const gravityMps2 = options.gravityMps2 ?? standardGravityMps2;
  const sensing = new Sensing(sensor, switches, random.fork('sensing'), gravityMps2);
  const packetiser = new Packetiser(sensor, random.fork('link'));
  const clock = new DeviceClock(sensor);
  const acts = practiceActs(options);
  let shotCount = 0;
  let held: PlayedAct[] = [];
  for (const act of acts) {
    const losses = act.shot
      ? lossWindows(act.shot, shotCount + held.filter((h) => h.shot).length, options.eventLosses ?? [])
      : [];
    const packets = packetiser.push(sensing.read(act.segments), losses);
    clock.see(packets);
    held.push(act);
    const shots: ShotTruth[] = [];
    const decoys: DecoyTruth[] = [];
    if (clock.zeroTick !== null) {
      for (const told of held) {
        if (told.shot) shots.push(clock.onDevice(told.shot, shotCount++));
        else if (told.plan.kind !== 'idle') {
          decoys.push({ kind: told.plan.kind, startS: clock.deviceS(told.startS), endS: clock.deviceS(told.endS) });
        }
      }
      held = [];
    }
    yield { packets, shots, decoys, timeZeroTick: clock.zeroTick };
  }
}

/** Plays a whole practice and keeps it. */
export function simulatePractice(options: PracticeOptions): SimulatedPractice {
  const sensor = options.sensor ?? drawSensor(options.seed);
  const packets: SimulatedPacket[] = [];
  const shots: ShotTruth[] = [];
  const decoys: DecoyTruth[] = [];
  let timeZeroTick = 0;
  for (const chunk of streamPractice({ ...options, sensor })) {
    packets.push(...chunk.packets);
    shots.push(...chunk.shots);
    decoys.push(...chunk.decoys);
    timeZeroTick = chunk.timeZeroTick ?? 0;
  }
  const truth: PracticeTruth = { schemaVersion: 1, seed: String(options.seed), timeZeroTick, shots, decoys };
  return { sensor, traits: traitsOf(sensor), block: packetsToBlock(packets, sensor, timeZeroTick), truth };
}

/**
 * Received samples as one block, times in device seconds since `timeZeroTick`.
 *
 * @param lostBefore whether packets were lost between what came before these and the first of them.
 */
export function packetsToBlock(
  packets: readonly SimulatedPacket[],
  sensor: SensorModel,
  timeZeroTick: number,
  lostBefore = false,
): ImuBlock {
  let length = 0;
  for (const packet of packets) if (!packet.lost) length += packet.length;
  const block = {
    length,
    timeS: new Float64Array(length),
    accelMps2: new Float64Array(3 * length),
    gyroRadps: new Float64Array(3 * length),
    flags: new Uint8Array(length),
  };
  const zeroS = zeroDeviceS(sensor, timeZeroTick);
  let at = 0;
  let gap = lostBefore;
  for (const packet of packets) {
    if (packet.lost) {
      gap = true;
      continue;
    }
    for (let i = 0; i < packet.length; i++, at++) {
      block.timeS[at] = (packet.deviceTimeS[i] as number) - zeroS;
      block.accelMps2.set(packet.values.subarray(6 * i, 6 * i + 3), 3 * at);
      block.gyroRadps.set(packet.values.subarray(6 * i + 3, 6 * i + 6), 3 * at);
      block.flags[at] = (packet.clipped[i] as number) | (gap && i === 0 && at > 0 ? sampleFlag.gapBefore : 0);
    }
    gap = false;
  }
  return block;
}

/** Device seconds since session time zero at which the time of truth is zero. */
function zeroDeviceS(sensor: SensorModel, timeZeroTick: number): number {
  return wrapTick(timeZeroTick - sensor.link.startTick) * sensor.link.tickUnitS;
}

/** Turns session seconds into seconds of the device's clock since the first received sample. */
export class DeviceClock {
  readonly #sensor: SensorModel;
  zeroTick: number | null = null;

  constructor(sensor: SensorModel) {
    this.#sensor = sensor;
  }

  see(packets: readonly SimulatedPacket[]): void {
    if (this.zeroTick !== null) return;
    const first = packets.find((packet) => !packet.lost);
    const { startTick, tickUnitS } = this.#sensor.link;
    if (first) this.zeroTick = wrapTick(startTick + Math.round((first.deviceTimeS[0] as number) / tickUnitS));
  }

  deviceS(trueS: number): number {
    return trueS * (1 + this.#sensor.link.clockDrift) - zeroDeviceS(this.#sensor, this.zeroTick ?? 0);
  }

  onDevice(shot: RawShotTruth, index: number): ShotTruth {
    const mapped = (timeS: number | null) => (timeS === null ? null : this.deviceS(timeS));
    return {
      index,
      ...shot,
      pickupS: mapped(shot.pickupS),
      liftS: mapped(shot.liftS),
      releaseS: this.deviceS(shot.releaseS),
      contactS: mapped(shot.contactS),
    };
  }
}

function lossWindows(shot: RawShotTruth, index: number, losses: readonly EventLoss[]): LossWindow[] {
  const windows: LossWindow[] = [];
  for (const loss of losses) {
    if (loss.shot !== index) continue;
    const atS = loss.event === 'pickup' ? shot.pickupS : loss.event === 'release' ? shot.releaseS : shot.contactS;
    if (atS !== null) windows.push({ fromS: atS - loss.beforeS, toS: atS + loss.afterS });
  }
  return windows;
}
