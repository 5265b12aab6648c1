import type { FastifyInstance, InjectOptions } from 'fastify';
import { afterAll, beforeAll, expect, it } from 'vitest';
import { drillLibrary } from '../../../src/coaching/drills.ts';
import { silentLogger } from '../../../src/foundation/logger.ts';
import { deviceCookie } from '../../../src/server/access/access-guard.ts';
import { PairedDevices } from '../../../src/server/access/paired-devices.ts';
import { PairingDesk } from '../../../src/server/access/pairing-desk.ts';
import type { PairedRole } from '../../../src/server/access/roles.ts';
import { buildServer } from '../../../src/server/build-server.ts';
import { LiveHub } from '../../../src/server/live-hub.ts';
import { PracticeKeeper } from '../../../src/server/practice/practice-keeper.ts';
import { ShotLog } from '../../../src/server/shot-log.ts';
import { defaultBallSettings } from '../../../src/shots/shot.ts';
import { ManualClock } from '../../devices/manual-clock.ts';
import { tempFolder } from '../../helpers/temp-folder.ts';
import { coach } from '../../sessions/database/opened-store.ts';

const port = 8650;
const machine = '192.0.2.10';

let server: FastifyInstance;
let keeper: PracticeKeeper;
let devices: PairedDevices;
let young: string;
let grown: string;
let hidden: string;
let prescriptionId: string;

beforeAll(async () => {
  const clock = new ManualClock(1_764_000_000);
  const dataFolder = tempFolder();
  devices = await PairedDevices.open(dataFolder, clock);
  keeper = await PracticeKeeper.open({
    ...{ dataFolder, clock, logger: silentLogger, simulated: true, settings: defaultBallSettings },
  });
  const hub = new LiveHub({
    ...{ log: new ShotLog(), clock, version: '1.2.3', runId: 'run1', simulated: true, latestShotCount: 50 },
  });
  const desk = new PairingDesk({ clock, makeCode: () => '123456', makeTicket: () => 'ticket' });
  server = await buildServer({
    ...{ hub, pageFolder: '/nowhere', port, logger: silentLogger },
    practice: { keeper: async () => keeper, nowS: () => clock.nowS(), logger: silentLogger },
    lan: { devices, desk, ownNames: () => [machine], pageUrl: () => null },
  });
  const add = async (pseudonym: string, age_band: 'under-10' | '13-15' | 'adult', display: boolean) => {
    const id = await keeper.store.players.add(coach, { pseudonym, age_band });
    await keeper.store.players.giveConsent(coach, id, 'record', 'parent');
    if (display) await keeper.store.players.giveConsent(coach, id, 'display', 'parent');
    return id;
  };
  young = await add('Player 01', '13-15', true);
  grown = await add('Player 02', 'adult', true);
  hidden = await add('Player 03', 'adult', false);
  for (const playerId of [young, grown, hidden]) {
    prescriptionId = await keeper.store.prescriptions.add(coach, {
      ...{ playerId, fault: 'side-flick', drill: drillLibrary[0]!, measure: 'axisTiltDeg', faultSide: 1 as const },
      ...{ smallestChange: 5, namedS: clock.nowS(), retentionDueS: null, notes: '' },
    });
  }
});
afterAll(async () => {
  await server.close();
  await keeper.close();
});

async function as(role: PairedRole, options: InjectOptions) {
  const { token } = await devices.add(`a ${role}`, role);
  const headers = { host: `${machine}:${port}` };
  return server.inject({ remoteAddress: '192.0.2.77', headers, cookies: { [deviceCookie]: token }, ...options });
}

const paths = (playerId: string) =>
  ['coaching', 'prescriptions', 'load', 'targets', 'sets'].map((part) => `/api/players/${playerId}/${part}`);

it('a viewer learns nothing of anybody', async () => {
  for (const url of [...paths(grown), '/api/drills', '/api/studies']) {
    expect((await as('viewer', { url })).statusCode, url).toBe(403);
  }
});

it('a player sees players who agreed to being shown, and no other', async () => {
  for (const url of paths(grown)) expect((await as('player', { url })).statusCode, url).toBe(200);
  for (const url of paths(hidden)) {
    const answer = await as('player', { url });
    expect(answer.statusCode, url).toBe(409);
    expect(answer.json()).toMatchObject({ error: 'no-consent' });
  }
  for (const url of paths(hidden)) expect((await as('coach', { url })).statusCode, url).toBe(200);
});

it('a verdict on a player under fourteen is the coach’s to tell, and so is the plan', async () => {
  const url = `/api/players/${young}/prescriptions`;
  const [told] = (await as('player', { url })).json().prescriptions;
  expect(told).toMatchObject({ verdict: null, plan: null, retention: null });
  expect(told.withheld).toContain('the coach tells');
  const [known] = (await as('coach', { url })).json().prescriptions;
  expect(known).toMatchObject({ withheld: null, verdict: { verdict: 'not-enough' }, plan: { audience: 'coach' } });
  const [own] = (await as('player', { url: `/api/players/${grown}/prescriptions` })).json().prescriptions;
  expect(own).toMatchObject({ withheld: null, verdict: { verdict: 'not-enough' } });
});

const changes: readonly {
  readonly method: 'PUT' | 'POST' | 'PATCH' | 'GET';
  readonly url: () => string;
  readonly payload?: object;
}[] = [
  { method: 'PUT', url: () => `/api/players/${grown}/targets/pauseS`, payload: { band: { high: 0.2 } } },
  { method: 'PUT', url: () => `/api/players/${grown}/best-sets`, payload: { setIds: [] } },
  { method: 'PUT', url: () => `/api/players/${grown}/load/2026-11-01`, payload: { load: null } },
  {
    method: 'POST',
    url: () => `/api/players/${grown}/prescriptions`,
    payload: { fault: 'side-flick', drill: 'two-finger-release' },
  },
  { method: 'PATCH', url: () => `/api/prescriptions/${prescriptionId}`, payload: { ended: true } },
  { method: 'POST', url: () => '/api/drills', payload: {} },
  { method: 'POST', url: () => '/api/studies', payload: {} },
  { method: 'GET', url: () => '/api/studies' },
];
it.each(changes)('a player changes nothing: $method', async ({ method, url, payload }) => {
  const answer = await as('player', { method, url: url(), ...(payload && { payload }) });
  expect(answer.statusCode).toBe(403);
  expect(answer.json()).toMatchObject({ error: 'role' });
});
