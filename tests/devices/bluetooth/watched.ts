import type { SensorStateEvent } from '../../../src/devices/notification-source.ts';
import type { ProviderState, SensorInformation, SensorProvider } from '../../../src/devices/sensor-provider.ts';
import type { SensorNotification } from '../../../src/foundation/sensor-notification.ts';

/** Everything a provider said, in order. */
export interface Watched {
  readonly states: SensorStateEvent[];
  readonly providerStates: ProviderState[];
  readonly information: SensorInformation[];
  readonly packets: SensorNotification[];
  /** `state` of each event of one sensor. */
  of(sensorId: string): string[];
  /** Waits for something, and fails with what was said instead. */
  until(what: string, holds: () => boolean, withinMs?: number): Promise<void>;
}

export function watch(provider: SensorProvider): Watched {
  const states: SensorStateEvent[] = [];
  const providerStates: ProviderState[] = [];
  const information: SensorInformation[] = [];
  const packets: SensorNotification[] = [];
  provider.states.subscribe((event) => states.push(event));
  provider.providerStates.subscribe((state) => providerStates.push(state));
  provider.information.subscribe((event) => information.push(event));
  provider.notifications.subscribe((packet) => packets.push(packet));
  return {
    ...{ states, providerStates, information, packets },
    of: (sensorId) => states.filter((event) => event.sensorId === sensorId).map(({ state }) => state),
    async until(what, holds, withinMs = 240_000) {
      const endMs = performance.now() + withinMs;
      while (!holds()) {
        if (performance.now() > endMs) {
          const said = states.map(({ sensorId, state, detail }) => `${sensorId.slice(0, 4)} ${state} ${detail ?? ''}`);
          const all = [...providerStates.map((state) => JSON.stringify(state)), ...said];
          throw new Error(`${what} did not happen within ${withinMs} ms; said was:\n${all.join('\n')}`);
        }
        await new Promise((resolve) => setTimeout(resolve, 5));
      }
    },
  };
}
