import type { SensorProvider, WantedSensors } from '../devices/sensor-provider.ts';
import type { Clock } from '../foundation/clock.ts';
import type { Logger } from '../foundation/logger.ts';
import type { BallSettings } from '../shots/shot.ts';
import type { HubAccess } from './hub/hub-client.ts';

/** What the service is started with. */
export interface ServiceOptions {
  /** Version of the program, as `package.json` has it. */
  readonly version: string;
  /** Loopback address to listen on; other addresses are refused. Default 127.0.0.1. */
  readonly host?: '127.0.0.1' | '::1';
  /** Whether paired devices of the same network may reach the service too. Default false. */
  readonly lan?: boolean;
  /** Further names under which other machines reach this one, besides its own. */
  readonly names?: readonly string[];
  /** Files with a certificate and its key in PEM; with them the service speaks TLS. */
  readonly tls?: { readonly certFile: string; readonly keyFile: string };
  /** TCP port; 0 takes a free one. */
  readonly port: number;
  /** Folder of the user's own data, made when it is not there. */
  readonly dataFolder: string;
  /** Folder with the built page. */
  readonly pageFolder: string;
  readonly settings: BallSettings;
  /** Where notifications come from. Default: one simulated ball sensor, in real time. */
  readonly source?: SensorProvider;
  /** Which sensors of the source are wanted; default all that can be had. */
  readonly wantedSensors?: WantedSensors;
  /** Seed of the simulated shooter of the default source. Default 1. */
  readonly seed?: number;
  /** Threads that analyse; default one a core but one, at least 1, at most 4. */
  readonly threadCount?: number;
  /** PostgreSQL database; with it the service is a hub, which has no sensors but courts that hand over to it. */
  readonly database?: { readonly address: string; readonly clubId?: string };
  /** Hub that is handed over to; absent without one. */
  readonly hub?: HubAccess;
  /** Entry of the thread that imports what a page sends (`ImportTask`); without it a page cannot import. */
  readonly importThread?: URL;
  readonly clock?: Clock;
  readonly logger?: Logger;
}

/** A service that is listening. */
export interface RunningService {
  /** Address of the page, such as `http://127.0.0.1:8650/`. */
  readonly url: string;
  /** Address of the page for devices of the same network; null where they may not, or without a network. */
  readonly lanUrl: string | null;
  /** Ends the sensors, tells the clients, writes what is left and gives the port back. Safe to call twice. */
  close(): Promise<void>;
}
