import { Subject } from 'rxjs';
import type { Clock } from '../foundation/clock.ts';
import type { SensorNotification } from '../foundation/sensor-notification.ts';
import type { NotificationSource, SensorStateEvent } from './notification-source.ts';
import { type Due, PacedPlayer } from './paced-player.ts';

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
export class ReplaySource implements NotificationSource {
  readonly simulated: boolean;
  readonly #notifications = new Subject<SensorNotification>();
  readonly #states = new Subject<SensorStateEvent>();
  readonly notifications = this.#notifications.asObservable();
  readonly states = this.#states.asObservable();
  readonly #options: ReplayOptions;
  readonly #player: PacedPlayer<SensorNotification>;
  readonly #packets: readonly SensorNotification[];
  #ended = false;

  /** @throws RangeError when two sensors have one id: their packets could not be told apart. */
  constructor(options: ReplayOptions) {
    this.#options = options;
    this.simulated = options.simulated;
    const ids = options.sensors.map((sensor) => sensor.sensorId);
    const twice = ids.find((id, index) => ids.indexOf(id) !== index);
    if (twice !== undefined) throw new RangeError(`expected sensors with different ids, got ${twice} twice`);
    this.#packets = options.sensors
      .flatMap(({ sensorId, notifications }) => notifications.map((packet) => ({ ...packet, sensorId })))
      .sort((one, other) => one.hostTimeS - other.hostTimeS);
    this.#player = new PacedPlayer(
      options.clock,
      this.#due(),
      (packet) => this.#notifications.next(packet),
      () => this.#end(),
    );
  }

  start(): void {
    const first = this.#packets[0];
    const hostTimeS = this.#options.pace === 'fast' && first ? first.hostTimeS : this.#options.clock.nowS();
    for (const { sensorId, description } of this.#options.sensors) {
      this.#states.next({ sensorId, state: 'streaming', hostTimeS, description, detail: null });
    }
    this.#player.start();
  }

  async stop(): Promise<void> {
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
    for (const { sensorId } of this.#options.sensors) {
      this.#states.next({ sensorId, state: 'ended', hostTimeS, description: null, detail: null });
    }
    this.#states.complete();
    this.#notifications.complete();
  }
}
