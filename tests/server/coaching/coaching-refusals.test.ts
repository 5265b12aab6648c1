import type { FastifyInstance, InjectOptions } from 'fastify';
import { afterAll, beforeAll, expect, it } from 'vitest';
import { silentLogger } from '../../../src/foundation/logger.ts';
import { buildServer } from '../../../src/server/build-server.ts';
import { LiveHub } from '../../../src/server/live-hub.ts';
import { PracticeKeeper } from '../../../src/server/practice/practice-keeper.ts';
import { ShotLog } from '../../../src/server/shot-log.ts';
import { defaultBallSettings } from '../../../src/shots/shot.ts';
import { ManualClock } from '../../devices/manual-clock.ts';
import { tempFolder } from '../../helpers/temp-folder.ts';
import { coach } from '../../sessions/database/opened-store.ts';

/** Requests of coaching that make no sense: each is refused with a sentence, and changes nothing. One service for all of them. */

let server: FastifyInstance;
let keeper: PracticeKeeper;
let playerId: string;

beforeAll(async () => {
  const clock = new ManualClock(1_764_000_000);
  const practice = { dataFolder: tempFolder(), clock, logger: silentLogger };
  keeper = await PracticeKeeper.open({ ...practice, simulated: true, settings: defaultBallSettings });
  const hub = new LiveHub({
    ...{ log: new ShotLog(), clock, version: '1.2.3', runId: 'run1', simulated: true, latestShotCount: 50 },
  });
  server = await buildServer({
    ...{ hub, pageFolder: '/nowhere', port: 8650, logger: silentLogger },
    practice: { keeper: async () => keeper, nowS: () => clock.nowS(), logger: silentLogger },
  });
  playerId = await keeper.store.players.add(coach, { pseudonym: 'Player 01' });
  await keeper.store.players.giveConsent(coach, playerId, 'record', 'parent');
});
afterAll(async () => {
  await server.close();
  await keeper.close();
});

type Method = 'GET' | 'POST' | 'PATCH' | 'PUT';

async function ask(method: Method, url: string, body?: object) {
  const request: InjectOptions = { method, url, headers: { host: '127.0.0.1:8650' } };
  const answer = await server.inject(body === undefined ? request : { ...request, payload: body });
  return { status: answer.statusCode, body: answer.body === '' ? null : answer.json() };
}

const done = async (method: Method, url: string) => (await ask(method, url)).body;

const own = {
  title: 'Wall taps',
  forFaults: ['side-flick'],
  purpose: 'The ball turns straight.',
  setUp: 'A wall.',
  steps: ['Tap it.'],
  dose: { sets: 2, shotsASet: 10, daysAWeek: 2 },
  progressions: [],
  fromAge: 12,
  cautions: ['Stop at pain.'],
  moves: { measure: 'axisTiltDeg', side: 'less', by: 4 },
};

it.each([
  ['no fault', { ...own, forFaults: [] }],
  ['a fault that is none', { ...own, forFaults: ['bad-mood'] }],
  ['a measure that is none', { ...own, moves: { ...own.moves, measure: 'luck' } }],
  ['a change of nothing', { ...own, moves: { ...own.moves, by: 0 } }],
  ['a step without words', { ...own, steps: [''] }],
  ['control characters', { ...own, title: 'a\u0007b' }],
  ['more than it is', { ...own, hidden: true }],
])('a drill of one’s own is refused with a sentence: %s', async (_what, body) => {
  const answer = await ask('POST', '/api/drills', body);
  expect(answer.status).toBe(400);
  expect(answer.body.message.length).toBeGreaterThan(10);
  expect((await done('GET', '/api/drills')).drills.every((drill: { own: boolean }) => !drill.own)).toBe(true);
});

it.each(['2026-13-01', 'today', '2026-02-29'])('load of the day %s is refused', async (date) => {
  const answer = await ask('PUT', `/api/players/${playerId}/load/${date}`, { load: { shots: 1, minutes: 1 } });
  expect(answer).toMatchObject({ status: 400, body: { error: 'store-value' } });
});

const plan = {
  ...{ name: 'hop or step', factor: 'footwork', levels: ['hop', 'one-two'], daysEach: 6, shotsASet: 5 },
  ...{ margins: { makes: 0.1 }, seed: 'fixed' },
};

it.each([
  ['one condition', { levels: ['hop'] }],
  ['a condition twice', { levels: ['hop', 'hop '] }],
  ['nobody', { playerIds: [] }],
  ['a margin of nothing', { margins: { makes: 0 } }],
  ['a margin of something that is no measure', { margins: { luck: 1 } }],
  ['a name too long', { name: 'x'.repeat(121) }],
])('a study is refused with a sentence: %s', async (_what, change) => {
  const answer = await ask('POST', '/api/studies', { ...plan, playerIds: [playerId], ...change });
  expect(answer.status).toBe(400);
  expect(answer.body.message.length).toBeGreaterThan(10);
  expect((await done('GET', '/api/studies')).studies).toEqual([]);
});

it.each([
  ['GET', '/api/players/none/coaching', undefined],
  ['GET', '/api/players/none/load', undefined],
  ['GET', '/api/players/none/targets', undefined],
  ['GET', '/api/players/none/prescriptions', undefined],
  ['PATCH', '/api/prescriptions/none', { ended: true }],
  ['POST', '/api/prescriptions/none/blocks', { role: 'baseline', sessionId: 'none' }],
  ['PATCH', '/api/blocks/none', { ended: true }],
  ['GET', '/api/studies/none', undefined],
  ['GET', '/api/studies/none/result', undefined],
  ['PATCH', '/api/drills/none', { title: 'x' }],
] as const)('%s %s of something that is not there is 404 with a sentence', async (method, url, body) => {
  const answer = await ask(method, url, body);
  expect(answer.status, JSON.stringify(answer.body)).toBe(404);
  expect(answer.body.message).toContain('there is no');
});

it.each([
  ['PUT', '/targets/luck', { band: { low: 0 } }],
  ['PUT', '/targets/pauseS', { band: { low: 2, high: 1 } }],
  ['PUT', '/targets/pauseS', { band: {} }],
  ['PUT', '/targets/pauseS', { band: { low: 'a' } }],
  ['PUT', '/best-sets', { setIds: 'all' }],
  ['POST', '/prescriptions', { fault: 'bad-mood', drill: 'two-finger-release' }],
  ['POST', '/prescriptions', { fault: 'side-flick', drill: 'two-finger-release', smallestChange: -1 }],
  ['POST', '/prescriptions', { fault: 'side-flick', drill: 'two-finger-release', faultSide: 2 }],
] as const)('%s %s that makes no sense is 400 and changes nothing: %j', async (method, path, body) => {
  const answer = await ask(method, `/api/players/${playerId}${path}`, body);
  expect(answer.status, JSON.stringify(answer.body)).toBe(400);
  expect((await done('GET', `/api/players/${playerId}/prescriptions`)).prescriptions).toEqual([]);
  expect((await keeper.store.coaching.targets(playerId)).length).toBe(0);
});
