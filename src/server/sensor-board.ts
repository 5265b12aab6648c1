import type { SensorStateEvent } from '../devices/notification-source.ts';
import type { SensorInformation } from '../devices/sensor-provider.ts';
import type { ChainSummary } from '../live/notification-chain.ts';
import type { PathEvent } from '../live/sensor-streams.ts';
import type { WireSensor } from './wire/live-document.ts';

/** What is known of each sensor, put together from the path's events and the chains' counts. */
export class SensorBoard {
  readonly #sensors = new Map<string, WireSensor>();
  readonly #remedies = new Map<string, string>();
  readonly #information = new Map<string, NonNullable<WireSensor['information']>>();
  readonly #summary: (sensorId: string) => ChainSummary | null;

  constructor(summary: (sensorId: string) => ChainSummary | null) {
    this.#summary = summary;
  }

  /** Remembers what can be done about a state; to be told before the path's event of it. */
  takeRemedy({ sensorId, remedy }: SensorStateEvent): void {
    if (remedy === undefined) this.#remedies.delete(sensorId);
    else this.#remedies.set(sensorId, remedy);
  }

  /** @returns the sensor with what it says about itself, or null where it is not known yet. */
  takeInformation(information: SensorInformation): WireSensor | null {
    const { sensorId, name, model, firmwareRevision, batteryPercent, rssiDbm } = information;
    this.#information.set(sensorId, { name, model, firmwareRevision, batteryPercent, rssiDbm });
    return this.#sensors.has(sensorId) ? this.#set(sensorId, {}) : null;
  }

  /** @returns the new state of the event's sensor when the event changes it, or null. */
  take(event: PathEvent): WireSensor | null {
    if (event.kind === 'state') return this.#set(event.sensorId, { state: event.state, detail: event.detail });
    if (event.kind === 'fault') return this.#set(event.sensorId, { detail: event.message });
    if (event.kind === 'stream' && event.event.kind === 'restart') {
      return this.#set(event.sensorId, { detail: event.event.message });
    }
    return null;
  }

  /** @returns all sensors with their counts as of now. */
  refresh(): WireSensor[] {
    return [...this.#sensors.keys()].map((sensorId) => this.#set(sensorId, {}));
  }

  #set(sensorId: string, change: Partial<Pick<WireSensor, 'state' | 'detail'>>): WireSensor {
    const summary = this.#summary(sensorId);
    const before = this.#sensors.get(sensorId);
    const remedy = this.#remedies.get(sensorId);
    const information = this.#information.get(sensorId);
    const sensor: WireSensor = {
      sensorId,
      state: change.state ?? before?.state ?? 'connecting',
      detail: change.detail !== undefined ? change.detail : (before?.detail ?? null),
      notificationCount: summary?.packets ?? before?.notificationCount ?? 0,
      lostCount: summary?.missingPackets ?? before?.lostCount ?? 0,
      corruptCount: summary?.corruptCount ?? before?.corruptCount ?? 0,
      sampleRateHz: summary?.sampleRateHz ?? before?.sampleRateHz ?? null,
      ...(remedy === undefined ? {} : { remedy }),
      ...(information === undefined ? {} : { information }),
    };
    this.#sensors.set(sensorId, sensor);
    return sensor;
  }
}
