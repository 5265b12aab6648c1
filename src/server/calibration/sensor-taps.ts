import type { SensorProvider } from '../../devices/sensor-provider.ts';
import type { ImuBlock } from '../../foundation/imu-block.ts';
import { SensorChain } from '../../live/notification-chain.ts';
import { decodeSensorDescription, type SensorDescription } from '../../protocol/sensor-description.ts';

export interface TappedSensor {
  readonly description: SensorDescription;
  /** Ends it. */
  stop(): void;
}

export interface SensorTapListener {
  onBlock(block: ImuBlock): void;
  /** The stream began anew or is over; the tap has ended. */
  onGone(why: string): void;
}

/** Lets readings of a sensor be followed beside the analysis: as they are, without a calibration. */
export class SensorTaps {
  readonly #source: SensorProvider;
  readonly #descriptions = new Map<string, Uint8Array>();

  constructor(source: SensorProvider) {
    this.#source = source;
    source.states.subscribe(({ sensorId, state, description }) => {
      if (description) this.#descriptions.set(sensorId, description);
      if (state === 'ended' || state === 'unavailable') this.#descriptions.delete(sensorId);
    });
  }

  /** @returns the sensor, or null where none of this id sends. */
  tap(sensorId: string, listener: SensorTapListener): TappedSensor | null {
    const bytes = this.#descriptions.get(sensorId);
    if (!bytes) return null;
    const description = decodeSensorDescription(bytes);
    const chain = new SensorChain({ sensorName: sensorId, description, ballSettings: null });
    const notifications = this.#source.notifications.subscribe((notification) => {
      if (notification.sensorId !== sensorId) return;
      for (const event of chain.push(notification.bytes, notification.hostTimeS)) {
        if (event.kind === 'block') listener.onBlock(event.block);
      }
    });
    const stop = (): void => {
      notifications.unsubscribe();
      states.unsubscribe();
    };
    const states = this.#source.states.subscribe((change) => {
      if (change.sensorId !== sensorId || (change.state === 'streaming' && change.description === null)) return;
      stop();
      listener.onGone(change.detail ?? `the sensor is now: ${change.state}`);
    });
    return { description, stop };
  }
}
