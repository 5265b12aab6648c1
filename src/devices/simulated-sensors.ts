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

/** A made-up practice as its sensors would send it. */
export interface SensorsPractice {
  /** The description of every sensor in bytes. */
  readonly descriptions: ReadonlyMap<string, Uint8Array>;
  /** Host times in seconds since the start of the practice, rising. Taken one by one as time passes. */
  readonly notifications: Iterable<SensorNotification>;
}

export interface SimulatedSensorsOptions {
  readonly clock: Clock;
  /** Every sensor of the practices, with a name for people. */
  readonly sensors: readonly { readonly sensorId: string; readonly name: string }[];
  /** Makes the practices, one after another, for ever; `practiceIndex` counts them from 0. */
  readonly makePractice: (practiceIndex: number) => SensorsPractice;
  /** Rest between two practices. Default 2 s. */
  readonly restS?: number;
}

interface Step {
  readonly sensorId: string;
  readonly description: Uint8Array | null;
  readonly bytes: Uint8Array | null;
}

/** Sensors that are not there: the notifications of made-up practices, in real time and without end. */
export class SimulatedSensors implements SensorProvider {
  readonly kind = 'simulated';
  readonly simulated = true;
  readonly #notifications = new Subject<SensorNotification>();
  readonly #states = new Subject<SensorStateEvent>();
  readonly notifications = this.#notifications.asObservable();
  readonly states = this.#states.asObservable();
  readonly #providerStates = new BehaviorSubject<ProviderState>({ state: 'ready', detail: null });
  readonly providerStates = this.#providerStates.asObservable();
  readonly information: Observable<SensorInformation> = EMPTY;
  readonly #options: SimulatedSensorsOptions;
  readonly #player: PacedPlayer<Step>;
  #wanted: ReadonlySet<string> = new Set();
  #opened = false;
  #ended = false;

  constructor(options: SimulatedSensorsOptions) {
    this.#options = options;
    this.#player = new PacedPlayer(options.clock, this.#steps(), (step, atS) => this.#play(step, atS));
  }

  /** @returns the simulated sensors, at once. */
  discover(): Observable<DiscoveredSensor> {
    const { sensors, clock } = this.#options;
    const hostTimeS = clock.nowS();
    const simulated = sensors.map(({ sensorId, name }) => {
      return { radioId: sensorId, sensorId, name, kindName: 'simulated', rssiDbm: null, hostTimeS };
    });
    return concat(from(simulated), NEVER);
  }

  /** Starts the play when one of these sensors is among what is wanted. */
  open(wanted: WantedSensors): void {
    if (this.#opened || this.#ended) return;
    const ids = this.#options.sensors.map(({ sensorId }) => sensorId);
    this.#wanted = new Set(ids.filter((sensorId) => wanted === 'any' || wanted.includes(sensorId)));
    if (this.#wanted.size === 0) return;
    this.#opened = true;
    this.#player.start();
  }

  async identify(sensorId: string): Promise<void> {
    if (!this.#options.sensors.some((sensor) => sensor.sensorId === sensorId)) {
      throw new SeamwiseError('sensor-not-connected', `sensor ${sensorId} is not connected: only a simulated one is`);
    }
    throw new SeamwiseError('sensor-cannot-identify', `sensor ${sensorId} is simulated and has no light to blink`);
  }

  async close(): Promise<void> {
    if (this.#ended) return;
    this.#ended = true;
    this.#player.stop();
    const { sensors, clock } = this.#options;
    for (const { sensorId } of sensors) {
      this.#states.next({ sensorId, state: 'ended', hostTimeS: clock.nowS(), description: null, detail: null });
    }
    this.#states.complete();
    this.#notifications.complete();
    this.#providerStates.next({ state: 'closed', detail: null });
    this.#providerStates.complete();
  }

  *#steps(): Generator<Due<Step>> {
    const { clock, makePractice, restS = 2 } = this.#options;
    let startS = clock.nowS();
    for (let practiceIndex = 0; ; practiceIndex++) {
      const { descriptions, notifications } = makePractice(practiceIndex);
      // Making a practice may take a while: what is past by then would come in one burst.
      startS = Math.max(startS, clock.nowS());
      for (const [sensorId, description] of descriptions) {
        yield { atS: startS, item: { sensorId, description, bytes: null } };
      }
      let lastS = startS;
      for (const { sensorId, bytes, hostTimeS } of notifications) {
        lastS = startS + hostTimeS;
        yield { atS: lastS, item: { sensorId, description: null, bytes } };
      }
      startS = lastS + restS;
    }
  }

  #play({ sensorId, description, bytes }: Step, hostTimeS: number): void {
    if (!this.#wanted.has(sensorId)) return;
    if (description) this.#states.next({ sensorId, state: 'streaming', hostTimeS, description, detail: null });
    if (bytes) this.#notifications.next({ sensorId, bytes, hostTimeS });
  }
}
