/**
 * What is used of the noble package, written down here because the package is optional and its own types leave out
 * the options of `connect`. Both packages of `nobleModules` fit.
 */
import type { EventEmitter } from 'node:events';
import { createRequire } from 'node:module';

/** Packages that can be chosen by configuration; the first is the default. */
export const nobleModules = ['@abandonware/noble', '@stoprocent/noble'] as const;
export type NobleModule = (typeof nobleModules)[number];

type Done = (error?: unknown) => void;

/** Emits `stateChange` (state), `discover` (peripheral) and `warning` (message). */
export interface Noble extends EventEmitter {
  startScanning(serviceUuids: string[], allowDuplicates: boolean, done: Done): void;
  stopScanning(done?: () => void): void;
}

export interface NobleConnectOptions {
  /** Connection intervals in units of 1.25 ms. */
  readonly minInterval: number;
  readonly maxInterval: number;
  readonly latency: number;
  /** Supervision timeout in units of 10 ms. */
  readonly timeout: number;
}

/** Emits `connect` (error) and `disconnect` (reason). */
export interface NoblePeripheral extends EventEmitter {
  readonly id: string;
  readonly state: string;
  readonly rssi: number;
  readonly connectable?: boolean;
  readonly advertisement?: {
    readonly localName?: string | undefined;
    readonly serviceUuids?: readonly string[] | undefined;
    readonly manufacturerData?: Uint8Array | undefined;
  };
  connect(options: NobleConnectOptions, done: Done): void;
  cancelConnect(): void;
  disconnect(done?: () => void): void;
  discoverServices(uuids: string[], done: (error: unknown, services: NobleService[]) => void): void;
}

export interface NobleService {
  readonly uuid: string;
  discoverCharacteristics(uuids: string[], done: (error: unknown, found: NobleCharacteristic[]) => void): void;
}

/** Emits `data` (bytes, isNotification). */
export interface NobleCharacteristic extends EventEmitter {
  readonly uuid: string;
  readonly properties: readonly string[];
  read(done: (error: unknown, bytes: Uint8Array) => void): void;
  write(bytes: Buffer, withoutResponse: boolean, done: Done): void;
  subscribe(done: Done): void;
  unsubscribe(done: Done): void;
}

/**
 * Loads the package now, not before: it opens the adapter as soon as somebody listens to its state.
 *
 * @throws whatever the package throws where it, its compiled part or Bluetooth in the kernel is missing.
 */
export function loadNoble(moduleName: NobleModule): Noble {
  return createRequire(import.meta.url)(moduleName) as Noble;
}
