/** What is used of a browser's Web Bluetooth (W3C Community Group draft), which TypeScript does not bring along. */
export interface WebBluetooth {
  getAvailability?(): Promise<boolean>;
  requestDevice(options: {
    readonly filters: readonly { readonly services: readonly (string | number)[] }[];
    readonly optionalServices: readonly (string | number)[];
  }): Promise<WebDevice>;
}

export interface WebDevice extends EventTarget {
  readonly id: string;
  readonly name?: string | undefined;
  readonly gatt?: WebGattServer | undefined;
}

export interface WebGattServer {
  readonly connected: boolean;
  connect(): Promise<WebGattServer>;
  disconnect(): void;
  getPrimaryService(uuid: string | number): Promise<WebService>;
}

export interface WebService {
  getCharacteristic(uuid: string | number): Promise<WebCharacteristic>;
}

export interface WebCharacteristic extends EventTarget {
  readonly value?: DataView | null | undefined;
  readValue(): Promise<DataView>;
  writeValueWithResponse(bytes: Uint8Array): Promise<void>;
  startNotifications(): Promise<WebCharacteristic>;
}

/** Web Bluetooth takes assigned numbers as numbers, and refuses four hex digits as a text. */
export function webUuid(uuid: string): string | number {
  return uuid.length === 4 ? Number.parseInt(uuid, 16) : uuid;
}

/** @returns what the promise gives, or a rejection after a while: a device that went away may never answer. */
export function within<T>(promise: Promise<T>, limitMs: number, what: string): Promise<T> {
  return new Promise((resolve, reject) => {
    const timer = setTimeout(() => reject(new Error(`${what}: no answer within ${limitMs / 1000} s`)), limitMs);
    promise.then(resolve, reject).finally(() => clearTimeout(timer));
  });
}
