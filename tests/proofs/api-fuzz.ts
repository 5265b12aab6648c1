import { readFileSync } from 'node:fs';
import type { InjectOptions } from 'fastify';
import { systemClock } from '../../src/devices/system-clock.ts';
import type { PracticeKeeper } from '../../src/server/practice/practice-keeper.ts';
import { drawValue } from '../helpers/schema-draw.ts';
import { type DescribedOperation, openWholeService, secret, servicePort } from '../helpers/whole-service.ts';
import { shotDocument } from '../server/made-shots.ts';
import { descriptionBytes, madeNotifications, sensorId } from '../sessions/recording/made-recording.ts';
import { uniformFrom } from '../signal/simulated-sensor-clock.ts';
import { goal, type Prove } from './proof.ts';

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
  const service = await openWholeService();
  const { server, keeper, devices, outside } = service;
  const clock = systemClock;
  const uniform = uniformFrom(seed);
  const headers = { host: `127.0.0.1:${servicePort}` };
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
    const operations = await service.operations();
    const made = new MadeIds();
    let words = await knownWords(keeper, devices.list(), made);
    for (let at = 0; at < count; at++) {
      const operation = operations[Math.floor(uniform() * operations.length)] as DescribedOperation;
      const wild = uniform() < 0.5 ? 0 : 0.15;
      const request = requestOf(operation, uniform, wild, words);
      const answer = await server.inject({ ...request, headers: { ...headers, ...request.headers } });
      const { statusCode } = answer;
      const name = `${operation.method} ${operation.url}`;
      statuses[statusCode] = (statuses[statusCode] ?? 0) + 1;
      if (statusCode < 300) {
        done.add(name);
        made.take(operation, answer.body);
      }
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
      if (at % 20 === 19) words = await knownWords(keeper, devices.list(), made);
      if ((at + 1) % 10_000 === 0) say(`${at + 1} requests`);
    }
    const all = operations.map(({ method, url }) => `${method} ${url}`);
    return {
      ...{ requests: count, operations: operations.length, failures, silent },
      neverDone: all.filter((name) => !done.has(name)),
      outsideUntouched: readFileSync(outside, 'utf8') === secret,
      ...{ statuses, examples },
    };
  } finally {
    await service.close();
  }
}

/** A hundred thousand requests drawn from the description of the API. */
export const prove: Prove = async ({ seed, scale, say }) => {
  const figures = await fuzzApi(seed('requests'), Math.max(1000, Math.round(100_000 * scale)), say);
  for (const line of figures.examples) say(line);
  say(JSON.stringify(figures.statuses));
  say(`never once done: ${figures.neverDone.join(', ') || 'none'}`);
  return {
    goals: [
      goal('answers that say the service failed', figures.failures, { atMost: 0 }),
      goal('refusals without a sentence', figures.silent, { atMost: 0 }),
      goal('files outside changed', figures.outsideUntouched ? 0 : 1, { atMost: 0 }),
    ],
    ...figures,
  };
};

/** Names of what was made on the way, as addresses ask for it. */
export class MadeIds {
  readonly #ids = new Map<string, string[]>();

  of(name: string): readonly string[] {
    return this.#ids.get(name) ?? [];
  }

  take({ method, url }: DescribedOperation, body: string): void {
    if (method !== 'POST') return;
    const kind = /\/(\w+)$/.exec(url)?.[1] ?? '';
    const name = kind === 'exports' || kind === 'analyses' || kind === 'start' ? 'jobId' : `${singular(kind)}Id`;
    const id = idIn(body);
    if (id !== null) this.#ids.set(name, [...this.of(name), id].slice(-8));
  }
}

function singular(word: string): string {
  return word.endsWith('ies') ? `${word.slice(0, -3)}y` : word.replace(/s$/, '');
}

function idIn(body: string): string | null {
  try {
    const { id } = JSON.parse(body) as { readonly id?: unknown };
    return typeof id === 'string' ? id : null;
  } catch {
    return null;
  }
}

export function requestOf(
  operation: DescribedOperation,
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
  if (url.includes('/files/')) {
    const payload = Buffer.alloc(Math.floor(uniform() * 300), 'x');
    return { method, url, payload, headers: { 'content-type': 'application/octet-stream' } };
  }
  if (body === null) return { method, url };
  const content = uniform() < wild / 3 ? '{"half": ' : JSON.stringify(drawValue(body, uniform, wild, words));
  return { method, url, payload: content ?? '', headers: { 'content-type': 'application/json' } };
}

/** @returns what stands for a field of a given name in this service at this moment. */
export async function knownWords(
  { store }: Pick<PracticeKeeper, 'store'>,
  devices: readonly { readonly id: string }[],
  made: MadeIds,
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
    deviceId: idsOf(devices),
    measure: ['pickupToReleaseS', 'launchAngleDeg'],
    date: ['2026-11-20'],
    phase: ['pickup', 'release'],
    ...(await coachingWords(store, players, sessions)),
    ...{ code: ['123456'], ticket: ['ticket'], factor: ['footwork', 'dip'], level: ['hop', 'none'] },
  };
  const shots = words.shotIds ?? [];
  return (name) => [...(name === 'shotId' ? shots : (words[name] ?? [])), ...made.of(name)];
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
