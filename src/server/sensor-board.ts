import type { ChainSummary } from '../live/notification-chain.ts';
import type { PathEvent } from '../live/sensor-streams.ts';
import type { WireSensor } from './wire/live-document.ts';

/** What is known of each sensor, put together from the path's events and the chains' counts. */
export class SensorBoard {
  readonly #sensors = new Map<string, WireSensor>();
  readonly #summary: (sensorId: string) => ChainSummary | null;

  constructor(summary: (sensorId: string) => ChainSummary | null) {
    this.#summary = summary;
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
    const sensor: WireSensor = {
      sensorId,
      state: change.state ?? before?.state ?? 'connecting',
      detail: change.detail !== undefined ? change.detail : (before?.detail ?? null),
      notificationCount: summary?.packets ?? before?.notificationCount ?? 0,
      lostCount: summary?.missingPackets ?? before?.lostCount ?? 0,
      corruptCount: summary?.corruptCount ?? before?.corruptCount ?? 0,
      sampleRateHz: summary?.sampleRateHz ?? before?.sampleRateHz ?? null,
    };
    this.#sensors.set(sensorId, sensor);
    return sensor;
  }
}
