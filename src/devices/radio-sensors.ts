/**
 * Sensors over any radio. The caller says which are wanted; this finds them, connects, subscribes, watches and
 * reconnects, for ever.
 *
 * A device in the air has no identity: it is known once its description was read. So every device whose kind fits is
 * connected once; one that is not wanted is let go and remembered by its radio id for as long as it keeps that.
 *
 * Longer than most files: it is one state machine, whose every step reads what all the others wrote.
 */
import { BehaviorSubject, Observable, ReplaySubject, Subject } from 'rxjs';
import type { Clock } from '../foundation/clock.ts';
import { SeamwiseError } from '../foundation/errors.ts';
import { type Logger, silentLogger } from '../foundation/logger.ts';
import type { SensorNotification } from '../foundation/sensor-notification.ts';
import type { DeviceKind, PreparedDevice } from './device-kind.ts';
import type { SensorState, SensorStateEvent } from './notification-source.ts';
import type { GattSession, Radio, RadioState, Sighting } from './radio.ts';
import {
  defaultRadioSensorsTimes,
  type Link,
  type RadioSensorsTimes,
  Retries,
  type Sensor,
  sameBytes,
} from './radio-sensors-records.ts';
import { plainText, readBattery, readInformation } from './read-information.ts';
import { ScanRhythm } from './scan-rhythm.ts';
import type {
  DiscoveredSensor,
  ProviderKind,
  ProviderState,
  SensorInformation,
  SensorProvider,
  WantedSensors,
} from './sensor-provider.ts';

export interface RadioSensorsOptions {
  readonly kind: ProviderKind;
  readonly radio: Radio;
  readonly clock: Clock;
  /** The first that fits is taken. */
  readonly kinds: readonly DeviceKind[];
  readonly logger?: Logger;
  readonly times?: Partial<RadioSensorsTimes>;
  /** How many one adapter carries; 8 at 416 Hz is what was tested. */
  readonly maxSensors?: number;
}

const tickS = 0.25;

export class RadioSensors implements SensorProvider {
  readonly kind: ProviderKind;
  readonly simulated = false;
  readonly #notifications = new Subject<SensorNotification>();
  readonly #states = new Subject<SensorStateEvent>();
  readonly #providerStates = new BehaviorSubject<ProviderState>({ state: 'starting', detail: null });
  readonly #information = new ReplaySubject<SensorInformation>(64);
  readonly #discovered = new Subject<DiscoveredSensor>();
  readonly notifications = this.#notifications.asObservable();
  readonly states = this.#states.asObservable();
  readonly providerStates = this.#providerStates.asObservable();
  readonly information = this.#information.asObservable();
  readonly #options: RadioSensorsOptions;
  readonly #times: RadioSensorsTimes;
  readonly #logger: Logger;
  readonly #maxSensors: number;
  readonly #rhythm = new ScanRhythm();
  #radioState: RadioState = { state: 'starting' };
  #wanted: WantedSensors = [];
  #started = false;
  #closed = false;
  #lookers = 0;
  #cancelTick: (() => void) | null = null;
  /** One at a time. */
  #connecting: Link | null = null;
  /** Sensor ids by radio id, as read. */
  readonly #known = new Map<string, string>();
  readonly #links = new Map<string, Link>();
  readonly #sensors = new Map<string, Sensor>();
  readonly #retries: Retries;
  #toldFull = false;

  constructor(options: RadioSensorsOptions) {
    this.kind = options.kind;
    this.#options = options;
    this.#times = { ...defaultRadioSensorsTimes, ...options.times };
    this.#retries = new Retries(this.#times);
    this.#logger = options.logger ?? silentLogger;
    this.#maxSensors = options.maxSensors ?? 8;
    options.radio.states.subscribe((state) => this.#onRadioState(state));
    options.radio.sightings.subscribe((sighting) => this.#onSighting(sighting));
  }

  open(wanted: WantedSensors): void {
    if (this.#closed) return;
    this.#wanted = wanted === 'any' ? wanted : [...new Set(wanted)];
    this.#toldFull = false;
    this.#start();
    for (const link of this.#links.values()) {
      if (link.prepared && !this.#isWanted(link.prepared.sensorId)) void this.#drop(link, 'it is not wanted any more');
    }
    this.#tellMissing();
    this.#update();
  }

  discover(): Observable<DiscoveredSensor> {
    return new Observable((subscriber) => {
      const subscription = this.#discovered.subscribe(subscriber);
      this.#lookers += 1;
      this.#start();
      this.#update();
      return () => {
        subscription.unsubscribe();
        this.#lookers -= 1;
        this.#update();
      };
    });
  }

  async identify(sensorId: string): Promise<void> {
    const link = this.#linkOf(sensorId);
    if (!link?.prepared) {
      throw new SeamwiseError('sensor-not-connected', `sensor ${sensorId} is not connected: wait until it streams`);
    }
    if (link.prepared.identify === null) {
      throw new SeamwiseError('sensor-cannot-identify', `sensor ${sensorId} has nothing to show itself with`);
    }
    await link.prepared.identify();
  }

  async close(): Promise<void> {
    if (this.#closed) return;
    this.#closed = true;
    this.#cancelTick?.();
    await this.#options.radio.close();
    for (const sensorId of this.#sensors.keys()) this.#tell(sensorId, 'ended', null);
    this.#states.complete();
    this.#notifications.complete();
    this.#information.complete();
    this.#discovered.complete();
    this.#providerStates.next({ state: 'closed', detail: null });
    this.#providerStates.complete();
  }

  #start(): void {
    if (this.#started || this.#closed) return;
    this.#started = true;
    this.#options.radio.start();
    this.#scheduleTick();
  }

  #onRadioState(state: RadioState): void {
    if (state.state === 'closed' || this.#closed) return;
    this.#radioState = state;
    if (state.state === 'unavailable') {
      this.#setProvider(state);
      const { detail, remedy } = state;
      for (const sensorId of this.#namedSensors()) this.#tell(sensorId, 'unavailable', detail, { remedy });
      return;
    }
    this.#rhythm.restart(this.#nowS());
    if (state.state === 'ready') this.#tellMissing();
    this.#update();
  }

  #onSighting(sighting: Sighting): void {
    if (this.#closed) return;
    const { radioId, rssiDbm, hostTimeS } = sighting;
    const kind = this.#kindOf(sighting);
    const name = sighting.name === null ? null : plainText(sighting.name);
    const sensorId = this.#known.get(radioId) ?? null;
    this.#discovered.next({ radioId, sensorId, name, kindName: kind?.name ?? null, rssiDbm, hostTimeS });
    if (kind === null || !sighting.connectable || this.#links.has(radioId) || this.#connecting !== null) return;
    if (sensorId !== null && !this.#isWanted(sensorId)) return;
    if (this.#wanted !== 'any' && this.#missing().length === 0) return;
    if (!this.#retries.isDue(radioId, this.#nowS())) return;
    if (this.#links.size >= this.#maxSensors) {
      this.#tellFull(name ?? radioId);
      return;
    }
    if (sensorId !== null) this.#tell(sensorId, 'found', `at ${rssiDbm} dBm`);
    const link: Link = {
      ...{ radioId, name, kind, rssiDbm, session: null, prepared: null },
      ...{ streaming: false, startedAtS: this.#nowS(), batteryAtS: null, dropped: false },
    };
    this.#links.set(radioId, link);
    this.#connecting = link;
    this.#update();
    void this.#connect(link);
  }

  #kindOf(sighting: Sighting): DeviceKind | null {
    return this.#options.kinds.find((kind) => kind.fits(sighting)) ?? null;
  }

  /** The whole life of one connection. */
  async #connect(link: Link): Promise<void> {
    const { radioId } = link;
    const expected = this.#known.get(radioId) ?? null;
    let why: string;
    try {
      if (expected !== null) this.#tell(expected, 'connecting', null);
      link.session = await this.#options.radio.connect(radioId);
      const prepared = await link.kind.prepare(link.session);
      why = await this.#stream(link, prepared, link.session);
    } catch (error) {
      why = error instanceof Error ? error.message : String(error);
      const who = expected ?? link.name ?? radioId;
      if (!this.#closed) this.#logger.warn({ sensor: who, why }, 'a sensor could not be connected');
      if (!link.dropped) this.#retries.fail(radioId, this.#nowS());
      await link.session?.disconnect();
    }
    if (this.#links.get(radioId) === link) this.#links.delete(radioId);
    this.#endConnecting(link);
    if (this.#closed) return;
    const sensorId = link.prepared?.sensorId ?? expected;
    const isMissed = sensorId !== null && this.#isWanted(sensorId) && this.#linkOf(sensorId) === null;
    // One that was dropped was told of when it was.
    if (isMissed && !link.dropped) this.#tellLost(sensorId, why);
    this.#rhythm.restart(this.#nowS());
    this.#update();
  }

  /** @returns why the connection ended. */
  async #stream(link: Link, prepared: PreparedDevice, session: GattSession): Promise<string> {
    const { sensorId } = prepared;
    const before = this.#known.get(link.radioId);
    this.#known.set(link.radioId, sensorId);
    if (before !== undefined && before !== sensorId) {
      this.#logger.warn({ before, sensorId }, 'another sensor answers under the same radio address');
    }
    if (!this.#isWanted(sensorId)) {
      link.dropped = true;
      await session.disconnect();
      return 'it is not wanted';
    }
    const other = this.#linkOf(sensorId);
    if (other !== null && other !== link) {
      // A sensor that started anew under another address while its old connection is not yet known to be dead.
      const lastS = this.#sensors.get(sensorId)?.lastNotificationS ?? null;
      const alive = lastS !== null && this.#nowS() - lastS < this.#times.quietS;
      if (alive) {
        throw new SeamwiseError(
          'sensor-id-twice',
          `two devices say they are sensor ${sensorId}: give one of them another id; the one that streams goes on`,
        );
      }
      await this.#drop(other, 'the sensor came back under another address');
    }
    link.prepared = prepared;
    const sensor = this.#sensorOf(sensorId);
    if (sensor.state !== 'connecting') this.#tell(sensorId, 'connecting', null);
    await prepared.start((bytes, hostTimeS) => this.#take(link, prepared, bytes, hostTimeS));
    link.startedAtS = this.#nowS();
    this.#endConnecting(link);
    this.#update();
    await this.#inform(link, sensor, session, sensorId);
    return session.ended;
  }

  #take(link: Link, prepared: PreparedDevice, bytes: Uint8Array, hostTimeS: number): void {
    if (this.#closed || link.dropped) return;
    const { sensorId, description } = prepared;
    const sensor = this.#sensorOf(sensorId);
    if (!link.streaming || sensor.state !== 'streaming') {
      link.streaming = true;
      const { lastNotificationS } = sensor;
      const goesOn = sensor.description !== null && sameBytes(sensor.description, description);
      sensor.description = description;
      const silentS = lastNotificationS === null ? null : Math.max(0, hostTimeS - lastNotificationS);
      const back = silentS === null ? null : `back after ${silentS.toFixed(silentS < 10 ? 1 : 0)} s without data`;
      this.#tell(sensorId, 'streaming', back, {
        hostTimeS,
        description: goesOn ? null : description,
        ...(silentS === null ? {} : { silentS }),
      });
    }
    sensor.lastNotificationS = hostTimeS;
    this.#notifications.next({ sensorId, bytes, hostTimeS });
  }

  /** Battery and device information are asked for once the stream runs, so that they hold nothing up. */
  async #inform(link: Link, sensor: Sensor, session: GattSession, sensorId: string): Promise<void> {
    const { name, kind, rssiDbm } = link;
    if (sensor.informationFailures >= 2) return;
    sensor.informationFailures += 1;
    const read = await readInformation(session);
    sensor.informationFailures = 0;
    sensor.information = { sensorId, name, kindName: kind.name, rssiDbm, ...read };
    this.#information.next(sensor.information);
    if (read.batteryPercent !== null) link.batteryAtS = this.#nowS();
  }

  #refreshBattery(link: Link, sensor: Sensor, session: GattSession): void {
    const { information } = sensor;
    if (information === null) return;
    link.batteryAtS = this.#nowS();
    readBattery(session).then(
      (batteryPercent) => {
        sensor.information = { ...information, batteryPercent };
        if (!this.#closed) this.#information.next(sensor.information);
      },
      // The link did not survive it; its own end says so.
      () => {},
    );
  }

  #endConnecting(link: Link): void {
    if (this.#connecting === link) this.#connecting = null;
  }

  async #drop(link: Link, why: string): Promise<void> {
    link.dropped = true;
    this.#links.delete(link.radioId);
    const sensorId = link.prepared?.sensorId;
    if (sensorId !== undefined && !this.#isWanted(sensorId)) this.#tell(sensorId, 'ended', why);
    await link.session?.disconnect();
  }

  #scheduleTick(): void {
    if (this.#closed) return;
    this.#cancelTick = this.#options.clock.schedule(this.#nowS() + tickS, () => {
      this.#watch();
      this.#update();
      this.#scheduleTick();
    });
  }

  /** Looks after silence. */
  #watch(): void {
    const nowS = this.#nowS();
    const { quietS, giveUpS, soundAfterS, batteryS } = this.#times;
    for (const link of [...this.#links.values()]) {
      const { prepared, session } = link;
      // Until then the radio's own timeouts hold.
      if (prepared === null || session === null || link.dropped) continue;
      const sensor = this.#sensorOf(prepared.sensorId);
      const sinceS = Math.max(link.startedAtS, sensor.lastNotificationS ?? Number.NEGATIVE_INFINITY);
      const silentS = nowS - sinceS;
      if (silentS > giveUpS) {
        this.#retries.fail(link.radioId, nowS);
        const why = `connected, but silent for ${silentS.toFixed(0)} s`;
        this.#tell(prepared.sensorId, 'lost', why, { remedy: lostRemedy });
        void session.disconnect();
        link.dropped = true;
      } else if (silentS > quietS && (sensor.state === 'streaming' || sensor.state === 'connecting')) {
        this.#tell(prepared.sensorId, 'quiet', 'connected, but nothing comes');
      } else if (link.streaming && nowS - link.startedAtS > soundAfterS) {
        this.#retries.forget(link.radioId);
      }
      if (link.batteryAtS !== null && nowS - link.batteryAtS > batteryS) this.#refreshBattery(link, sensor, session);
    }
  }

  /** Brings scanning and the provider's state into line with what is wanted and what is there. */
  #update(): void {
    if (this.#closed || !this.#started) return;
    const ready = this.#radioState.state === 'ready';
    const full = this.#links.size >= this.#maxSensors;
    const searching = this.#wanted === 'any' ? !full : this.#missing().length > 0;
    const streaming = [...this.#links.values()].some((link) => link.streaming);
    const nowS = this.#nowS();
    // Where all are wanted, one look around tells whether there are more than fit.
    const counting = this.#wanted === 'any' && full && !this.#toldFull && this.#rhythm.isFirst(nowS);
    const due = this.#lookers > 0 || counting || (searching && this.#rhythm.isOn(nowS, streaming));
    this.#options.radio.scan(ready && due && this.#connecting === null);
    if (this.#radioState.state === 'unavailable') return;
    if (!ready) this.#setProvider({ state: 'starting', detail: null });
    else if (searching && !streaming) this.#setProvider({ state: 'searching', detail: null });
    else if (!this.#toldFull) this.#setProvider({ state: 'ready', detail: null });
  }

  #setProvider(state: ProviderState): void {
    if (JSON.stringify(state) === JSON.stringify(this.#providerStates.value)) return;
    this.#providerStates.next(state);
  }

  #tellFull(name: string): void {
    if (this.#toldFull) return;
    this.#toldFull = true;
    const detail = `${this.#maxSensors} sensors are connected, which is all that one adapter carries; ${name} and any other stay unconnected`;
    this.#setProvider({ state: 'ready', detail });
    this.#logger.warn({ maxSensors: this.#maxSensors }, detail);
  }

  /** Tells what is wanted and not there; of more than the adapter carries the last ones named are left out. */
  #tellMissing(): void {
    if (this.#wanted === 'any') return;
    for (const [index, sensorId] of this.#wanted.entries()) {
      if (index >= this.#maxSensors) {
        const detail = `one adapter carries ${this.#maxSensors} sensors, and this is number ${index + 1} of those wanted`;
        this.#tell(sensorId, 'unavailable', detail, { remedy: `Name at most ${this.#maxSensors} sensors.` });
      } else if (this.#radioState.state === 'unavailable') {
        const { detail, remedy } = this.#radioState;
        this.#tell(sensorId, 'unavailable', detail, { remedy });
      } else if (this.#linkOf(sensorId) === null) {
        this.#tell(sensorId, 'searching', null);
      }
    }
  }

  #tellLost(sensorId: string, why: string): void {
    if (this.#radioState.state === 'unavailable') {
      const { detail, remedy } = this.#radioState;
      this.#tell(sensorId, 'unavailable', detail, { remedy });
    } else {
      this.#tell(sensorId, 'lost', why, { remedy: lostRemedy });
    }
  }

  #tell(
    sensorId: string,
    state: SensorState,
    detail: string | null,
    more: Partial<Pick<SensorStateEvent, 'remedy' | 'silentS' | 'description' | 'hostTimeS'>> = {},
  ): void {
    const sensor = this.#sensorOf(sensorId);
    const text = `${state} ${detail}`;
    if (sensor.state === state && sensor.stateText === text && state !== 'streaming') return;
    sensor.state = state;
    sensor.stateText = text;
    this.#states.next({ sensorId, state, hostTimeS: this.#nowS(), description: null, detail, ...more });
  }

  /** Of the wanted ones those that are not connected, as far as the adapter carries them. */
  #missing(): readonly string[] {
    if (this.#wanted === 'any') return [];
    return this.#wanted.slice(0, this.#maxSensors).filter((sensorId) => this.#linkOf(sensorId) === null);
  }

  #namedSensors(): readonly string[] {
    return this.#wanted === 'any' ? [...this.#sensors.keys()] : this.#wanted;
  }

  #isWanted(sensorId: string): boolean {
    return this.#wanted === 'any' || this.#wanted.slice(0, this.#maxSensors).includes(sensorId);
  }

  #linkOf(sensorId: string): Link | null {
    return [...this.#links.values()].find((link) => link.prepared?.sensorId === sensorId) ?? null;
  }

  #sensorOf(sensorId: string): Sensor {
    let sensor = this.#sensors.get(sensorId);
    if (!sensor) {
      sensor = {
        ...{ state: null, stateText: '', description: null, lastNotificationS: null },
        ...{ information: null, informationFailures: 0 },
      };
      this.#sensors.set(sensorId, sensor);
    }
    return sensor;
  }

  #nowS(): number {
    return this.#options.clock.nowS();
  }
}

const lostRemedy = 'It is searched for. Bring it nearer, move it to wake it up, or charge it.';
