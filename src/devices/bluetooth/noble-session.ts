import type { CharacteristicInfo, CharacteristicRef, GattSession } from '../radio.ts';
import { RadioError } from '../radio.ts';
import type { NobleCharacteristic, NoblePeripheral, NobleService } from './noble-api.ts';
import { radioUuid } from './radio-uuid.ts';

export interface NobleSessionOptions {
  readonly peripheral: NoblePeripheral;
  readonly nowS: () => number;
  readonly operationMs: number;
  readonly disconnectMs: number;
}

interface Found extends CharacteristicInfo {
  readonly noble: NobleCharacteristic;
}

/**
 * One connection through noble.
 *
 * Many of noble's calls never call back: at a drop, on an error of the other side, on a missing descriptor. So each
 * has a deadline and ends with the link. A call that ran into its deadline leaves noble's queue stuck behind it, as the
 * attribute protocol allows one request at a time: the link is given up then.
 */
export class NobleSession implements GattSession {
  readonly radioId: string;
  readonly ended: Promise<string>;
  readonly #options: NobleSessionOptions;
  #found: readonly Found[] = [];
  #listeners: (() => void)[] = [];
  #endedWhy: string | null = null;
  #resolveEnded: (why: string) => void = () => {};
  readonly #aborts = new Set<(error: RadioError) => void>();

  /** The peripheral is connected. */
  constructor(options: NobleSessionOptions) {
    this.#options = options;
    this.radioId = options.peripheral.id;
    this.ended = new Promise((resolve) => {
      this.#resolveEnded = resolve;
    });
    const onDisconnect = (reason: unknown): void => this.end(disconnectText(reason));
    options.peripheral.once('disconnect', onDisconnect);
    this.#listeners.push(() => options.peripheral.removeListener('disconnect', onDisconnect));
  }

  get characteristics(): readonly CharacteristicInfo[] {
    return this.#found.map(({ service, characteristic, properties }) => ({ service, characteristic, properties }));
  }

  /**
   * Two characteristics of one UUID in a service collapse into the later one inside noble.
   *
   * @throws RadioError
   */
  async discover(): Promise<void> {
    const { peripheral } = this.#options;
    const services = await this.#run('the search for services', (done: Answer<NobleService[]>) => {
      peripheral.discoverServices([], done);
    });
    const found: Found[] = [];
    for (const service of services ?? []) {
      const serviceUuid = radioUuid(service.uuid);
      const name = `the search for characteristics of ${serviceUuid}`;
      const inside = await this.#run(name, (done: Answer<NobleCharacteristic[]>) => {
        service.discoverCharacteristics([], done);
      });
      for (const noble of inside ?? []) {
        const { properties } = noble;
        found.push({ service: serviceUuid, characteristic: radioUuid(noble.uuid), properties, noble });
      }
    }
    this.#found = found;
  }

  async read(ref: CharacteristicRef): Promise<Uint8Array> {
    const { noble } = this.#find(ref);
    const bytes = await this.#run(`reading ${ref.characteristic}`, (done: Answer<Uint8Array>) => noble.read(done));
    return Uint8Array.from(bytes ?? []);
  }

  async write(ref: CharacteristicRef, bytes: Uint8Array, options: { withResponse?: boolean } = {}): Promise<void> {
    const { noble, properties } = this.#find(ref);
    const { withResponse = properties.includes('write') } = options;
    await this.#run(`writing ${ref.characteristic}`, (done) => noble.write(Buffer.from(bytes), !withResponse, done));
  }

  async subscribe(ref: CharacteristicRef, take: (bytes: Uint8Array, hostTimeS: number) => void): Promise<void> {
    const { noble } = this.#find(ref);
    const { nowS } = this.#options;
    const onData = (bytes: Uint8Array, isNotification: boolean): void => {
      if (isNotification && this.#endedWhy === null) take(Uint8Array.from(bytes), nowS());
    };
    // Before the subscription: the first notifications come before its answer.
    noble.on('data', onData);
    this.#listeners.push(() => noble.removeListener('data', onData));
    const name = `subscribing to ${ref.characteristic} (it needs a descriptor 0x2902)`;
    await this.#run(name, (done) => noble.subscribe(done));
  }

  async unsubscribe(ref: CharacteristicRef): Promise<void> {
    const { noble } = this.#find(ref);
    await this.#run(`unsubscribing from ${ref.characteristic}`, (done) => noble.unsubscribe(done));
  }

  async disconnect(): Promise<void> {
    const { peripheral, disconnectMs } = this.#options;
    if (this.#endedWhy !== null) return;
    // Noble calls back only when there was a connection, and only while the adapter is there.
    const patience = setTimeout(() => this.end('this side gave the connection up'), disconnectMs);
    try {
      peripheral.disconnect();
    } catch (error) {
      this.end(`this side gave the connection up (${String(error)})`);
    }
    await this.ended;
    clearTimeout(patience);
  }

  /** Says that the link is gone. */
  end(why: string): void {
    if (this.#endedWhy !== null) return;
    this.#endedWhy = why;
    for (const remove of this.#listeners) remove();
    this.#listeners = [];
    for (const abort of [...this.#aborts]) abort(new RadioError('link-lost', why));
    this.#resolveEnded(why);
  }

  #find(ref: CharacteristicRef): Found {
    const found = this.#found.find(
      ({ service, characteristic }) => service === ref.service && characteristic === ref.characteristic,
    );
    if (found) return found;
    const hasService = this.#found.some(({ service }) => service === ref.service);
    const what = hasService
      ? `service ${ref.service} has no characteristic ${ref.characteristic}`
      : `it has no service ${ref.service}`;
    throw new RadioError('not-found', `device ${this.radioId}: ${what}`);
  }

  #run<T>(name: string, start: (done: Answer<T>) => void): Promise<T | undefined> {
    return new Promise((resolve, reject) => {
      if (this.#endedWhy !== null) {
        reject(new RadioError('link-lost', `${name}: ${this.#endedWhy}`));
        return;
      }
      const finish = (settle: () => void): void => {
        clearTimeout(deadline);
        this.#aborts.delete(abort);
        settle();
      };
      const abort = (error: RadioError): void => finish(() => reject(error));
      const { operationMs } = this.#options;
      const deadline = setTimeout(() => {
        const why = `${name}: no answer within ${operationMs / 1000} s`;
        finish(() => reject(new RadioError('timeout', why)));
        void this.disconnect();
      }, operationMs);
      this.#aborts.add(abort);
      try {
        start((error, value) => {
          if (error) finish(() => reject(new RadioError('refused', `${name}: ${String(error)}`)));
          else finish(() => resolve(value));
        });
      } catch (error) {
        finish(() => reject(new RadioError('refused', `${name}: ${String(error)}`)));
      }
    });
  }
}

type Answer<T> = (error?: unknown, value?: T) => void;

/** Reasons as numbers are those of the Bluetooth Core Specification, Vol 1 Part F, error codes. */
function disconnectText(reason: unknown): string {
  switch (reason) {
    case 0x08:
      return 'the sensor went out of reach or lost its power (no answer on the air)';
    case 0x13:
    case 0x14:
    case 0x15:
      return 'the sensor ended the connection';
    case 0x16:
      return 'this side ended the connection';
    default:
      return reason === undefined || reason === null
        ? 'the connection ended'
        : `the connection ended (${String(reason)})`;
  }
}
