import { uuidBytes, VirtualGatt, type VirtualService } from './virtual-gatt.ts';

/** What becomes of a request of the host: answered, ignored, answered late (ms), or the link drops. */
export type AttFate = 'answer' | 'ignore' | 'drop' | number;

export interface VirtualPeripheralOptions {
  /** Such as `c0:00:00:00:00:01`. */
  readonly address: string;
  readonly name: string;
  readonly services: readonly VirtualService[];
  /** In the advertisement; default those of the services with 128 bits. */
  readonly advertisedUuids?: readonly string[];
  readonly mtu?: number;
  readonly rssiDbm?: number;
}

/** What the controller gives a connected peripheral. */
export interface PeripheralLink {
  /** Sends one PDU of the attribute channel. */
  send(pdu: Uint8Array): void;
  /** Ends the link with an error code of the Core Specification, Vol 1 Part F. */
  drop(reason: number): void;
}

/** A Bluetooth LE device in the virtual air. Faults are switched on by its public fields. */
export class VirtualPeripheral {
  address: string;
  readonly name: string;
  readonly gatt: VirtualGatt;
  readonly advertisedUuids: readonly string[];
  rssiDbm: number;
  /** False: out of reach; nothing is heard of it, and a connection to it is never made. */
  inReach = true;
  /** Heard, but it never answers an attempt to connect. */
  ignoresConnect = false;
  /** What becomes of each request; default: answered. */
  attFate: (opcode: number, pdu: Uint8Array) => AttFate = () => 'answer';
  link: PeripheralLink | null = null;
  connectionCount = 0;
  onLink: (up: boolean) => void = () => {};
  /** Parameters of the last connection as the host asked for them. */
  lastParameters: { readonly minInterval: number; readonly maxInterval: number; readonly timeout: number } | null =
    null;

  constructor(options: VirtualPeripheralOptions) {
    const { address, name, services, mtu = 247, rssiDbm = -55 } = options;
    this.address = address;
    this.name = name;
    this.rssiDbm = rssiDbm;
    this.gatt = new VirtualGatt(services, mtu);
    this.advertisedUuids =
      options.advertisedUuids ?? services.map(({ uuid }) => uuid).filter((uuid) => uuid.length > 4);
  }

  /** Flags, complete list of 128-bit services, complete name. */
  get advertisement(): Uint8Array {
    const parts = [Uint8Array.of(2, 0x01, 0x06)];
    for (const uuid of this.advertisedUuids) {
      const bytes = uuidBytes(uuid);
      parts.push(Uint8Array.of(bytes.length + 1, bytes.length === 2 ? 0x03 : 0x07, ...bytes));
    }
    const name = new TextEncoder().encode(this.name);
    if (name.length > 0) parts.push(Uint8Array.of(name.length + 1, 0x09, ...name));
    return Uint8Array.from(parts.flatMap((part) => [...part]));
  }

  connected(link: PeripheralLink): void {
    this.link = link;
    this.connectionCount += 1;
    this.onLink(true);
  }

  /** The controller says that the link is gone. */
  disconnected(): void {
    this.link = null;
    this.gatt.reset();
    this.onLink(false);
  }

  receive(pdu: Uint8Array): void {
    const { link } = this;
    if (link === null) return;
    const fate = this.attFate(pdu[0]!, pdu);
    if (fate === 'ignore') return;
    if (fate === 'drop') {
      link.drop(0x08);
      return;
    }
    const answer = this.gatt.answer(pdu);
    if (answer === null) return;
    if (typeof fate === 'number') setTimeout(() => this.link === link && link.send(answer), fate);
    else link.send(answer);
  }

  /** @returns false when nobody has subscribed. */
  notify(uuid: string, bytes: Uint8Array): boolean {
    if (this.link === null || !this.gatt.isSubscribed(uuid)) return false;
    this.link.send(this.gatt.notification(uuid, bytes));
    return true;
  }

  /** Ends the link as a device does that went out of reach (0x08), or with another code. */
  drop(reason = 0x08): void {
    this.link?.drop(reason);
  }
}
