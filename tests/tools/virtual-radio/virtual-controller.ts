/**
 * A Bluetooth controller with an air of its own, as a host sees it: HCI commands and ACL data go in, events and ACL
 * data come out. Bluetooth Core Specification 5.4, Vol 4 Part E.
 */
import type { VirtualPeripheral } from './virtual-peripheral.ts';

export interface VirtualControllerOptions {
  /** Bytes of one ACL packet, in both directions: 27, or 251 with data length extension. */
  readonly aclBytes?: number;
  readonly advertiseMs?: number;
}

interface Connection {
  readonly handle: number;
  readonly peripheral: VirtualPeripheral;
  /** What has come of an L2CAP packet so far. */
  partial: Uint8Array;
}

const opcode = {
  disconnect: 0x0406,
  readLocalVersion: 0x1001,
  readBufferSize: 0x1005,
  readAddress: 0x1009,
  readRssi: 0x1405,
  readLeHostSupported: 0x0c6c,
  leReadBufferSize: 0x2002,
  leScanEnable: 0x200c,
  leCreateConnection: 0x200d,
  leCancelConnection: 0x200e,
} as const;
/** Commands that are confirmed and change nothing here. */
const confirmed = new Set([0x0c01, 0x0c03, 0x0c6d, 0x2001, 0x200b, 0x2013, 0x2031]);

const attChannel = 4;

export class VirtualController {
  readonly peripherals: VirtualPeripheral[] = [];
  readonly #aclBytes: number;
  readonly #advertiseMs: number;
  /** False: the adapter is switched off; the host sees it when it looks. */
  up = true;
  /** A connection attempt that was cancelled is never reported as ended. */
  neverEndsConnect = false;
  /** Where packets for the host go. */
  toHost: (packet: Uint8Array) => void = () => {};
  /** Told when the adapter is switched on or off. */
  onUp: (up: boolean) => void = () => {};
  #scanning = false;
  #scanTimer: NodeJS.Timeout | undefined;
  #pending: VirtualPeripheral | 'nobody' | null = null;
  #pendingTimer: NodeJS.Timeout | undefined;
  readonly #connections = new Map<number, Connection>();
  #lastHandle = 0x3f;

  constructor({ aclBytes = 251, advertiseMs = 20 }: VirtualControllerOptions = {}) {
    this.#aclBytes = aclBytes;
    this.#advertiseMs = advertiseMs;
  }

  add(...peripherals: VirtualPeripheral[]): void {
    this.peripherals.push(...peripherals);
  }

  /** The host is gone, and all connections with it. */
  hostLost(): void {
    this.#stopScan();
    this.#pending = null;
    clearTimeout(this.#pendingTimer);
    for (const { peripheral } of this.#connections.values()) peripheral.disconnected();
    this.#connections.clear();
  }

  /** Takes the adapter away as a pulled plug does: nothing is said about the connections. */
  switchOff(): void {
    this.up = false;
    this.hostLost();
    this.onUp(false);
  }

  switchOn(): void {
    this.up = true;
    this.onUp(true);
  }

  receive(packet: Uint8Array): void {
    if (!this.up) return;
    if (packet[0] === 0x01) this.#command(packet);
    else if (packet[0] === 0x02) this.#acl(packet);
  }

  /** Sends bytes as they are. */
  inject(packet: Uint8Array): void {
    this.toHost(packet);
  }

  /** @returns the handle of a peripheral's connection. */
  handleOf(peripheral: VirtualPeripheral): number {
    const found = [...this.#connections.values()].find((connection) => connection.peripheral === peripheral);
    if (!found) throw new Error(`${peripheral.name} is not connected`);
    return found.handle;
  }

  #command(packet: Uint8Array): void {
    const code = packet[1]! | (packet[2]! << 8);
    const values = packet.subarray(4);
    switch (code) {
      case opcode.readLocalVersion:
        this.#complete(code, 0x0c, 0, 0, 0x0c, 0xff, 0xff, 0, 0);
        return;
      case opcode.readLeHostSupported:
        this.#complete(code, 1, 0);
        return;
      case opcode.readAddress:
        this.#complete(code, 0x11, 0x22, 0x33, 0x44, 0x55, 0x66);
        return;
      case opcode.leReadBufferSize:
        this.#complete(code, ...u16(this.#aclBytes), 8);
        return;
      case opcode.readBufferSize:
        this.#complete(code, ...u16(this.#aclBytes), 0, ...u16(8), ...u16(0));
        return;
      case opcode.readRssi:
        this.#complete(code, values[0]!, values[1]!, 0xc9);
        return;
      case opcode.leScanEnable:
        this.#complete(code);
        if (values[0] === 1) this.#startScan();
        else this.#stopScan();
        return;
      case opcode.leCreateConnection:
        this.#createConnection(values);
        return;
      case opcode.leCancelConnection:
        this.#cancelConnection();
        return;
      case opcode.disconnect:
        this.#disconnect(values[0]! | (values[1]! << 8));
        return;
      default:
        if (confirmed.has(code)) this.#complete(code);
        else this.#event(0x0e, 1, ...u16(code), 0x01);
    }
  }

  #startScan(): void {
    this.#stopScan();
    this.#scanning = true;
    this.#scanTimer = setInterval(() => {
      for (const peripheral of this.peripherals) {
        const isFree = peripheral.inReach && peripheral.link === null;
        if (isFree) this.report(peripheral.address, peripheral.advertisement, peripheral.rssiDbm);
      }
    }, this.#advertiseMs);
  }

  #stopScan(): void {
    this.#scanning = false;
    clearInterval(this.#scanTimer);
  }

  /** Reports one advertisement, if the host is looking around. */
  report(address: string, data: Uint8Array, rssiDbm: number): void {
    if (!this.#scanning) return;
    this.#event(0x3e, 0x02, 1, 0x00, 0x01, ...addressBytes(address), data.length, ...data, rssiDbm & 0xff);
  }

  #createConnection(values: Uint8Array): void {
    const code = opcode.leCreateConnection;
    if (this.#pending !== null) {
      this.#event(0x0f, 0x0c, 1, ...u16(code));
      return;
    }
    this.#event(0x0f, 0x00, 1, ...u16(code));
    const address = Buffer.from(values.subarray(6, 12))
      .reverse()
      .toString('hex')
      .replaceAll(/(..)(?=.)/g, '$1:');
    const peripheral = this.peripherals.find((other) => other.address === address);
    if (!peripheral?.inReach || peripheral.ignoresConnect || peripheral.link !== null) {
      this.#pending = peripheral ?? 'nobody';
      return;
    }
    this.#pending = peripheral;
    const at = (offset: number): number => values[offset]! | (values[offset + 1]! << 8);
    peripheral.lastParameters = { minInterval: at(13), maxInterval: at(15), timeout: at(19) };
    this.#pendingTimer = setTimeout(() => this.#connected(peripheral), 2);
  }

  #connected(peripheral: VirtualPeripheral): void {
    this.#pending = null;
    this.#lastHandle += 1;
    const handle = this.#lastHandle;
    const connection: Connection = { handle, peripheral, partial: new Uint8Array() };
    this.#connections.set(handle, connection);
    const { minInterval = 12, timeout = 300 } = peripheral.lastParameters ?? {};
    const more = [...u16(minInterval), ...u16(0), ...u16(timeout), 0];
    this.#event(0x3e, 0x01, 0x00, ...u16(handle), 0, 1, ...addressBytes(peripheral.address), ...more);
    peripheral.connected({
      send: (pdu) => this.#sendAtt(connection, pdu),
      drop: (reason) => this.#end(connection, reason),
    });
  }

  #cancelConnection(): void {
    this.#complete(opcode.leCancelConnection);
    if (this.#pending === null || this.neverEndsConnect) return;
    clearTimeout(this.#pendingTimer);
    this.#pending = null;
    this.#event(0x3e, 0x01, 0x02, ...u16(0), 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0);
  }

  #disconnect(handle: number): void {
    this.#event(0x0f, this.#connections.has(handle) ? 0x00 : 0x02, 1, ...u16(opcode.disconnect));
    const connection = this.#connections.get(handle);
    if (connection) this.#end(connection, 0x16);
  }

  #end(connection: Connection, reason: number): void {
    if (!this.#connections.delete(connection.handle)) return;
    connection.peripheral.disconnected();
    this.#event(0x05, 0x00, ...u16(connection.handle), reason);
  }

  #acl(packet: Uint8Array): void {
    const handle = (packet[1]! | (packet[2]! << 8)) & 0x0fff;
    const connection = this.#connections.get(handle);
    this.#event(0x13, 1, ...u16(handle), ...u16(1));
    if (!connection) return;
    connection.partial = Uint8Array.from([...connection.partial, ...packet.subarray(5)]);
    const { partial } = connection;
    if (partial.length < 4) return;
    const bytes = partial[0]! | (partial[1]! << 8);
    if (partial.length < 4 + bytes) return;
    connection.partial = partial.slice(4 + bytes);
    const channel = partial[2]! | (partial[3]! << 8);
    if (channel === attChannel) connection.peripheral.receive(partial.slice(4, 4 + bytes));
  }

  /** In pieces of the size of an ACL packet. */
  #sendAtt({ handle }: Connection, pdu: Uint8Array): void {
    const whole = Buffer.alloc(4 + pdu.length);
    whole.writeUInt16LE(pdu.length, 0);
    whole.writeUInt16LE(attChannel, 2);
    whole.set(pdu, 4);
    for (let at = 0; at < whole.length; at += this.#aclBytes) {
      const piece = whole.subarray(at, at + this.#aclBytes);
      const packet = Buffer.alloc(5 + piece.length);
      packet[0] = 0x02;
      packet.writeUInt16LE(handle | ((at === 0 ? 0x2 : 0x1) << 12), 1);
      packet.writeUInt16LE(piece.length, 3);
      packet.set(piece, 5);
      this.toHost(packet);
    }
  }

  #complete(code: number, ...result: number[]): void {
    this.#event(0x0e, 1, ...u16(code), 0x00, ...result);
  }

  #event(code: number, ...values: number[]): void {
    this.toHost(Buffer.from([0x04, code, values.length, ...values]));
  }
}

function addressBytes(address: string): number[] {
  return address
    .split(':')
    .reverse()
    .map((pair) => Number.parseInt(pair, 16));
}

function u16(value: number): number[] {
  return [value & 0xff, (value >> 8) & 0xff];
}
