/** The last thin layer for a wrist sensor, alone or beside one in the ball: notifications as a radio would bring them. */
import type { SensorNotification } from '../../foundation/sensor-notification.ts';
import { encodeNotification } from '../../protocol/notification.ts';
import { encodeSensorDescription, type SensorDescription } from '../../protocol/sensor-description.ts';
import { describeSensor, type EncodedChunk, encodePacket } from '../encoded-practice.ts';
import type { SimulatedPacket } from '../packets.ts';
import type { DecoyTruth } from '../practice-truth.ts';
import type { SensorModel } from '../sensor-model.ts';
import {
  type BallChunk,
  ballSensorOf,
  type PairedPracticeOptions,
  streamPairedPractice,
  streamWristPractice,
  type WristPracticeOptions,
  wristSensorOf,
} from './wrist-practice.ts';
import type { WristShotTruth } from './wrist-practice-truth.ts';

/** One act's worth of notifications with what truly happened in it. */
export interface EncodedWristChunk {
  readonly notifications: readonly SensorNotification[];
  readonly shots: readonly WristShotTruth[];
  readonly decoys: readonly DecoyTruth[];
  readonly timeZeroTick: number | null;
}

/** What the sensor on a wrist says about itself. It must quantise and have finite ranges. */
export function describeWristSensor(options: WristPracticeOptions): SensorDescription {
  const described: SensorDescription = {
    ...describeSensor(wristSensorOf(options)),
    placement: options.plan.player.mount.place,
  };
  return (options.hasGyro ?? true)
    ? described
    : { ...described, gyroRateHz: null, gyroScaleRadpsPerLsb: null, gyroRangeRadps: null };
}

/** A wrist practice as encoded notifications with host times, act by act. Lost packets are left out. */
export function encodeWristPractice(options: WristPracticeOptions): {
  readonly description: Uint8Array;
  readonly sensor: SensorModel;
  readonly chunks: Generator<EncodedWristChunk>;
} {
  const sensor = wristSensorOf(options);
  const description = encodeSensorDescription(describeWristSensor(options));
  return { description, sensor, chunks: wristChunks({ ...options, sensor }, sensor) };
}

function* wristChunks(options: WristPracticeOptions, sensor: SensorModel): Generator<EncodedWristChunk> {
  for (const { packets, ...told } of streamWristPractice(options)) {
    yield { notifications: notificationsOf(packets, sensor, options.hasGyro ?? true), ...told };
  }
}

/** What both sensors gave, in the order in which the host got it, up to where neither can come earlier any more. */
export interface EncodedPairedChunk {
  readonly notifications: readonly SensorNotification[];
  readonly ball: Omit<EncodedChunk, 'notifications'>;
  readonly wrist: Omit<EncodedWristChunk, 'notifications'>;
}

/** A practice with a sensor in the ball and one on the wrist. */
export function encodePairedPractice(options: PairedPracticeOptions): {
  readonly descriptions: { readonly ball: Uint8Array; readonly wrist: Uint8Array };
  readonly sensors: { readonly ball: SensorModel; readonly wrist: SensorModel };
  readonly chunks: Generator<EncodedPairedChunk>;
} {
  const sensors = { ball: ballSensorOf(options), wrist: wristSensorOf(options) };
  return {
    descriptions: {
      ball: encodeSensorDescription(describeSensor(sensors.ball)),
      wrist: encodeSensorDescription(describeWristSensor(options)),
    },
    sensors,
    chunks: pairedChunks(options, sensors),
  };
}

function* pairedChunks(
  options: PairedPracticeOptions,
  sensors: { readonly ball: SensorModel; readonly wrist: SensorModel },
): Generator<EncodedPairedChunk> {
  let waiting: SensorNotification[] = [];
  let last: { ball: Omit<BallChunk, 'packets'>; wrist: Omit<EncodedWristChunk, 'notifications'> } | null = null;
  for (const { ball, wrist } of streamPairedPractice(options)) {
    const { packets: fromBall, ...ballTold } = ball;
    const { packets: fromWrist, ...wristTold } = wrist;
    const both = [
      notificationsOf(fromBall, sensors.ball, true),
      notificationsOf(fromWrist, sensors.wrist, options.hasGyro ?? true),
    ];
    // Each sensor's packets arrive in order: before the earlier of the two last ones nothing more can come.
    const safeS = Math.min(...both.map((list) => list[list.length - 1]?.hostTimeS ?? Number.NEGATIVE_INFINITY));
    waiting = [...waiting, ...both.flat()].sort((a, b) => a.hostTimeS - b.hostTimeS);
    const ready = waiting.filter(({ hostTimeS }) => hostTimeS <= safeS);
    waiting = waiting.slice(ready.length);
    yield { notifications: ready, ball: ballTold, wrist: wristTold };
    last = { ball: { ...ballTold, shots: [], decoys: [] }, wrist: { ...wristTold, shots: [], decoys: [] } };
  }
  if (last) yield { notifications: waiting, ...last };
}

function notificationsOf(
  packets: readonly SimulatedPacket[],
  sensor: SensorModel,
  hasGyro: boolean,
): SensorNotification[] {
  return packets
    .filter((packet) => !packet.lost)
    .map((packet) => ({
      sensorId: sensor.sensorId,
      bytes: hasGyro ? encodePacket(packet, sensor) : encodeAccelPacket(packet, sensor),
      hostTimeS: packet.hostTimeS,
    }));
}

/** Bytes of one packet of a sensor without gyroscope. */
function encodeAccelPacket(packet: SimulatedPacket, sensor: SensorModel): Uint8Array {
  const samples = new Int16Array(3 * packet.length);
  for (let i = 0; i < samples.length; i++) {
    const row = Math.floor(i / 3);
    samples[i] = Math.round((packet.values[6 * row + (i % 3)] as number) / sensor.accelScaleMps2PerLsb);
  }
  return encodeNotification({
    form: 'full',
    startNumber: sensor.link.startNumber,
    sequence: packet.sequence % 65536,
    tick: packet.tick,
    sampleIndex: packet.firstSampleIndex % 4294967296,
    axes: 3,
    samples,
  });
}
