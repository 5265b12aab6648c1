import { BehaviorSubject, EMPTY, NEVER, type Observable, Subject, startWith } from 'rxjs';
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

interface Step {
  readonly description: Uint8Array | null;
  readonly bytes: Uint8Array | null;
}

/** A ball sensor that is not there: the notifications of made-up practices, in real time and without end. */
export class SimulatedBall implements SensorProvider {
  readonly kind = 'simulated';
  readonly simulated = true;
  readonly #notifications = new Subject<SensorNotification>();
  readonly #states = new Subject<SensorStateEvent>();
  readonly notifications = this.#notifications.asObservable();
  readonly states = this.#states.asObservable();
  readonly #providerStates = new BehaviorSubject<ProviderState>({ state: 'ready', detail: null });
  readonly providerStates = this.#providerStates.asObservable();
  readonly information: Observable<SensorInformation> = EMPTY;
  readonly #options: SimulatedBallOptions;
  readonly #player: PacedPlayer<Step>;
  #opened = false;
  #ended = false;

  constructor(options: SimulatedBallOptions) {
    this.#options = options;
    this.#player = new PacedPlayer(options.clock, this.#steps(), (step, atS) => this.#play(step, atS));
  }

  /** @returns the one simulated ball, at once. */
  discover(): Observable<DiscoveredSensor> {
    const { sensorId, clock } = this.#options;
    const simulated = { radioId: sensorId, sensorId, name: 'simulated ball', kindName: 'simulated', rssiDbm: null };
    return NEVER.pipe(startWith({ ...simulated, hostTimeS: clock.nowS() }));
  }

  /** Starts the play when this ball is among what is wanted. */
  open(wanted: WantedSensors): void {
    if (this.#opened || this.#ended) return;
    if (wanted !== 'any' && !wanted.includes(this.#options.sensorId)) return;
    this.#opened = true;
    this.#player.start();
  }

  async identify(sensorId: string): Promise<void> {
    if (sensorId !== this.#options.sensorId) {
      throw new SeamwiseError('sensor-not-connected', `sensor ${sensorId} is not connected: only a simulated one is`);
    }
    throw new SeamwiseError('sensor-cannot-identify', `sensor ${sensorId} is simulated and has no light to blink`);
  }

  async close(): Promise<void> {
    if (this.#ended) return;
    this.#ended = true;
    this.#player.stop();
    const { sensorId, clock } = this.#options;
    this.#states.next({ sensorId, state: 'ended', hostTimeS: clock.nowS(), description: null, detail: null });
    this.#states.complete();
    this.#notifications.complete();
    this.#providerStates.next({ state: 'closed', detail: null });
    this.#providerStates.complete();
  }

  *#steps(): Generator<Due<Step>> {
    const { clock, makePractice, restS = 2 } = this.#options;
    let startS = clock.nowS();
    for (let practiceIndex = 0; ; practiceIndex++) {
      const { description, notifications } = makePractice(practiceIndex);
      // Making a practice may take a while: what is past by then would come in one burst.
      startS = Math.max(startS, clock.nowS());
      yield { atS: startS, item: { description, bytes: null } };
      let lastS = startS;
      for (const { bytes, hostTimeS } of notifications) {
        lastS = startS + hostTimeS;
        yield { atS: lastS, item: { description: null, bytes } };
      }
      startS = lastS + restS;
    }
  }

  #play(step: Step, hostTimeS: number): void {
    const { sensorId } = this.#options;
    const { description, bytes } = step;
    if (description) this.#states.next({ sensorId, state: 'streaming', hostTimeS, description, detail: null });
    if (bytes) this.#notifications.next({ sensorId, bytes, hostTimeS });
  }
}
