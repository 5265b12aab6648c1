import type { Clock } from '../foundation/clock.ts';
import type { SensorNotification } from '../foundation/sensor-notification.ts';
import { SimulatedSensors } from './simulated-sensors.ts';

/** A made-up practice as a ball sensor would send it. */
export interface SimulatedPractice {
  /** The sensor description in bytes. */
  readonly description: Uint8Array;
  /** Host times in seconds since the start of the practice, rising. Taken one by one as time passes. */
  readonly notifications: Iterable<{ readonly bytes: Uint8Array; readonly hostTimeS: number }>;
}

export interface SimulatedBallOptions {
  readonly clock: Clock;
  readonly sensorId: string;
  /** Makes the practices, one after another, for ever; `practiceIndex` counts them from 0. */
  readonly makePractice: (practiceIndex: number) => SimulatedPractice;
  /** Rest between two practices. Default 2 s. */
  readonly restS?: number;
}

/** A ball sensor that is not there: the notifications of made-up practices, in real time and without end. */
export class SimulatedBall extends SimulatedSensors {
  constructor({ clock, sensorId, makePractice, ...rest }: SimulatedBallOptions) {
    super({
      ...rest,
      clock,
      sensors: [{ sensorId, name: 'simulated ball' }],
      makePractice: (practiceIndex) => {
        const { description, notifications } = makePractice(practiceIndex);
        return {
          descriptions: new Map([[sensorId, description]]),
          notifications: withSensor(sensorId, notifications),
        };
      },
    });
  }
}

function* withSensor(
  sensorId: string,
  notifications: SimulatedPractice['notifications'],
): Generator<SensorNotification> {
  for (const { bytes, hostTimeS } of notifications) yield { sensorId, bytes, hostTimeS };
}
