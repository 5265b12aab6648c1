import os from 'node:os';
import type { FastifyInstance, InjectOptions } from 'fastify';
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import WebSocket from 'ws';
import { BrowserSensors } from '../../../src/devices/browser-sensors.ts';
import { silentLogger } from '../../../src/foundation/logger.ts';
import { deviceCookie } from '../../../src/server/access/access-guard.ts';
import { lanAddresses } from '../../../src/server/access/lan-addresses.ts';
import { PairedDevices } from '../../../src/server/access/paired-devices.ts';
import { PairingDesk } from '../../../src/server/access/pairing-desk.ts';
import { pairedRoles } from '../../../src/server/access/roles.ts';
import { buildServer } from '../../../src/server/build-server.ts';
import { LiveHub } from '../../../src/server/live-hub.ts';
import { ShotLog } from '../../../src/server/shot-log.ts';
import { ManualClock } from '../../devices/manual-clock.ts';
import { temporaryFolder } from '../../helpers/temporary-folder.ts';

const port = 8650;
/** Addresses of RFC 5737, which nobody has. */
const machine = '192.0.2.10';
const remoteAddress = '192.0.2.77';

let clock: ManualClock;
let server: FastifyInstance;
let desk: PairingDesk;
let devices: PairedDevices;
let ownNames: readonly string[] = [machine];

beforeEach(async () => {
  clock = new ManualClock();
  ownNames = [machine];
  desk = new PairingDesk({ clock, makeCode: () => '123456', makeTicket: () => 'ticket' });
  devices = await PairedDevices.open(temporaryFolder(), clock);
  const hub = new LiveHub({
    ...{ log: new ShotLog(), clock, version: '1.2.3', runId: 'run1', simulated: true, latestShotCount: 50 },
  });
  server = await buildServer({
    ...{ hub, pageFolder: '/nowhere', port, logger: silentLogger, source: new BrowserSensors({ clock }) },
    lan: { devices, desk, ownNames: () => ownNames, pageUrl: () => `http://${machine}:${port}/` },
  });
});
afterEach(() => server.close());

/** A request from another machine of the network. */
function remote(options: InjectOptions, token?: string) {
  const cookies = token === undefined ? {} : { [deviceCookie]: token };
  return server.inject({ remoteAddress, headers: { host: `${machine}:${port}` }, cookies, ...options });
}

/** A request from the machine itself. */
function host(options: InjectOptions) {
  return server.inject({ headers: { host: `127.0.0.1:${port}` }, ...options });
}

describe('a device of the network that was not let in', () => {
  test.each(['/api/health', '/api/shots', '/api/access/devices', '/api/access/pairing', '/api/openapi.json'])(
    'gets nothing of %s',
    async (url) => {
      const answer = await remote({ url });
      expect(answer.statusCode).toBe(401);
      expect(answer.json()).toMatchObject({ error: 'not-paired' });
    },
  );

  test.each([
    '/%61pi/shots',
    '/ap%69/health',
    '/api%2Fshots',
    '//api/shots',
    '/API/shots',
    '/./api/shots',
    '/x/../api/shots',
  ])('gets nothing by writing the way otherwise: %s', async (url) => {
    const answer = await remote({ url });
    expect([401, 404]).toContain(answer.statusCode);
    expect(answer.body).not.toContain('"shots"');
  });

  test('gets nothing with a token that was made up or removed', async () => {
    expect((await remote({ url: '/api/health' }, 'x'.repeat(43))).statusCode).toBe(401);
    const { device, token } = await devices.add('phone', 'viewer');
    expect((await remote({ url: '/api/health' }, token)).statusCode).toBe(200);
    const removed = await host({ method: 'DELETE', url: `/api/access/devices/${device.id}` });
    expect(removed.statusCode).toBe(204);
    expect((await remote({ url: '/api/health' }, token)).statusCode).toBe(401);
  });

  test('is told who it is: nobody', async () => {
    expect((await remote({ url: '/api/access/me' })).json()).toEqual({ role: null, deviceName: null });
  });

  test('cannot open a pairing, nor agree to its own', async () => {
    const opened = await remote({ method: 'POST', url: '/api/access/pairing', payload: { role: 'coach' } });
    expect(opened.statusCode).toBe(401);
    desk.open('coach');
    desk.tryCode('123456', 'me');
    const agreed = await remote({ method: 'POST', url: '/api/access/pairing/confirm', payload: { agrees: true } });
    expect(agreed.statusCode).toBe(401);
  });

  test('is refused where it names the machine by a foreign name (DNS rebinding)', async () => {
    const { token } = await devices.add('phone', 'coach');
    const answer = await remote({ url: '/api/health', headers: { host: `gym.example:${port}` } }, token);
    expect(answer.statusCode).toBe(403);
  });

  test('is refused where another page asks in its browser', async () => {
    const { token } = await devices.add('phone', 'coach');
    const headers = { host: `${machine}:${port}`, origin: 'http://gym.example' };
    expect((await remote({ url: '/api/health', headers }, token)).statusCode).toBe(403);
  });

  test('counts the addresses of now: a laptop moves from one network to the next', async () => {
    ownNames = ['192.0.2.11'];
    expect((await remote({ url: '/api/access/me' })).statusCode).toBe(403);
  });
});

describe('pairing', () => {
  async function pair(payload: unknown) {
    return remote({ method: 'POST', url: '/api/access/pair', payload: payload as object });
  }

  test('by a code from the host: a cookie that no script reads and no other page sends', async () => {
    const opened = await host({ method: 'POST', url: '/api/access/pairing', payload: { role: 'player' } });
    expect(opened.json()).toMatchObject({ state: 'open', code: '123456' });
    const shown = (await host({ url: '/api/access/pairing' })).json();
    expect(shown).toMatchObject({ url: `http://${machine}:${port}/`, code: '123456' });
    const picture = await host({ url: '/api/access/pairing/code.svg' });
    expect(picture.headers['content-type']).toContain('image/svg+xml');
    expect((await remote({ url: '/api/access/pairing/code.svg' })).statusCode).toBe(401);
    const answer = await pair({ code: '123456', deviceName: 'phone of Player 07' });
    expect(answer.statusCode).toBe(201);
    expect(answer.json()).toEqual({ state: 'paired', role: 'player' });
    const [cookie] = answer.cookies;
    expect(cookie).toMatchObject({ name: deviceCookie, httpOnly: true, sameSite: 'Strict', path: '/' });
    expect(cookie?.value).toHaveLength(43);
    const me = await remote({ url: '/api/access/me' }, cookie?.value);
    expect(me.json()).toEqual({ role: 'player', deviceName: 'phone of Player 07' });
    expect((await host({ url: '/api/access/devices' })).json().devices).toHaveLength(1);
  });

  test('as coach: only after the host agreed', async () => {
    desk.open('coach');
    const first = await pair({ code: '123456', deviceName: 'tablet' });
    expect(first.statusCode).toBe(202);
    expect(first.cookies).toEqual([]);
    const wait = () => remote({ method: 'POST', url: '/api/access/pair/wait', payload: { ticket: 'ticket' } });
    expect((await wait()).statusCode).toBe(202);
    await host({ method: 'POST', url: '/api/access/pairing/confirm', payload: { agrees: true } });
    const done = await wait();
    expect(done.json()).toEqual({ state: 'paired', role: 'coach' });
    expect(done.cookies).toHaveLength(1);
    expect((await wait()).statusCode).toBe(403);
  });

  test('guessing codes ends the pairing long before it could succeed', async () => {
    desk.open('viewer');
    for (let code = 0; code < 15; code++) {
      const answer = await pair({ code: String(code).padStart(6, '0'), deviceName: 'guesser' });
      expect(answer.statusCode).toBe(403);
    }
    expect((await pair({ code: '123456', deviceName: 'guesser' })).statusCode).toBe(403);
    expect(devices.list()).toEqual([]);
  });

  test('guessing on and on is slowed down', async () => {
    const answers = [];
    for (let at = 0; at < 25; at++) answers.push((await pair({ code: '000000', deviceName: 'x' })).statusCode);
    expect(answers.slice(0, 20)).toEqual(Array(20).fill(403));
    expect(answers.slice(20)).toEqual(Array(5).fill(429));
  });

  test.each([
    { code: '12345', deviceName: 'x' },
    { code: 123456 },
    { deviceName: 'x' },
    [],
    null,
    { code: '123456', deviceName: 'x'.repeat(61) },
  ])('a request that makes no sense gets an answer that says so: %j', async (payload) => {
    desk.open('viewer');
    const answer = await remote({
      ...{ method: 'POST', url: '/api/access/pair', payload: JSON.stringify(payload) },
      headers: { host: `${machine}:${port}`, 'content-type': 'application/json' },
    });
    expect(answer.statusCode).toBe(400);
    expect(answer.json().error).toBe('bad-request');
    expect(desk.state).toMatchObject({ triesLeft: 5 });
  });
});

describe('what a role may do', () => {
  test('each route of the API says who may use it, and a paired device never rules over devices', async () => {
    for (const role of pairedRoles) {
      const { token } = await devices.add(role, role);
      const status = async (options: InjectOptions) => (await remote(options, token)).statusCode;
      expect(await status({ url: '/api/health' }), role).toBe(200);
      expect(await status({ url: '/api/shots' }), role).toBe(200);
      expect(await status({ url: '/api/access/devices' }), role).toBe(403);
      expect(await status({ method: 'POST', url: '/api/access/pairing', payload: { role: 'viewer' } }), role).toBe(403);
    }
  });

  test('the machine itself may do everything', async () => {
    expect((await host({ url: '/api/access/me' })).json()).toEqual({ role: 'host', deviceName: null });
  });
});

const { names, shown } = lanAddresses();
const noNetwork = shown === null ? ` (skipped: no network on ${os.hostname()})` : '';

test.skipIf(shown === null).each(['live', 'sensor-feed'])(
  `a removed device is cut off from %s${noNetwork}`,
  async (name) => {
    ownNames = names;
    await server.listen({ host: '0.0.0.0', port: 0 });
    const address = server.server.address();
    if (address === null || typeof address === 'string') throw new Error('no address');
    const url = `ws://${shown}:${address.port}/api/${name}`;
    const { device, token } = await devices.add('tablet', 'player');
    const socket = new WebSocket(url, { headers: { cookie: `${deviceCookie}=${token}` } });
    const closed = new Promise<number>((resolve) => socket.on('close', resolve));
    await new Promise((resolve) => socket.once('open', resolve));
    const answer = await server.inject({
      ...{ method: 'DELETE', url: `/api/access/devices/${device.id}` },
      headers: { host: `127.0.0.1:${port}` },
    });
    expect(answer.statusCode).toBe(204);
    expect(await closed).toBe(4401);
    const again = new WebSocket(url, { headers: { cookie: `${deviceCookie}=${token}` } });
    const refused = await new Promise<number>((resolve) => {
      again.on('unexpected-response', (_request, response) => resolve(response.statusCode ?? 0));
      again.on('error', () => {});
    });
    expect(refused).toBe(401);
  },
);
