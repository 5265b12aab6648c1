import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import path from 'node:path';
import type { InjectOptions } from 'fastify';
import { systemClock } from '../../src/devices/system-clock.ts';
import { silentLogger } from '../../src/foundation/logger.ts';
import { PairedDevices } from '../../src/server/access/paired-devices.ts';
import { PairingDesk } from '../../src/server/access/pairing-desk.ts';
import { buildServer } from '../../src/server/build-server.ts';
import { LiveHub } from '../../src/server/live-hub.ts';
import { PracticeKeeper } from '../../src/server/practice/practice-keeper.ts';
import { ShotLog } from '../../src/server/shot-log.ts';
import { defaultBallSettings } from '../../src/shots/shot.ts';
import { type DrawnSchema, drawValue } from '../helpers/schema-draw.ts';
import { shotDocument } from '../server/made-shots.ts';
import { descriptionBytes, madeNotifications, sensorId } from '../sessions/recording/made-recording.ts';
import { uniformFrom } from '../signal/simulated-sensor-clock.ts';
import { goal, type Prove } from './proof.ts';

interface Operation {
  readonly method: 'GET' | 'POST' | 'PUT' | 'PATCH' | 'DELETE';
  readonly url: string;
  readonly parameters: readonly { readonly in: string; readonly name: string; readonly schema: DrawnSchema }[];
  readonly body: DrawnSchema | null;
}

export interface ApiFuzzFigures {
  readonly requests: number;
  readonly operations: number;
  /** Answers that say the service failed. */
  readonly failures: number;
  /** Refusals without a sentence. */
  readonly silent: number;
  /** Operations that were never once done: those prove little. */
  readonly neverDone: readonly string[];
  /** Whether the file beside the data folder is as it was. */
  readonly outsideUntouched: boolean;
  readonly statuses: Readonly<Record<string, number>>;
  readonly examples: readonly string[];
}

/**
 * Sends requests drawn from the API's own description, half of them with nonsense in them, to the whole service over a
 * real database: it must never fail, and say of every refusal what was wrong.
 */
export async function fuzzApi(seed: number, count: number, say: (line: string) => void): Promise<ApiFuzzFigures> {
  const base = mkdtempSync(path.join(tmpdir(), 'seamwise-fuzz-'));
  const outside = path.join(base, 'outside.txt');
  writeFileSync(outside, 'nobody may read or change this');
  const dataFolder = path.join(base, 'data');
  const clock = systemClock;
  const keeper = await PracticeKeeper.open({
    ...{ dataFolder, clock, logger: silentLogger, simulated: true, settings: defaultBallSettings },
  });
  const hub = new LiveHub({
    ...{ log: new ShotLog(), clock, version: '1.2.3', runId: 'run1', simulated: true, latestShotCount: 50 },
  });
  const makeCode = () => '123456';
  const devices = await PairedDevices.open(dataFolder, clock);
  const desk = new PairingDesk({ clock, makeCode, makeTicket: () => 'ticket' });
  const server = await buildServer({
    ...{ hub, pageFolder: base, port: 8650, logger: silentLogger },
    practice: { keeper: async () => keeper, nowS: () => clock.nowS(), logger: silentLogger },
    lan: { devices, desk, ownNames: () => [], pageUrl: () => 'http://192.0.2.1/' },
    mostRequests: { local: 1e9, remote: 1e9 },
  });
  const uniform = uniformFrom(seed);
  const headers = { host: '127.0.0.1:8650' };
  const statuses: Record<string, number> = {};
  const examples: string[] = [];
  const done = new Set<string>();
  let failures = 0;
  let silent = 0;
  try {
    await server.ready();
    keeper.takeState({
      sensorId,
      state: 'streaming',
      hostTimeS: clock.nowS(),
      description: descriptionBytes,
      detail: null,
    });
    for (const notification of madeNotifications(4)) keeper.takeNotification(notification);
    for (let seq = 1; seq <= 20; seq++)
      await keeper.keep(
        { ...shotDocument(seq), sensorId, hostTimeS: clock.nowS() },
        { streamIndex: 0, releaseHostS: null },
      );
    const operations = operationsOf((await server.inject({ url: '/api/openapi.json', headers })).json());
    let words = await knownWords(keeper, devices);
    for (let at = 0; at < count; at++) {
      const operation = operations[Math.floor(uniform() * operations.length)] as Operation;
      const wild = uniform() < 0.5 ? 0 : 0.15;
      const request = requestOf(operation, uniform, wild, words);
      const answer = await server.inject({ ...request, headers: { ...headers, ...request.headers } });
      const { statusCode } = answer;
      const name = `${operation.method} ${operation.url}`;
      statuses[statusCode] = (statuses[statusCode] ?? 0) + 1;
      if (statusCode < 300) done.add(name);
      const tell = (what: string): void => {
        if (examples.length < 20)
          examples.push(
            `${what}: ${name} ${String(request.url)} ${String(request.payload)} → ${statusCode} ${answer.body}`.slice(
              0,
              600,
            ),
          );
      };
      if (statusCode >= 500) {
        failures += 1;
        tell('failed');
      } else if (statusCode >= 400 && !hasMessage(answer.body)) {
        silent += 1;
        tell('silent');
      }
      if (at % 20 === 19) words = await knownWords(keeper, devices);
      if ((at + 1) % 10_000 === 0) say(`${at + 1} requests`);
    }
    const all = operations.map(({ method, url }) => `${method} ${url}`);
    return {
      ...{ requests: count, operations: operations.length, failures, silent },
      neverDone: all.filter((name) => !done.has(name)),
      outsideUntouched: readFileSync(outside, 'utf8') === 'nobody may read or change this',
      ...{ statuses, examples },
    };
  } finally {
    await server.close();
    await keeper.close();
    rmSync(base, { recursive: true, force: true });
  }
}

/** A hundred thousand requests drawn from the description of the API. */
export const prove: Prove = async ({ seed, scale, say }) => {
  const figures = await fuzzApi(seed('requests'), Math.max(1000, Math.round(100_000 * scale)), say);
  for (const line of figures.examples) say(line);
  say(JSON.stringify(figures.statuses));
  return {
    goals: [
      goal('answers that say the service failed', figures.failures, { atMost: 0 }),
      goal('refusals without a sentence', figures.silent, { atMost: 0 }),
      goal('files outside changed', figures.outsideUntouched ? 0 : 1, { atMost: 0 }),
    ],
    ...figures,
  };
};

function operationsOf(description: unknown): readonly Operation[] {
  type Described = {
    readonly parameters?: Operation['parameters'];
    readonly requestBody?: { readonly content: Readonly<Record<string, { readonly schema: DrawnSchema }>> };
  };
  const { paths } = description as { readonly paths: Readonly<Record<string, Readonly<Record<string, Described>>>> };
  return Object.entries(paths).flatMap(([url, methods]) =>
    Object.entries(methods).map(([method, { parameters = [], requestBody }]) => ({
      method: method.toUpperCase() as Operation['method'],
      url,
      parameters,
      body: requestBody?.content['application/json']?.schema ?? null,
    })),
  );
}

function requestOf(
  operation: Operation,
  uniform: () => number,
  wild: number,
  words: (name: string) => readonly string[],
): InjectOptions {
  let { url } = operation as { url: string };
  const query: string[] = [];
  for (const { in: where, name, schema } of operation.parameters) {
    if (where === 'query' && uniform() < 0.5) continue;
    const value = drawValue(schema, uniform, wild, words, name);
    // Half a surrogate cannot stand in an address at all.
    const text = encodeURIComponent(
      String(typeof value === 'object' ? JSON.stringify(value) : value).replace(/[\ud800-\udfff]/g, ''),
    );
    if (where === 'path') url = url.replace(`{${name}}`, text === '' ? '%20' : text.slice(0, 300));
    if (where === 'query') query.push(`${encodeURIComponent(name)}=${text.slice(0, 300)}`);
  }
  if (query.length > 0) url += `?${query.join('&')}`;
  const { method, body } = operation;
  if (body === null) return { method, url };
  const content = uniform() < wild / 3 ? '{"half": ' : JSON.stringify(drawValue(body, uniform, wild, words));
  return { method, url, payload: content ?? '', headers: { 'content-type': 'application/json' } };
}

/** @returns what stands for a field of a given name in this service at this moment. */
async function knownWords(
  { store }: PracticeKeeper,
  devices: PairedDevices,
): Promise<(name: string) => readonly string[]> {
  const idsOf = (rows: readonly { readonly id: string }[]): readonly string[] => rows.slice(-8).map(({ id }) => id);
  const players = idsOf(await store.players.list());
  const sessions = [...idsOf(await store.sessions.list({ limit: 3 })), 'current'];
  const first = sessions[0] ?? '';
  const words: Readonly<Record<string, readonly string[]>> = {
    ...{ playerId: players, playerIds: players, ownerPlayerId: players, player: ['Player 07', 'Player 11'] },
    ...{ sessionId: sessions, newestOf: sessions, setId: idsOf(await store.sessions.sets(first)) },
    rotationId: idsOf(await store.rotations.running(first)),
    sensorId: idsOf(await store.players.sensors()),
    shotIds: idsOf(await store.shots.list({ sessionId: first, limit: 20 })),
    changeId: (await store.edits.latest(5)).map(({ groupId }) => groupId),
    deviceId: idsOf(devices.list()),
    ...(await coachingWords(store, players, sessions)),
    ...{ code: ['123456'], ticket: ['ticket'], factor: ['footwork', 'dip'], level: ['hop', 'none'] },
  };
  const shots = words.shotIds ?? [];
  return (name) => (name === 'shotId' ? shots : (words[name] ?? []));
}

/** @returns what stands for the fields of coaching. */
async function coachingWords(
  store: PracticeKeeper['store'],
  players: readonly string[],
  sessions: readonly string[],
): Promise<Readonly<Record<string, readonly string[]>>> {
  const prescriptions: string[] = [];
  const blocks: string[] = [];
  for (const playerId of players) {
    for (const { id } of (await store.prescriptions.of(playerId)).slice(-2)) {
      prescriptions.push(id);
      blocks.push(...(await store.prescriptions.blocks(id)).map((block) => block.id));
    }
  }
  const sets = await store.sessions.sets(sessions[0] ?? '');
  const drills = (await store.coaching.drills()).map(({ id }) => id);
  return {
    ...{ prescriptionId: prescriptions, blockId: blocks, drillId: drills.slice(-4) },
    studyId: (await store.studies.list()).slice(0, 4).map(({ id }) => id),
    drill: ['two-finger-release', 'up-at-once', ...drills.slice(-2)],
    setIds: sets.slice(-4).map(({ id }) => id),
    ...{ measure: ['axisTiltDeg', 'pauseS'], date: ['2026-11-20', '2026-11-21'], levels: ['hop', 'none', 'dip'] },
  };
}

function hasMessage(body: string): boolean {
  try {
    const { error, message } = JSON.parse(body) as { readonly error?: unknown; readonly message?: unknown };
    return typeof error === 'string' && typeof message === 'string' && message.length > 10;
  } catch {
    return false;
  }
}
