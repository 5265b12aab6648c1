import { BehaviorSubject, concat, EMPTY, from, NEVER, type Observable, Subject } from 'rxjs';
import type { Clock } from '../foundation/clock.ts';
import { SeamwiseError } from '../foundation/errors.ts';
import type { SensorNotification } from '../foundation/sensor-notification.ts';
import type { SensorStateEvent } from './notification-source.ts';
import { type Due, PacedPlayer } from './paced-player.ts';
import type {
  DiscoveredSensor,
  ProviderState,
  SensorInformation,
  SensorProvider,
  WantedSensors,
} from './sensor-provider.ts';

/** One recorded sensor: its description in bytes and what it sent. */
export interface RecordedSensor {
  readonly sensorId: string;
  readonly description: Uint8Array;
  /** In the order of receipt. */
  readonly notifications: readonly Omit<SensorNotification, 'sensorId'>[];
}

export interface ReplayOptions {
  readonly sensors: readonly RecordedSensor[];
  readonly clock: Clock;
  /**
   * `real-time` keeps the recorded distances and moves the host times to now; `fast` hands out everything without
   * waiting, with the host times as recorded.
   */
  readonly pace: 'real-time' | 'fast';
  /** True when the recording was made by the simulator. */
  readonly simulated: boolean;
}

/** Between two waits of the fast pace, so that others get their turn. */
const packetsPerTurn = 256;

/** Plays recorded notifications of one or more sensors, together, in the order of their receipt. */
export class ReplaySource implements SensorProvider {
  readonly kind = 'replayed';
  readonly simulated: boolean;
  readonly #notifications = new Subject<SensorNotification>();
  readonly #states = new Subject<SensorStateEvent>();
  readonly notifications = this.#notifications.asObservable();
  readonly states = this.#states.asObservable();
  readonly #providerStates = new BehaviorSubject<ProviderState>({ state: 'ready', detail: null });
  readonly providerStates = this.#providerStates.asObservable();
  readonly information: Observable<SensorInformation> = EMPTY;
  readonly #options: ReplayOptions;
  readonly #player: PacedPlayer<SensorNotification>;
  #sensors: readonly RecordedSensor[] = [];
  #packets: readonly SensorNotification[] = [];
  #opened = false;
  #ended = false;

  /** @throws RangeError when two sensors have one id: their packets could not be told apart. */
  constructor(options: ReplayOptions) {
    this.#options = options;
    this.simulated = options.simulated;
    const ids = options.sensors.map((sensor) => sensor.sensorId);
    const twice = ids.find((id, index) => ids.indexOf(id) !== index);
    if (twice !== undefined) throw new RangeError(`expected sensors with different ids, got ${twice} twice`);
    this.#player = new PacedPlayer(
      options.clock,
      this.#due(),
      (packet) => this.#notifications.next(packet),
      () => this.#end(),
    );
  }

  /** @returns the recorded sensors, at once. */
  discover(): Observable<DiscoveredSensor> {
    const hostTimeS = this.#options.clock.nowS();
    const recorded = this.#options.sensors.map(({ sensorId }) => {
      return { radioId: sensorId, sensorId, name: null, kindName: 'recorded', rssiDbm: null, hostTimeS };
    });
    return concat(from(recorded), NEVER);
  }

  /** Starts the replay of the wanted sensors. Later calls change nothing: a replay has one beginning. */
  open(wanted: WantedSensors): void {
    if (this.#opened || this.#ended) return;
    this.#opened = true;
    this.#sensors = this.#options.sensors.filter(({ sensorId }) => wanted === 'any' || wanted.includes(sensorId));
    this.#packets = this.#sensors
      .flatMap(({ sensorId, notifications }) => notifications.map((packet) => ({ ...packet, sensorId })))
      .sort((one, other) => one.hostTimeS - other.hostTimeS);
    const first = this.#packets[0];
    const hostTimeS = this.#options.pace === 'fast' && first ? first.hostTimeS : this.#options.clock.nowS();
    for (const { sensorId, description } of this.#sensors) {
      this.#states.next({ sensorId, state: 'streaming', hostTimeS, description, detail: null });
    }
    this.#player.start();
  }

  async identify(sensorId: string): Promise<void> {
    throw new SeamwiseError('sensor-cannot-identify', `sensor ${sensorId} is a recording and has no light to blink`);
  }

  async close(): Promise<void> {
    this.#player.stop();
    this.#end();
  }

  *#due(): Generator<Due<SensorNotification>> {
    const { clock, pace } = this.#options;
    const first = this.#packets[0];
    if (!first) return;
    const startS = clock.nowS();
    for (const [index, packet] of this.#packets.entries()) {
      if (pace === 'real-time') {
        const hostTimeS = startS + (packet.hostTimeS - first.hostTimeS);
        yield { atS: hostTimeS, item: { ...packet, hostTimeS } };
      } else {
        // Due at once, but not in one turn.
        yield { atS: index % packetsPerTurn === 0 ? clock.nowS() : startS, item: packet };
      }
    }
  }

  #end(): void {
    if (this.#ended) return;
    this.#ended = true;
    const hostTimeS = this.#options.clock.nowS();
    for (const { sensorId } of this.#sensors) {
      this.#states.next({ sensorId, state: 'ended', hostTimeS, description: null, detail: null });
    }
    this.#states.complete();
    this.#notifications.complete();
    this.#providerStates.next({ state: 'closed', detail: null });
    this.#providerStates.complete();
  }
}
