import type { Clock } from '../foundation/clock.ts';
import { encodeNotification } from '../protocol/notification.ts';
import { encodeSensorDescription } from '../protocol/sensor-description.ts';
import { drawPracticePlan } from '../simulate/draw-plan.ts';
import type { SimulatedPacket } from '../simulate/packets.ts';
import { streamPractice } from '../simulate/practice.ts';
import type { ActPlan } from '../simulate/practice-plan.ts';
import { drawSensor, filterDelayS, type SensorModel } from '../simulate/sensor-model.ts';
import { SimulatedBall, type SimulatedPractice } from './simulated-ball.ts';

export interface SimulatedShooterOptions {
  readonly clock: Clock;
  /** The same seed gives the same sensor and the same practices. */
  readonly seed: number;
  readonly sampleRateHz?: number;
}

const shotsPerPractice = 20;
const decoysPerPractice = 8;

/** @returns a ball sensor in the hands of a simulated shooter who never stops practising. */
export function createSimulatedBall({ clock, seed, sampleRateHz = 416 }: SimulatedShooterOptions): SimulatedBall {
  const sensor = drawSensor(`live ${seed}`, { rateHz: sampleRateHz });
  return new SimulatedBall({
    clock,
    sensorId: sensor.sensorId,
    makePractice: (practiceIndex) => makePractice(sensor, `live ${seed} practice ${practiceIndex}`, practiceIndex),
  });
}

function makePractice(sensor: SensorModel, seed: string, startNumber: number): SimulatedPractice {
  const plan = drawPracticePlan(seed, { shots: shotsPerPractice, decoys: decoysPerPractice });
  const description = encodeSensorDescription({
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
    firmwareVersion: { major: 0, minor: 1, patch: 0 },
  });
  return { description, notifications: encodePractice(sensor, seed, withShotFirst(plan), startNumber % 256) };
}

/** Whoever starts the program for the first time should not wait through a decoy. */
function withShotFirst(plan: readonly ActPlan[]): ActPlan[] {
  const first = plan.findIndex((act) => act.kind === 'shot');
  return [...plan.slice(first), ...plan.slice(0, first)];
}

/** Plays act after act, each only when its first packet is due. */
function* encodePractice(sensor: SensorModel, seed: string, acts: readonly ActPlan[], startNumber: number) {
  for (const { packets } of streamPractice({ seed, acts, sensor })) {
    for (const packet of packets) {
      if (packet.lost) continue;
      const hostTimeS = packet.hostTimeS - sensor.link.hostStartS;
      yield { bytes: encodePacket(sensor, packet, startNumber), hostTimeS };
    }
  }
}

function encodePacket(sensor: SensorModel, packet: SimulatedPacket, startNumber: number): Uint8Array {
  const { accelScaleMps2PerLsb, gyroScaleRadpsPerLsb } = sensor;
  const samples = Int16Array.from(packet.values, (value, at) => {
    const counts = Math.round(value / (at % 6 < 3 ? accelScaleMps2PerLsb : gyroScaleRadpsPerLsb));
    return Math.min(32_767, Math.max(-32_768, counts));
  });
  return encodeNotification({
    form: 'full',
    startNumber,
    sequence: packet.sequence % 65_536,
    tick: packet.tick,
    sampleIndex: packet.firstSampleIndex % 4_294_967_296,
    axes: 6,
    samples,
  });
}
