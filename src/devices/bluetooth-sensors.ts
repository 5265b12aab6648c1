import type { Clock } from '../foundation/clock.ts';
import type { Logger } from '../foundation/logger.ts';
import { ChildRadio } from './bluetooth/child-radio.ts';
import type { NobleModule } from './bluetooth/noble-api.ts';
import type { DeviceKind } from './device-kind.ts';
import { ownProtocolKind } from './own-protocol-kind.ts';
import { RadioSensors } from './radio-sensors.ts';

export interface BluetoothSensorsOptions {
  readonly clock: Clock;
  readonly logger?: Logger;
  /** Package that talks to the adapter; default `@abandonware/noble`. */
  readonly moduleName?: NobleModule;
  /** Kinds of devices that are taken for sensors; default those of the project's own protocol. */
  readonly kinds?: readonly DeviceKind[];
  /** Arguments of Node for the radio's process; default those of this one. */
  readonly execArgv?: readonly string[];
}

/** @returns the sensors within reach of this machine's own adapter. Nothing is loaded or started before it is asked for. */
export function createBluetoothSensors(options: BluetoothSensorsOptions): RadioSensors {
  const { kinds = [ownProtocolKind], ...radioOptions } = options;
  const { clock, logger } = options;
  const radio = new ChildRadio(radioOptions);
  return new RadioSensors({ kind: 'bluetooth', radio, clock, kinds, ...(logger ? { logger } : {}) });
}
