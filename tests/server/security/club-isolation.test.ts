import type { InjectOptions } from 'fastify';
import { afterAll, beforeAll, describe, expect, it, onTestFinished } from 'vitest';
import WebSocket from 'ws';
import { drillLibrary } from '../../../src/coaching/drills.ts';
import { systemClock } from '../../../src/devices/system-clock.ts';
import { startHub } from '../../../src/server/hub/start-hub.ts';
import type { ClubStore } from '../../../src/sessions/database/club-store.ts';
import { addPostgresClub } from '../../../src/sessions/database/postgres/postgres-engine.ts';
import { defaultBallSettings } from '../../../src/shots/shot.ts';
import { hasPostgres, noPostgres, type PostgresCluster, sharedCluster } from '../../helpers/postgres-cluster.ts';
import { temporaryFolder } from '../../helpers/temporary-folder.ts';
import {
  type DescribedOperation,
  openWholeService,
  routesOf,
  servicePort,
  type WholeService,
} from '../../helpers/whole-service.ts';
import { knownWords, MadeIds, requestOf } from '../../proofs/api-fuzz.ts';
import { coach, madeResult } from '../../sessions/database/opened-store.ts';
import { uniformFrom } from '../../signal/simulated-sensor-clock.ts';

const nowS = () => systemClock.nowS();
const headers = { host: `127.0.0.1:${servicePort}` };
/** What stands in every place of the other club where people write. */
const secret = 'Zebra 4711';
/** Requests of each route, with what is drawn for its fields. */
const draws = 3;
/** Named by what is of no club: the device itself, the hardware, and words of the program. */
const ofNoClub: ReadonlySet<string> = new Set([
  'sensorId',
  'deviceId',
  'importId',
  'measure',
  'date',
  'phase',
  'player',
  'place',
  'drillId',
]);

interface Club {
  readonly clubId: string;
  readonly store: ClubStore;
  readonly service: WholeService;
  readonly made: MadeIds;
}

/** A club with something of everything: by its own people, and by whatever the service lets them do. */
async function openClub(address: string, name: string): Promise<Club> {
  const clubId = await addPostgresClub(address, nowS(), name);
  const service = await openWholeService({}, { address, clubId });
  const { store } = service.keeper;
  const playerId = await store.players.add(coach, { pseudonym: `${name} player`, notes: name });
  for (const scope of ['record', 'export', 'upload', 'display'] as const) {
    await store.players.giveConsent(coach, playerId, scope, 'player');
  }
  await store.players.seeSensor({ id: 'lent', placement: 'ball', description: '00' });
  const words = { name, timeZone: 'UTC', simulated: false, recording: `${name}.mcap`, settings: {} };
  const sessionId = await store.sessions.start(coach, words);
  const setId = await store.sessions.startSet(coach, sessionId, { name, player_id: playerId }, [
    { factor: 'a', level: name },
  ]);
  for (let index = 0; index < 3; index++) {
    const place = { sessionId, setId, playerId, sensorId: 'lent', streamIndex: 0, atS: nowS() + index };
    const head = {
      v: 1,
      kind: 'shot',
      shotId: `${name}.${index}`,
      runId: name,
      sensorId: 'lent',
      at: '',
      hostTimeS: 1,
    };
    await store.shots.add(place, madeResult(index), { seq: index + 1, head: { ...head, simulated: false } as never });
  }
  await store.shots.tag(coach, [(await store.shots.list({ sessionId }))[0]?.id ?? ''], { notes: name });
  await store.marks.add(coach, sessionId, { atS: nowS(), uncertaintyS: 0.1, origin: 'key', name });
  await store.rotations.start(coach, sessionId, { playerIds: [playerId], shotsEach: 2 });
  await store.coaching.setLoad(coach, playerId, '2026-11-20', { shots: 4, minutes: 3 });
  await store.context.db
    .insertInto('hub_recording')
    .values({
      ...{ id: sessionId, club_id: clubId, court_id: 'c', byte_count: 1, piece_bytes: 1, checksum: 'c', complete_s: 1 },
    })
    .execute();
  await store.coaching.setTarget(coach, playerId, 'dipDepthM', { target: null, low: 0.1, high: null });
  await store.coaching.setBestSets(coach, playerId, [setId]);
  await store.coaching.addDrill(coach, { ...drillLibrary[0]!, title: name });
  const prescriptionId = await store.prescriptions.add(coach, {
    ...{
      playerId,
      fault: 'late-dip',
      drill: drillLibrary[0]!,
      measure: 'dipDepthM',
      faultSide: 1,
      smallestChange: 0.1,
    },
    ...{ namedS: nowS(), retentionDueS: null, notes: name },
  });
  const place = { spot: name, distanceM: null };
  await store.prescriptions.startBlock(coach, prescriptionId, sessionId, { role: 'baseline', ...place });
  const design = { levels: ['a', 'b'], labels: [], playerIds: [playerId], shotsASet: 5, order: [[0, 1]] };
  const study = { name, factor: 'a', blinded: false, seed: 's' };
  const studyId = await store.studies.add(coach, study, { ...design, margins: {}, measures: [] });
  await store.studies.startSet(coach, studyId, sessionId, { row: 0, ...place });
  const three = [0, 0, 0] as const;
  await store.calibrations.add({
    ...{ sensorId: 'lent', madeAtS: nowS(), accelBiasMps2: three, accelScale: [1, 1, 1], gyro: null },
    ...{ accelBiasStandardErrorMps2: three, accelScaleStandardError: three, accelCheckErrorsMps2: [] },
  });
  await store.jobs.ask({ role: 'coach', name }, { kind: 'export', subject: '', words: { filter: { playerId } } });
  const held = await store.jobs.claim(name);
  if (held === null) throw new Error('the export was not claimed');
  const archive = async function* () {
    yield Buffer.from(name);
  };
  await store.exportFiles.keep(held, archive(), {}, [playerId]);
  await store.jobs.ask({ role: 'coach', name }, { kind: 'reanalysis', subject: sessionId, words: {} });
  return { clubId, store, service, made: new MadeIds() };
}

/** Asks every route some times with words that mean something. @returns each answer with what was asked. */
async function askAll(club: Club, words: (name: string) => readonly string[], seed: number) {
  const uniform = uniformFrom(seed);
  const answers = [];
  for (const operation of await club.service.operations()) {
    for (let draw = 0; draw < draws; draw++) {
      const request = requestOf(operation, uniform, 0, words);
      const authorization = operation.role === 'court' ? { authorization: `Bearer ${club.service.courtKey}` } : {};
      const asked: InjectOptions = { ...request, headers: { ...headers, ...request.headers, ...authorization } };
      const { statusCode, body } = await club.service.server.inject(asked);
      if (statusCode < 300) club.made.take(operation, body);
      answers.push({
        operation,
        asked: `${request.method} ${request.url} ${String(request.payload ?? '')}`,
        statusCode,
        body,
      });
    }
  }
  return answers;
}

const wordsOf = async ({ store, made }: Club) => knownWords({ store }, [], made);
/** Ids that nobody guesses: of another club they can stand in no answer. */
const longIds = /[0-9a-z]{8,}-[0-9a-z-]{4,}|[A-Za-z0-9_-]{20,}/g;

describe.skipIf(!hasPostgres)(`a club on a hub${hasPostgres ? '' : ` (${noPostgres})`}`, () => {
  let cluster: PostgresCluster;
  let database = '';
  let address = '';
  let own: Club;
  let other: Club;

  beforeAll(async () => {
    cluster = await sharedCluster();
    database = await cluster.createDatabase();
    address = cluster.address(database);
    own = await openClub(address, 'Own club');
    other = await openClub(address, secret);
    // Whatever else a club can have, by the routes that make it.
    for (const seed of [1, 2]) await askAll(other, await wordsOf(other), seed);
  });
  afterAll(async () => {
    for (const club of [own, other]) await club?.service.close();
  });

  /** Every row of the other club, as the administrator sees it. */
  async function rowsOfOther(): Promise<ReadonlyMap<string, string>> {
    const [tables] = await cluster.run(
      database,
      `select relname from pg_class c where relnamespace = 'public'::regnamespace and relkind in ('r', 'p') and not relispartition
        and exists (select from pg_attribute a where a.attrelid = c.oid and a.attname = 'club_id' and not a.attisdropped)`,
    );
    const rows = new Map<string, string>();
    for (const { relname } of tables?.rows ?? []) {
      const text = `select coalesce(string_agg(r::text, E'\\n' order by r::text), '') as rows from "${relname}" r where club_id = '${other.clubId}'`;
      const [found] = await cluster.run(database, text);
      rows.set(relname, String(found?.rows[0].rows));
    }
    return rows;
  }

  it('gives and takes nothing of another club by any route of the description', async () => {
    const before = await rowsOfOther();
    const filled = [...before].filter(([, rows]) => rows !== '').map(([name]) => name);
    expect(filled.length, filled.join()).toBeGreaterThan(18);
    const foreign = await wordsOf(other);
    const ids = new Set([...before.values()].flatMap((rows) => rows.match(longIds) ?? []));
    for (const rows of await ownTexts()) for (const id of rows.match(longIds) ?? []) ids.delete(id);
    const words = (name: string) => foreign(name).filter((word) => word !== 'current');
    const leaks: string[] = [];
    const doneByFolk: string[] = [];
    for (const seed of [3, 4]) {
      for (const { operation, asked, statusCode, body } of await askAll(own, words, seed)) {
        const told = (body.match(longIds) ?? []).filter((id) => ids.has(id) && !asked.includes(id));
        if (body.includes(secret) && !asked.includes(secret)) told.push(secret);
        if (told.length > 0) leaks.push(`${asked} → ${statusCode} ${told.slice(0, 3).join()}`);
        const named = operation.parameters.filter(({ in: where, name }) => where === 'path' && !ofNoClub.has(name));
        const isForeign =
          named.length > 0 && named.every(({ name }) => words(name).some((word) => asked.includes(word)));
        if (isForeign && statusCode < 300) doneByFolk.push(`${asked} → ${statusCode}`);
      }
    }
    expect(leaks).toEqual([]);
    expect(doneByFolk).toEqual([]);
    const after = await rowsOfOther();
    for (const [name, rows] of before) expect(after.get(name), name).toBe(rows);
  });

  /** What is the own club's, or the program's, stands in its answers of right. */
  async function ownTexts(): Promise<string[]> {
    const answers = await askAll(own, await wordsOf(own), 5);
    // The negative control: with its own words the club is given its own rows, by most routes that name one.
    const reached = new Set(
      answers
        .filter(({ operation, statusCode }) => /\{/.test(operation.url) && statusCode < 300)
        .map(({ operation }: { operation: DescribedOperation }) => `${operation.method} ${operation.url}`),
    );
    expect(reached.size, [...reached].join()).toBeGreaterThan(25);
    expect(answers.some(({ body }) => body.includes('Own club player'))).toBe(true);
    return answers.map(({ body }) => body);
  }

  it('hears nothing of another club by any WebSocket', async () => {
    const { server } = own.service;
    const described = new Set((await own.service.operations()).map(({ url }) => url.replaceAll(/\{(\w+)\}/g, ':$1')));
    const sockets = routesOf(server.printRoutes({ commonPrefix: false })).filter(
      (url) => url.startsWith('/api') && !described.has(url) && !/documentation|openapi/.test(url),
    );
    expect(sockets.length).toBeGreaterThanOrEqual(5);
    const hub = await startHub({
      ...{ version: '1.2.3', port: 0, dataFolder: temporaryFolder(), pageFolder: '', settings: defaultBallSettings },
      database: { address, clubId: own.clubId },
    });
    onTestFinished(() => hub.close());
    const heard: string[] = [];
    const base = hub.url.replace('http', 'ws');
    const opened: Promise<unknown>[] = [];
    for (const url of sockets) {
      for (const query of ['', '?since=0', `?since=1&sensorId=lent&sessionId=${secret}`]) {
        const socket = new WebSocket(new URL(`${url.replace(/:\w+/g, 'lent')}${query}`, base));
        onTestFinished(() => socket.terminate());
        socket.on('message', (data) => heard.push(String(data)));
        // A hub has no sensors: not all of them are there.
        opened.push(new Promise((resolve) => socket.once('open', resolve).once('error', resolve)));
      }
    }
    await Promise.all(opened);
    const change = async ({ store }: Club, name: string) => {
      await store.players.add(coach, { pseudonym: name });
      const [session] = await store.sessions.list({ limit: 1 });
      const place = { sessionId: session?.id ?? '', setId: null, playerId: null, sensorId: 'lent', streamIndex: 0 };
      const head = { v: 1, kind: 'shot', shotId: `${name}.live`, runId: name, sensorId: 'lent', at: '', hostTimeS: 1 };
      const told = { seq: 999, head: { ...head, simulated: false } as never };
      await store.shots.add({ ...place, atS: nowS() }, madeResult(9), told);
    };
    await change(other, `${secret} live`);
    await change(own, 'Own live');
    // Changes are told in their order: what was to be heard of the other club's came before.
    while (!heard.some((text) => text.includes('Own live.live')))
      await new Promise((resolve) => setTimeout(resolve, 20));
    expect(heard.some((text) => text.includes('Own club.0'))).toBe(true);
    expect(heard.filter((text) => text.includes(secret))).toEqual([]);
  });
});
