import os from 'node:os';
import path from 'node:path';
import { fileURLToPath } from 'node:url';
import { type NobleModule, nobleModules } from '../devices/bluetooth/noble-api.ts';
import { defaultDataFolder } from '../server/data-folder.ts';
import { UsageError } from './usage-error.ts';

/** What the program takes from its surroundings. Nothing else in the project reads the environment. */
export interface Config {
  /** Port of the page, SEAMWISE_PORT. */
  readonly port: number;
  /** Folder of the user's own data, SEAMWISE_DATA. */
  readonly dataFolder: string;
  /** PostgreSQL database of a hub, SEAMWISE_DATABASE; absent where it is not set. */
  readonly database?: string;
  /** Folder with the built page, beside the compiled commands. */
  readonly pageFolder: string;
  /** Ids of the wanted sensors, SEAMWISE_SENSORS, separated by commas; absent where it is not set. */
  readonly sensors?: readonly string[];
  /** Package that talks to the Bluetooth adapter, SEAMWISE_NOBLE; absent where it is not set. */
  readonly bluetoothModule?: NobleModule;
}

const defaultPort = 8650;

/**
 * Reads the environment.
 *
 * @throws UsageError when a variable has a value that it cannot have.
 */
export function readConfig(environment: NodeJS.ProcessEnv = process.env): Config {
  const portText = environment.SEAMWISE_PORT ?? '';
  const port = portText === '' ? defaultPort : Number(portText);
  if (!(Number.isInteger(port) && port >= 0 && port <= 65_535)) {
    throw new UsageError(`SEAMWISE_PORT is "${portText}": expected a port number from 0 to 65535`);
  }
  const dataFolder =
    environment.SEAMWISE_DATA ||
    defaultDataFolder({
      platform: process.platform,
      homeFolder: os.homedir(),
      xdgDataHome: environment.XDG_DATA_HOME,
      localAppData: environment.LOCALAPPDATA,
    });
  const sensors = (environment.SEAMWISE_SENSORS ?? '').split(',').map((id) => id.trim().toLowerCase());
  const named = sensors.filter((id) => id !== '');
  const odd = named.find((id) => !/^[0-9a-f]{32}$/.test(id));
  if (odd !== undefined) {
    throw new UsageError(`SEAMWISE_SENSORS has "${odd}": expected sensor ids of 32 hex digits, separated by commas`);
  }
  const moduleText = environment.SEAMWISE_NOBLE ?? '';
  const bluetoothModule = nobleModules.find((name) => name === moduleText);
  if (moduleText !== '' && bluetoothModule === undefined) {
    throw new UsageError(`SEAMWISE_NOBLE is "${moduleText}": expected ${nobleModules.join(' or ')}`);
  }
  const database = environment.SEAMWISE_DATABASE ?? '';
  return {
    ...(database === '' ? {} : { database }),
    ...(named.length === 0 ? {} : { sensors: named }),
    ...(bluetoothModule === undefined ? {} : { bluetoothModule }),
    port,
    dataFolder: path.resolve(dataFolder),
    pageFolder: fileURLToPath(new URL('../dashboard/', import.meta.url)),
  };
}
