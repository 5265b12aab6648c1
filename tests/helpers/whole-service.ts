import { mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import path from 'node:path';
import type { FastifyInstance } from 'fastify';
import { BrowserSensors } from '../../src/devices/browser-sensors.ts';
import { systemClock } from '../../src/devices/system-clock.ts';
import { silentLogger } from '../../src/foundation/logger.ts';
import { noSetup } from '../../src/live/sensor-setup.ts';
import { PairedDevices } from '../../src/server/access/paired-devices.ts';
import { PairingDesk } from '../../src/server/access/pairing-desk.ts';
import { type Role, roles } from '../../src/server/access/roles.ts';
import { buildServer, type ServerOptions } from '../../src/server/build-server.ts';
import { LiveHub } from '../../src/server/live-hub.ts';
import { PracticeKeeper } from '../../src/server/practice/practice-keeper.ts';
import { LiveSignals } from '../../src/server/research/live-signals.ts';
import { ResearchDesk } from '../../src/server/research/research-desk.ts';
import { ShotLog } from '../../src/server/shot-log.ts';
import { JsonSensorCalibrations } from '../../src/sessions/sensor-calibrations.ts';
import { JsonWristCalibrationStore } from '../../src/sessions/wrist-calibration/json-wrist-calibration-store.ts';
import { defaultBallSettings } from '../../src/shots/shot.ts';
import type { DrawnSchema } from './schema-draw.ts';

/** Addresses of RFC 5737, which nobody has. */
export const ownAddress = '192.0.2.10';
export const remoteAddress = '192.0.2.77';
export const servicePort = 8650;
export const secret = 'nobody-may-read-this-8b1d';

/** What a browser may ask of the service, out of the description that it gives of itself. */
export interface DescribedOperation {
  readonly method: 'GET' | 'POST' | 'PUT' | 'PATCH' | 'DELETE';
  readonly url: string;
  /** Who may use it; undefined where the route does not say so. */
  readonly role: string | undefined;
  readonly parameters: readonly { readonly in: string; readonly name: string; readonly schema: DrawnSchema }[];
  readonly body: DrawnSchema | null;
}

/** The service with everything that it can have, one device of each role let in, and a secret beside its data. */
export interface WholeService {
  readonly server: FastifyInstance;
  readonly hub: LiveHub;
  readonly keeper: PracticeKeeper;
  readonly desk: PairingDesk;
  readonly devices: PairedDevices;
  /** Cookies of the devices, by role; `host` needs none. */
  readonly tokens: Readonly<Record<Exclude<Role, 'host'>, string>>;
  /** Key of a court that may hand over. */
  readonly courtKey: string;
  readonly base: string;
  readonly outside: string;
  operations(): Promise<readonly DescribedOperation[]>;
  close(): Promise<void>;
}

/** @param database where it is not a file of its own. */
export async function openWholeService(
  options: Partial<ServerOptions> = {},
  database?: { readonly address: string; readonly clubId?: string },
): Promise<WholeService> {
  const base = mkdtempSync(path.join(tmpdir(), 'seamwise-whole-'));
  const outside = path.join(base, 'outside.txt');
  writeFileSync(outside, secret);
  const pageFolder = path.join(base, 'page');
  mkdirSync(path.join(pageFolder, 'assets'), { recursive: true });
  writeFileSync(path.join(pageFolder, 'index.html'), '<!doctype html><title>page</title>');
  const dataFolder = path.join(base, 'data');
  const clock = systemClock;
  const logger = silentLogger;
  const keeper = await PracticeKeeper.open({
    ...{ dataFolder, clock, logger, simulated: false, settings: defaultBallSettings },
    ...(database && { database }),
  });
  const hub = new LiveHub({
    ...{ log: new ShotLog(), clock, version: '1.2.3', runId: 'run1', simulated: false, latestShotCount: 50 },
  });
  const research = new ResearchDesk({
    ...{ dataFolder, version: '1.2.3', nowS: () => clock.nowS(), logger },
    setupOf: async () => noSetup,
    importThread: new URL('../../src/cli/club/import-thread.ts', import.meta.url),
  });
  const devices = await PairedDevices.open(dataFolder, clock);
  const desk = new PairingDesk({ clock, makeCode: () => '123456', makeTicket: () => 'ticket' });
  const source = new BrowserSensors({ clock });
  const server = await buildServer({
    ...{ hub, source, pageFolder, port: servicePort, logger },
    practice: { keeper: async () => keeper, nowS: () => clock.nowS(), logger },
    research: () => research,
    liveSignals: new LiveSignals(() => clock.nowS()),
    calibrations: new JsonSensorCalibrations(dataFolder),
    spinReferences: new JsonWristCalibrationStore(path.join(dataFolder, 'spin-references.json')),
    lan: { devices, desk, ownNames: () => [ownAddress], pageUrl: () => `http://${ownAddress}:${servicePort}/` },
    mostRequests: { local: 1e9, remote: 1e9 },
    isHub: true,
    handOver: async () => null,
    ...options,
  });
  const tokens: Record<string, string> = {};
  for (const role of roles) {
    if (role !== 'host') tokens[role] = (await devices.add(`the ${role}`, role)).token;
  }
  const { key: courtKey } = await keeper.store.courts.make('North 2');
  return {
    ...{ server, hub, keeper, desk, devices, base, outside, courtKey },
    tokens: tokens as WholeService['tokens'],
    async operations() {
      const headers = { host: `127.0.0.1:${servicePort}` };
      return operationsOf((await server.inject({ url: '/api/openapi.json', headers })).json());
    },
    async close() {
      await server.close();
      await research.close();
      await source.close();
      await keeper.close();
      rmSync(base, { recursive: true, force: true });
    },
  };
}

export function operationsOf(description: unknown): readonly DescribedOperation[] {
  type Described = {
    readonly 'x-role'?: string;
    readonly parameters?: DescribedOperation['parameters'];
    readonly requestBody?: { readonly content: Readonly<Record<string, { readonly schema: DrawnSchema }>> };
  };
  const { paths } = description as { readonly paths: Readonly<Record<string, Readonly<Record<string, Described>>>> };
  return Object.entries(paths).flatMap(([url, methods]) =>
    Object.entries(methods).map(([method, { parameters = [], requestBody, 'x-role': role }]) => ({
      ...{ method: method.toUpperCase() as DescribedOperation['method'], url, role, parameters },
      body: requestBody?.content['application/json']?.schema ?? null,
    })),
  );
}

/** @returns an address of the operation with these words in the place of its parameters. */
export function addressOf(
  { url, parameters }: Pick<DescribedOperation, 'url' | 'parameters'>,
  words: (name: string) => string,
  withQuery = false,
): string {
  const path = url.replace(/\{(\w+)\}/g, (_, name: string) => words(name));
  const query = parameters.filter((each) => each.in === 'query').map(({ name }) => `${name}=${words(name)}`);
  return withQuery && query.length > 0 ? `${path}?${query.join('&')}` : path;
}

/** @returns addresses out of the tree that fastify draws. */
export function routesOf(tree: string): string[] {
  const found: string[] = [];
  const above: string[] = [];
  for (const line of tree.split('\n')) {
    const [, indent = '', part = '', methods] = /^((?:[│ ] {3})*)[├└]── (\S*)(?: \((.*)\))?/.exec(line) ?? [];
    if (part === '' && methods === undefined) continue;
    const depth = indent.length / 4;
    above.length = depth;
    above.push(part);
    if (methods !== undefined) found.push(above.join(''));
  }
  return [...new Set(found)];
}
