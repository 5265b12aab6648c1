/**
 * The attribute server of a virtual peripheral: attribute protocol and GATT as far as a central needs them.
 * Bluetooth Core Specification 5.4, Vol 3 Part F (attribute protocol) and Part G (GATT).
 */

export interface VirtualCharacteristic {
  readonly uuid: string;
  readonly properties: readonly ('read' | 'write' | 'writeWithoutResponse' | 'notify' | 'indicate')[];
  readonly read?: () => Uint8Array;
  readonly write?: (bytes: Uint8Array) => void;
  /** Told when the host subscribes or unsubscribes. */
  readonly subscribed?: (on: boolean) => void;
  /** False leaves the client characteristic configuration descriptor out although the characteristic notifies. */
  readonly ccc?: boolean;
}

export interface VirtualService {
  readonly uuid: string;
  readonly characteristics: readonly VirtualCharacteristic[];
}

interface Attribute {
  readonly handle: number;
  readonly type: string;
  readonly value: () => Uint8Array;
  readonly write: ((bytes: Uint8Array) => void) | null;
  /** Last handle of a service declaration's group. */
  groupEnd: number;
}

const propertyBits = { read: 0x02, writeWithoutResponse: 0x04, write: 0x08, notify: 0x10, indicate: 0x20 } as const;
const error = {
  invalidHandle: 0x01,
  writeNotPermitted: 0x03,
  notSupported: 0x06,
  invalidOffset: 0x07,
  notFound: 0x0a,
} as const;

/** @returns a UUID in the order of the air. */
export function uuidBytes(uuid: string): Uint8Array {
  return Uint8Array.from(Buffer.from(uuid.replaceAll('-', ''), 'hex')).reverse();
}

/** Answers the requests of one host over one connection after another. */
export class VirtualGatt {
  /** What the server can take; the exchange makes it the smaller of both sides'. */
  readonly serverMtu: number;
  mtu = 23;
  readonly #attributes: Attribute[] = [];
  readonly #valueHandles = new Map<string, number>();
  readonly #subscriptions = new Map<string, number>();
  readonly #listeners = new Map<string, (on: boolean) => void>();

  constructor(services: readonly VirtualService[], serverMtu: number) {
    this.serverMtu = serverMtu;
    for (const service of services) this.#addService(service);
  }

  /** The connection ended: nothing of it is kept. */
  reset(): void {
    this.mtu = 23;
    for (const [uuid, bits] of this.#subscriptions) if (bits !== 0) this.#listeners.get(uuid)?.(false);
    this.#subscriptions.clear();
  }

  isSubscribed(uuid: string): boolean {
    return (this.#subscriptions.get(uuid) ?? 0) !== 0;
  }

  /** @returns the PDU of a notification, cut to what the MTU carries. */
  notification(uuid: string, bytes: Uint8Array): Uint8Array {
    const handle = this.#valueHandles.get(uuid);
    if (handle === undefined) throw new Error(`the virtual peripheral has no characteristic ${uuid}`);
    return join([0x1b, ...u16(handle)], bytes.subarray(0, this.mtu - 3));
  }

  /** @returns the answer to a request, or null where none is due. */
  answer(pdu: Uint8Array): Uint8Array | null {
    const view = new DataView(pdu.buffer, pdu.byteOffset, pdu.byteLength);
    const opcode = pdu[0]!;
    const at = (offset: number): number => view.getUint16(offset, true);
    switch (opcode) {
      case 0x02:
        this.mtu = Math.max(23, Math.min(this.serverMtu, at(1)));
        return Uint8Array.of(0x03, ...u16(this.serverMtu));
      case 0x04:
        return this.#findInformation(at(1), at(3));
      case 0x08:
        return this.#readByType(at(1), at(3), typeOf(pdu.subarray(5)));
      case 0x0a:
        return this.#read(opcode, at(1), 0);
      case 0x0c:
        return this.#read(opcode, at(1), at(3));
      case 0x10:
        return this.#readByGroup(at(1), at(3), typeOf(pdu.subarray(5)));
      case 0x12:
      case 0x52:
        return this.#write(opcode, at(1), pdu.slice(3));
      default:
        // Odd numbers are answers and notifications, bit 6 marks commands: nothing to say.
        return opcode % 2 === 1 || (opcode & 0x40) !== 0 ? null : failed(opcode, 0, error.notSupported);
    }
  }

  #addService({ uuid, characteristics }: VirtualService): void {
    const declaration = this.#add('2800', () => uuidBytes(uuid), null);
    for (const characteristic of characteristics) this.#addCharacteristic(characteristic);
    declaration.groupEnd = this.#attributes.at(-1)!.handle;
  }

  #addCharacteristic({ uuid, properties, read, write, subscribed, ccc = true }: VirtualCharacteristic): void {
    const bits = properties.reduce((sum, property) => sum | propertyBits[property], 0);
    const valueHandle = this.#attributes.length + 2;
    this.#add('2803', () => join([bits, ...u16(valueHandle)], uuidBytes(uuid)), null);
    this.#add(uuid, read ?? (() => new Uint8Array()), write ?? null);
    this.#valueHandles.set(uuid, valueHandle);
    if (!ccc || !(properties.includes('notify') || properties.includes('indicate'))) return;
    if (subscribed) this.#listeners.set(uuid, subscribed);
    this.#add(
      '2902',
      () => Uint8Array.from(u16(this.#subscriptions.get(uuid) ?? 0)),
      (bytes) => {
        this.#subscriptions.set(uuid, bytes[0] ?? 0);
        subscribed?.((bytes[0] ?? 0) !== 0);
      },
    );
  }

  #add(type: string, value: () => Uint8Array, write: ((bytes: Uint8Array) => void) | null): Attribute {
    const handle = this.#attributes.length + 1;
    const attribute: Attribute = { handle, type, value, write, groupEnd: handle };
    this.#attributes.push(attribute);
    return attribute;
  }

  #within(start: number, end: number): Attribute[] {
    return this.#attributes.filter(({ handle }) => handle >= start && handle <= end);
  }

  #readByGroup(start: number, end: number, type: string): Uint8Array {
    const found = this.#within(start, end).filter((attribute) => attribute.type === type);
    const entry = ({ handle, groupEnd, value }: Attribute) => join([...u16(handle), ...u16(groupEnd)], value());
    return this.#list(0x10, 0x11, start, found.map(entry));
  }

  #readByType(start: number, end: number, type: string): Uint8Array {
    const found = this.#within(start, end).filter((attribute) => attribute.type === type);
    return this.#list(
      0x08,
      0x09,
      start,
      found.map(({ handle, value }) => join(u16(handle), value())),
    );
  }

  #findInformation(start: number, end: number): Uint8Array {
    const found = this.#within(start, end).map(({ handle, type }) => join(u16(handle), uuidBytes(type)));
    const first = found[0];
    if (!first) return failed(0x04, start, error.notFound);
    const alike = found.filter((entry) => entry.length === first.length);
    const fit = alike.slice(0, Math.floor((this.mtu - 2) / first.length));
    return join([0x05, first.length === 4 ? 1 : 2], ...fit);
  }

  /** Entries of one length, as many as the MTU carries. */
  #list(request: number, response: number, start: number, entries: readonly Uint8Array[]): Uint8Array {
    const first = entries[0];
    if (!first) return failed(request, start, error.notFound);
    const other = entries.findIndex((entry) => entry.length !== first.length);
    const alike = other < 0 ? entries : entries.slice(0, other);
    return join([response, first.length], ...alike.slice(0, Math.floor((this.mtu - 2) / first.length)));
  }

  #read(opcode: number, handle: number, offset: number): Uint8Array {
    const attribute = this.#attributes[handle - 1];
    if (!attribute) return failed(opcode, handle, error.invalidHandle);
    const value = attribute.value();
    if (offset > value.length) return failed(opcode, handle, error.invalidOffset);
    return join([opcode + 1], value.subarray(offset, offset + this.mtu - 1));
  }

  #write(opcode: number, handle: number, bytes: Uint8Array): Uint8Array | null {
    const attribute = this.#attributes[handle - 1];
    const silent = opcode === 0x52;
    if (!attribute) return silent ? null : failed(opcode, handle, error.invalidHandle);
    if (!attribute.write) return silent ? null : failed(opcode, handle, error.writeNotPermitted);
    attribute.write(bytes);
    return silent ? null : Uint8Array.of(0x13);
  }
}

function failed(request: number, handle: number, code: number): Uint8Array {
  return Uint8Array.of(0x01, request, ...u16(handle), code);
}

function typeOf(bytes: Uint8Array): string {
  const hex = Buffer.from(Uint8Array.from(bytes).reverse()).toString('hex');
  if (hex.length !== 32) return hex;
  return `${hex.slice(0, 8)}-${hex.slice(8, 12)}-${hex.slice(12, 16)}-${hex.slice(16, 20)}-${hex.slice(20)}`;
}

function u16(value: number): number[] {
  return [value & 0xff, (value >> 8) & 0xff];
}

function join(...parts: readonly (Uint8Array | readonly number[])[]): Uint8Array {
  const whole = new Uint8Array(parts.reduce((sum, part) => sum + part.length, 0));
  let at = 0;
  for (const part of parts) {
    whole.set(part, at);
    at += part.length;
  }
  return whole;
}
