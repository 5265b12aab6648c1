import type { Clock } from '../foundation/clock.ts';
import type { SensorNotification } from '../foundation/sensor-notification.ts';
import { type ArmPlayer, drawArmPlayer } from '../simulate/arm/arm-player.ts';
import { type EncodedPairedChunk, encodePairedPractice } from '../simulate/arm/wrist-encoded.ts';
import {
  ballSizeFor,
  drawWristDecoy,
  drawWristShot,
  pairedDecoyKinds,
  type WristPracticePlan,
} from '../simulate/arm/wrist-plan.ts';
import { wornSensor } from '../simulate/arm/wrist-sensor.ts';
import { Random } from '../simulate/random.ts';
import { drawSensor, type SensorModel } from '../simulate/sensor-model.ts';
import { SimulatedSensors } from './simulated-sensors.ts';

export interface SimulatedPairOptions {
  readonly clock: Clock;
  /** The same seed gives the same player, sensors and practices. */
  readonly seed: number;
  readonly sampleRateHz?: number;
}

const shotsPerPractice = 20;
const decoysPerPractice = 8;
/** The ball of the usual settings is that of grown players. */
const grown = { statureM: [1.72, 2] } as const;

/** @returns a sensor in the ball and one on the arm of one simulated shooter who never stops practising. */
export function createSimulatedPair({ clock, seed, sampleRateHz = 416 }: SimulatedPairOptions): SimulatedSensors {
  const player = drawArmPlayer(`live ${seed}`, grown);
  const ballSensor = drawSensor(`live ${seed}`, { rateHz: sampleRateHz });
  const sensor = wornSensor(drawSensor(`live ${seed} arm`, { rateHz: sampleRateHz }), player.mount);
  return new SimulatedSensors({
    clock,
    sensors: [
      { sensorId: ballSensor.sensorId, name: 'simulated ball' },
      { sensorId: sensor.sensorId, name: 'simulated arm' },
    ],
    makePractice: (practiceIndex) => {
      const practiceSeed = `live ${seed} practice ${practiceIndex}`;
      const plan = drawPlan(practiceSeed, player);
      const startNumber = practiceIndex % 256;
      const { descriptions, sensors, chunks } = encodePairedPractice({
        seed: practiceSeed,
        plan,
        sensor: startedAnew(sensor, startNumber),
        ballSensor: startedAnew(ballSensor, startNumber),
      });
      return {
        descriptions: new Map([
          [sensors.ball.sensorId, descriptions.ball],
          [sensors.wrist.sensorId, descriptions.wrist],
        ]),
        notifications: fromPracticeStart(chunks, ballSensor.link.hostStartS),
      };
    },
  });
}

/** The sensors start anew with every practice. */
function startedAnew(sensor: SensorModel, startNumber: number): SensorModel {
  return { ...sensor, link: { ...sensor.link, startNumber } };
}

/** One player's shots and decoys. Whoever starts the program for the first time should not wait through a decoy. */
function drawPlan(seed: string, player: ArmPlayer): WristPracticePlan {
  const random = new Random(seed).fork('acts of both sensors');
  const acts = Array.from({ length: shotsPerPractice }, (_, i) => drawWristShot(random.fork(`shot ${i}`), player));
  const plan = {
    player,
    ballSize: ballSizeFor(player.statureM),
    acts: [...acts] as WristPracticePlan['acts'][number][],
  };
  for (let i = 0; i < decoysPerPractice; i++) {
    plan.acts.splice(random.whole(1, plan.acts.length), 0, drawWristDecoy(random.fork(`decoy ${i}`), pairedDecoyKinds));
  }
  return plan;
}

/** Each act is played only when its first packet is due. */
function* fromPracticeStart(chunks: Iterable<EncodedPairedChunk>, hostStartS: number): Generator<SensorNotification> {
  for (const { notifications } of chunks) {
    for (const notification of notifications) {
      yield { ...notification, hostTimeS: notification.hostTimeS - hostStartS };
    }
  }
}
