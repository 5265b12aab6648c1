/** The last thin layer: simulated packets as notifications of the stream format, as a radio would bring them. */
import type { SensorNotification } from '../foundation/sensor-notification.ts';
import { encodeNotification } from '../protocol/notification.ts';
import { encodeSensorDescription, type SensorDescription } from '../protocol/sensor-description.ts';
import type { SimulatedPacket } from './packets.ts';
import { type PracticeOptions, streamPractice } from './practice.ts';
import type { DecoyTruth, ShotTruth } from './practice-truth.ts';
import { drawSensor, filterDelayS, type SensorModel } from './sensor-model.ts';

/** What the simulated sensor says about itself. It must quantise and have finite ranges. */
export function describeSensor(sensor: SensorModel): SensorDescription {
  if (!sensor.quantise) throw new RangeError('a sensor that does not quantise has no raw numbers to send');
  return {
    sensorId: sensor.sensorId,
    tickUnitS: sensor.link.tickUnitS,
    accelRateHz: sensor.rateHz,
    gyroRateHz: sensor.rateHz,
    accelScaleMps2PerLsb: sensor.accelScaleMps2PerLsb,
    gyroScaleRadpsPerLsb: sensor.gyroScaleRadpsPerLsb,
    accelRangeMps2: sensor.accelRangeMps2,
    gyroRangeRadps: sensor.gyroRangeRadps,
    filterDelayS: filterDelayS(sensor),
    accelAxes: [1, 2, 3],
    gyroAxes: [1, 2, 3],
    placement: 'ball',
    firmwareVersion: { major: 1, minor: 0, patch: 0 },
  };
}

/** One act's worth of notifications with what truly happened in it. */
export interface EncodedChunk {
  readonly notifications: readonly SensorNotification[];
  readonly shots: readonly ShotTruth[];
  readonly decoys: readonly DecoyTruth[];
  readonly timeZeroTick: number | null;
}

/** A practice as encoded notifications with host times, act by act. Lost packets are left out. */
export function encodePractice(options: PracticeOptions): {
  readonly description: Uint8Array;
  readonly sensor: SensorModel;
  readonly chunks: Generator<EncodedChunk>;
} {
  const sensor = options.sensor ?? drawSensor(options.seed);
  const description = encodeSensorDescription(describeSensor(sensor));
  return { description, sensor, chunks: encodeChunks({ ...options, sensor }, sensor) };
}

function* encodeChunks(options: PracticeOptions, sensor: SensorModel): Generator<EncodedChunk> {
  for (const { packets, ...told } of streamPractice(options)) {
    const notifications: SensorNotification[] = [];
    for (const packet of packets) {
      if (!packet.lost) {
        notifications.push({
          sensorId: sensor.sensorId,
          bytes: encodePacket(packet, sensor),
          hostTimeS: packet.hostTimeS,
        });
      }
    }
    yield { notifications, ...told };
  }
}

/** Bytes of one packet in the full form. */
export function encodePacket(packet: SimulatedPacket, sensor: SensorModel): Uint8Array {
  const samples = new Int16Array(6 * packet.length);
  for (let i = 0; i < samples.length; i++) {
    const scale = i % 6 < 3 ? sensor.accelScaleMps2PerLsb : sensor.gyroScaleRadpsPerLsb;
    samples[i] = Math.round((packet.values[i] as number) / scale);
  }
  return encodeNotification({
    form: 'full',
    startNumber: sensor.link.startNumber,
    sequence: packet.sequence % 65536,
    tick: packet.tick,
    sampleIndex: packet.firstSampleIndex % 4294967296,
    axes: 6,
    samples,
  });
}
