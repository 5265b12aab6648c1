import { groupBy, map, merge, mergeMap, Observable } from 'rxjs';
import type { SensorNotification } from '../foundation/sensor-notification.ts';
import type { Preparation } from '../shots/shot.ts';
import type { ChainSummary } from './notification-chain.ts';
import type { SensorSetup } from './sensor-setup.ts';
import {
  type PacketChain,
  type PathEvent,
  type SensorStateChange,
  SensorStreams,
  type StreamBlock,
} from './sensor-streams.ts';

export interface PacketPathOptions {
  readonly notifications: Observable<SensorNotification>;
  readonly states: Observable<SensorStateChange>;
  /** Makes the chain of a new stream from the description's bytes; may throw where those make no sense. */
  readonly openChain: (sensorId: string, description: Uint8Array, setup: SensorSetup) => PacketChain;
  /** Told the samples of all sensors, before what was found in them. */
  readonly onBlock?: (block: StreamBlock) => void;
}

type Input =
  | { readonly kind: 'packet'; readonly sensorId: string; readonly packet: SensorNotification }
  | { readonly kind: 'change'; readonly sensorId: string; readonly change: SensorStateChange };

/**
 * The way of every packet from a source to shot events, sensor by sensor: one emission a packet, samples in the plain
 * loops of the chain. What goes wrong with one sensor is a `fault` event of that sensor; it starts with a new chain and
 * the others do not notice.
 */
export class PacketPath {
  /** Cold: subscribe once, before the source starts. Completes after the source, with all chains finished. */
  readonly events: Observable<PathEvent>;
  readonly #sensors = new Map<string, SensorStreams>();

  constructor({ notifications, states, openChain, onBlock }: PacketPathOptions) {
    const changes = states.pipe(map((change): Input => ({ kind: 'change', sensorId: change.sensorId, change })));
    const packets = notifications.pipe(map((packet): Input => ({ kind: 'packet', sensorId: packet.sensorId, packet })));
    this.events = merge(changes, packets).pipe(
      groupBy((input) => input.sensorId),
      mergeMap((inputs) => {
        const streams = new SensorStreams(inputs.key, openChain, onBlock);
        this.#sensors.set(inputs.key, streams);
        return eventsOf(streams, inputs);
      }),
    );
  }

  /**
   * Does a piece of the most urgent work that packets to come will ask for: to be called while there is time.
   *
   * @returns whether there was any.
   */
  prepare(): boolean {
    let most: Preparation | null = null;
    for (const streams of this.#sensors.values()) {
      const next = streams.preparation();
      if (next && (most === null || next.dueInS < most.dueInS)) most = next;
    }
    most?.work();
    return most !== null;
  }

  /** @returns counts of the sensor's present stream, or of its last one; null before it has one. */
  summary(sensorId: string): ChainSummary | null {
    return this.#sensors.get(sensorId)?.summary() ?? null;
  }
}

/** What a sensor's streams say: told one by one from plain loops, since there are far more packets than events. */
function eventsOf(streams: SensorStreams, inputs: Observable<Input>): Observable<PathEvent> {
  return new Observable((subscriber) =>
    inputs.subscribe({
      next: (input) => {
        for (const event of takeInput(streams, input)) subscriber.next(event);
      },
      error: (error) => subscriber.error(error),
      complete: () => {
        for (const event of streams.end()) subscriber.next(event);
        subscriber.complete();
      },
    }),
  );
}

function takeInput(streams: SensorStreams, input: Input): readonly PathEvent[] {
  return input.kind === 'packet'
    ? streams.takePacket(input.packet.bytes, input.packet.hostTimeS)
    : streams.takeChange(input.change);
}
