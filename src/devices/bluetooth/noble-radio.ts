import { BehaviorSubject, Subject } from 'rxjs';
import { type GattSession, type Radio, RadioError, type RadioState, type Sighting } from '../radio.ts';
import type { Noble, NobleConnectOptions, NoblePeripheral } from './noble-api.ts';
import { NobleSession } from './noble-session.ts';
import { radioUuid } from './radio-uuid.ts';
import { errorFacts, reasonOfAdapterState, reasonOfLoadError, type Surroundings, unavailable } from './unavailable.ts';

/** How long things may take, milliseconds. */
export interface RadioTimes {
  /** Until the adapter has said what state it is in. */
  readonly adapterMs: number;
  readonly connectMs: number;
  readonly operationMs: number;
  readonly disconnectMs: number;
  /** Between two sightings of one device that are passed on. */
  readonly sightingMs: number;
}

export const defaultRadioTimes: RadioTimes = {
  adapterMs: 5000,
  connectMs: 6000,
  operationMs: 5000,
  disconnectMs: 2000,
  sightingMs: 400,
};

export interface NobleRadioOptions {
  readonly load: () => Noble;
  readonly around: Surroundings;
  /** The clock of the host times that are given out. */
  readonly nowS: () => number;
  /** Told when nothing but a new process will help. */
  readonly broken: (why: string) => void;
  readonly times?: Partial<RadioTimes>;
}

/**
 * Given with the first connection, since the Linux kernel keeps the first set: 7.5 to 15 ms, no latency, 3 s. Noble's
 * own supervision timeout of 0.42 s ends connections when a body stands in between. A timeout whose low byte is 0x80
 * or more is not applied (a signed character inside the socket package).
 */
const connectOptions: NobleConnectOptions = { minInterval: 6, maxInterval: 12, latency: 0, timeout: 300 };

/** The radio through noble, in this process. What of it can hang, die or block is why it lives in a child process. */
export class NobleRadio implements Radio {
  readonly #states = new BehaviorSubject<RadioState>({ state: 'starting' });
  readonly #sightings = new Subject<Sighting>();
  readonly states = this.#states.asObservable();
  readonly sightings = this.#sightings.asObservable();
  readonly #options: NobleRadioOptions;
  readonly #times: RadioTimes;
  #noble: Noble | null = null;
  #adapterTimer: NodeJS.Timeout | undefined;
  readonly #peripherals = new Map<string, NoblePeripheral>();
  readonly #toldAtS = new Map<string, number>();
  readonly #sessions = new Set<NobleSession>();
  #scanWanted = false;
  #scanning = false;
  #connecting: Promise<unknown> = Promise.resolve();
  #connectCount = 0;

  constructor(options: NobleRadioOptions) {
    this.#options = options;
    this.#times = { ...defaultRadioTimes, ...options.times };
  }

  start(): void {
    if (this.#noble !== null || this.#states.value.state !== 'starting') return;
    const { load, around } = this.#options;
    try {
      const noble = load();
      this.#noble = noble;
      noble.on('warning', (message: unknown) => this.#onWarning(String(message)));
      noble.on('discover', (peripheral: NoblePeripheral) => this.#onDiscover(peripheral));
      noble.on('stateChange', (state: string) => this.#onAdapterState(state));
    } catch (error) {
      const reason = reasonOfLoadError(error, around.moduleName);
      const says = reason === 'package-broken' ? errorFacts(error).message : '';
      this.#states.next(unavailable(reason, around, says));
      return;
    }
    this.#adapterTimer = setTimeout(() => {
      if (this.#states.value.state === 'starting') this.#states.next(unavailable('no-adapter', around));
    }, this.#times.adapterMs);
  }

  scan(on: boolean): void {
    this.#scanWanted = on;
    this.#updateScan();
  }

  connect(radioId: string): Promise<GattSession> {
    this.#connectCount += 1;
    this.#updateScan();
    // One at a time: the adapter can make only one connection at once, and noble's own queue sticks.
    const result = this.#connecting.then(() => this.#connectNow(radioId));
    this.#connecting = result
      .catch(() => {})
      .then(() => {
        this.#connectCount -= 1;
        this.#updateScan();
      });
    return result;
  }

  async close(): Promise<void> {
    clearTimeout(this.#adapterTimer);
    this.#scanWanted = false;
    this.#updateScan();
    await Promise.all([...this.#sessions].map((session) => session.disconnect()));
    this.#noble?.removeAllListeners('discover');
    if (!this.#states.closed) this.#states.next({ state: 'closed' });
    this.#states.complete();
    this.#sightings.complete();
  }

  async #connectNow(radioId: string): Promise<GattSession> {
    const peripheral = this.#peripherals.get(radioId);
    if (this.#states.value.state !== 'ready') throw new RadioError('unavailable', 'Bluetooth is not ready');
    if (!peripheral) throw new RadioError('not-found', `there was no advertisement of device ${radioId}`);
    await this.#link(peripheral);
    const { operationMs, disconnectMs } = this.#times;
    const session = new NobleSession({ peripheral, nowS: this.#options.nowS, operationMs, disconnectMs });
    this.#sessions.add(session);
    void session.ended.then(() => this.#sessions.delete(session));
    try {
      await session.discover();
    } catch (error) {
      await session.disconnect();
      throw error;
    }
    return session;
  }

  /** Connects, or cancels after a while: noble would wait for ever for a device that has gone. */
  #link(peripheral: NoblePeripheral): Promise<void> {
    const { connectMs, disconnectMs } = this.#times;
    return new Promise((resolve, reject) => {
      let waiting = true;
      const patience = setTimeout(() => {
        waiting = false;
        reject(new RadioError('timeout', `no connection within ${connectMs / 1000} s`));
        // The cancel calls back at once on noble's side; what the adapter makes of it comes after.
        const stuck = setTimeout(() => {
          peripheral.removeListener('connect', afterCancel);
          this.#options.broken('the adapter did not end an attempt to connect');
        }, disconnectMs);
        const afterCancel = (error: unknown): void => {
          clearTimeout(stuck);
          // It came after all, too late for anybody.
          if (!error) peripheral.disconnect();
        };
        peripheral.cancelConnect();
        peripheral.once('connect', afterCancel);
      }, connectMs);
      peripheral.connect(connectOptions, (error) => {
        if (!waiting) return;
        waiting = false;
        clearTimeout(patience);
        if (error) reject(new RadioError('refused', `the connection was not made: ${errorFacts(error).message}`));
        else resolve();
      });
    });
  }

  #onAdapterState(adapterState: string): void {
    const { around } = this.#options;
    clearTimeout(this.#adapterTimer);
    if (this.#states.value.state === 'closed') return;
    const reason = reasonOfAdapterState(adapterState);
    if (adapterState === 'poweredOn') {
      this.#states.next({ state: 'ready' });
      this.#updateScan();
      return;
    }
    if (reason === null) return;
    this.#scanning = false;
    const state = unavailable(reason, around);
    // Noble itself tells nobody that the connections are gone with the adapter.
    for (const session of [...this.#sessions]) session.end(state.detail);
    this.#states.next(state);
  }

  #onWarning(message: string): void {
    if (!message.includes('Initialization')) return;
    clearTimeout(this.#adapterTimer);
    const permission = /EPERM|EACCES|permission|not permitted/i.test(message);
    this.#states.next(unavailable(permission ? 'permission-missing' : 'no-adapter', this.#options.around, message));
  }

  #onDiscover(peripheral: NoblePeripheral): void {
    const hostTimeS = this.#options.nowS();
    this.#peripherals.set(peripheral.id, peripheral);
    const toldAtS = this.#toldAtS.get(peripheral.id) ?? Number.NEGATIVE_INFINITY;
    if (hostTimeS - toldAtS < this.#times.sightingMs / 1000) return;
    this.#toldAtS.set(peripheral.id, hostTimeS);
    const { localName, serviceUuids, manufacturerData } = peripheral.advertisement ?? {};
    this.#sightings.next({
      radioId: peripheral.id,
      name: localName ?? null,
      serviceUuids: (serviceUuids ?? []).map(radioUuid),
      manufacturerData: manufacturerData ? Uint8Array.from(manufacturerData) : null,
      rssiDbm: peripheral.rssi,
      connectable: peripheral.connectable !== false,
      hostTimeS,
    });
  }

  /** Many adapters cannot look around and connect at once. */
  #updateScan(): void {
    const noble = this.#noble;
    if (noble === null || this.#states.value.state !== 'ready') return;
    const on = this.#scanWanted && this.#connectCount === 0;
    if (on === this.#scanning) return;
    this.#scanning = on;
    if (on) noble.startScanning([], true, () => {});
    else noble.stopScanning();
  }
}
