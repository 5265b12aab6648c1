/**
 * Stands in for the class that `@abandonware/bluetooth-hci-socket` exports, and for nothing else: all of noble above
 * it runs as it is.
 */
import { EventEmitter } from 'node:events';

/** Where a fake socket finds its controller. */
export interface HciTransport {
  /** Takes packets from the host. */
  write(packet: Uint8Array): void;
  isUp(): boolean;
  /** Hands over the receiver of packets for the host. */
  attach(receive: (packet: Buffer) => void): void;
  /** `one` packet a callback as the compiled class does, or all that wait `batch`. */
  readonly delivery: 'one' | 'batch';
  /** An error that the socket has from the start, such as a missing permission. */
  readonly error: Error | null;
}

let present: HciTransport | null = null;

/** Names the controller of the sockets that are made from now on. */
export function plugIn(transport: HciTransport): void {
  present = transport;
}

export class FakeHciSocket extends EventEmitter {
  readonly #transport: HciTransport;
  #queue: Buffer[] = [];
  #next = 0;
  #awake = false;
  #started = false;

  constructor() {
    super();
    if (present === null) throw new Error('plugIn() first');
    this.#transport = present;
  }

  start(): void {
    if (this.#started) return;
    this.#started = true;
    const { error } = this.#transport;
    if (error) {
      // Without the permission nothing is sent and nothing comes; whether the adapter is up can still be asked.
      setImmediate(() => this.emit('error', error));
      return;
    }
    this.#transport.attach((packet) => {
      this.#queue.push(packet);
      this.#wake();
    });
  }

  #wake(): void {
    if (this.#awake || this.#next === this.#queue.length) return;
    this.#awake = true;
    setImmediate(() => this.#deliver());
  }

  #deliver(): void {
    this.#awake = false;
    const until = this.#transport.delivery === 'batch' ? this.#queue.length : this.#next + 1;
    const packets = this.#queue.slice(this.#next, until);
    this.#next = until;
    if (this.#next === this.#queue.length) {
      this.#queue = [];
      this.#next = 0;
    }
    // Asked for before a packet is handed out: a reader that throws must not stop the next.
    this.#wake();
    for (const packet of packets) this.emit('data', packet);
  }

  stop(): void {}
  reset(): void {}
  cleanup(): void {}
  setFilter(): void {}
  bindRaw(deviceId: number | undefined): number {
    return deviceId ?? 0;
  }
  bindUser(deviceId: number | undefined): number {
    return deviceId ?? 0;
  }
  isDevUp(): boolean {
    return this.#transport.isUp();
  }
  write(packet: Buffer): void {
    if (this.#transport.error) return;
    // Never inside the caller: the answers of a real adapter come later.
    const copy = Uint8Array.from(packet);
    setImmediate(() => this.#transport.write(copy));
  }
}
