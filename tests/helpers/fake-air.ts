import { BehaviorSubject, Subject } from 'rxjs';
import {
  type CharacteristicInfo,
  type CharacteristicRef,
  type GattSession,
  type Radio,
  RadioError,
  type RadioState,
  type Sighting,
} from '../../src/devices/radio.ts';
import type { ManualClock } from '../devices/manual-clock.ts';

/** A device in the made-up air, as a test wants it. */
export interface FakeDevice {
  readonly sighting: Omit<Sighting, 'hostTimeS'>;
  readonly characteristics: readonly CharacteristicInfo[];
  read(ref: CharacteristicRef): Uint8Array;
  write(ref: CharacteristicRef, bytes: Uint8Array): void;
  /** @param take null when the subscription ends. */
  subscribe(ref: CharacteristicRef, take: ((bytes: Uint8Array) => void) | null): void;
  /** False refuses the connection. */
  connected(on: boolean): boolean;
}

/** A radio that reaches made-up devices, on a clock that stands still until told. */
export class FakeAir implements Radio {
  readonly #states: BehaviorSubject<RadioState>;
  readonly #sightings = new Subject<Sighting>();
  readonly states;
  readonly sightings = this.#sightings.asObservable();
  readonly #devices: readonly FakeDevice[];
  readonly #clock: ManualClock;
  #scanning = false;
  closed = false;
  connections = 0;

  constructor(clock: ManualClock, devices: readonly FakeDevice[], state: RadioState = { state: 'ready' }) {
    this.#clock = clock;
    this.#devices = devices;
    this.#states = new BehaviorSubject<RadioState>({ state: 'starting' });
    this.states = this.#states.asObservable();
    this.#end = state;
  }

  readonly #end: RadioState;

  start(): void {
    this.#clock.schedule(this.#clock.nowS() + 0.1, () => this.#states.next(this.#end));
    this.#advertise();
  }

  scan(on: boolean): void {
    this.#scanning = on;
  }

  async connect(radioId: string): Promise<GattSession> {
    const device = this.#devices.find(({ sighting }) => sighting.radioId === radioId);
    if (!device?.connected(true)) throw new RadioError('timeout', 'the device did not answer');
    this.connections += 1;
    return new FakeSession(device, this.#clock);
  }

  async close(): Promise<void> {
    this.closed = true;
  }

  #advertise(): void {
    if (this.closed) return;
    if (this.#scanning) {
      for (const { sighting } of this.#devices) this.#sightings.next({ ...sighting, hostTimeS: this.#clock.nowS() });
    }
    this.#clock.schedule(this.#clock.nowS() + 0.15, () => this.#advertise());
  }
}

class FakeSession implements GattSession {
  readonly radioId: string;
  readonly characteristics: readonly CharacteristicInfo[];
  readonly ended: Promise<string>;
  readonly #device: FakeDevice;
  readonly #clock: ManualClock;
  #end = (_why: string): void => {};
  #open = true;

  constructor(device: FakeDevice, clock: ManualClock) {
    this.radioId = device.sighting.radioId;
    this.characteristics = device.characteristics;
    this.#device = device;
    this.#clock = clock;
    this.ended = new Promise((resolve) => {
      this.#end = resolve;
    });
  }

  async read(ref: CharacteristicRef): Promise<Uint8Array> {
    this.#check(ref);
    return this.#device.read(ref);
  }

  async write(ref: CharacteristicRef, bytes: Uint8Array): Promise<void> {
    this.#check(ref);
    this.#device.write(ref, bytes);
  }

  async subscribe(ref: CharacteristicRef, take: (bytes: Uint8Array, hostTimeS: number) => void): Promise<void> {
    this.#check(ref);
    this.#device.subscribe(ref, (bytes) => take(bytes, this.#clock.nowS()));
  }

  async unsubscribe(ref: CharacteristicRef): Promise<void> {
    this.#check(ref);
    this.#device.subscribe(ref, null);
  }

  async disconnect(): Promise<void> {
    if (!this.#open) return;
    this.#open = false;
    this.#device.connected(false);
    this.#end('this side ended the connection');
  }

  #check(ref: CharacteristicRef): void {
    if (!this.#open) throw new RadioError('link-lost', 'the connection is over');
    const has = this.characteristics.some(
      ({ service, characteristic }) => service === ref.service && characteristic === ref.characteristic,
    );
    if (!has) throw new RadioError('not-found', 'the device has no such characteristic');
  }
}

/** Lets time pass on the clock whenever everybody waits, until the work is done. */
export async function letTimePass<Value>(clock: ManualClock, work: Promise<Value>, stepS = 0.01): Promise<Value> {
  let done = false;
  const end = () => {
    done = true;
  };
  work.then(end, end);
  for (;;) {
    await new Promise((resolve) => setImmediate(resolve));
    if (done) return work;
    clock.advance(stepS);
  }
}
