import { once } from 'node:events';
import { connect, type Socket } from 'node:net';
import { afterEach, beforeEach, expect, it } from 'vitest';
import WebSocket from 'ws';
import { deviceCookie } from '../../../src/server/access/access-guard.ts';
import { lanAddresses } from '../../../src/server/access/lan-addresses.ts';
import {
  openWholeService,
  ownAddress,
  remoteAddress,
  servicePort,
  type WholeService,
} from '../../helpers/whole-service.ts';

/** More than anybody who means well would send: the service stays there for everybody else. */

const mostPages = 20;
let service: WholeService;
let port = 0;

async function open(options: Parameters<typeof openWholeService>[0] = {}, host = '127.0.0.1'): Promise<void> {
  service = await openWholeService({ maxClientCount: mostPages, ...options });
  await service.server.listen({ host, port: 0 });
  const address = service.server.server.address();
  port = typeof address === 'object' && address !== null ? address.port : 0;
}

beforeEach(() => open(), 60_000);
afterEach(() => service.close());

const live = (): WebSocket => new WebSocket(`ws://127.0.0.1:${port}/api/live`);

/** @returns 0 of one that was let in, else the status of the refusal. */
function outcomeOf(socket: WebSocket): Promise<number> {
  return new Promise((resolve) => {
    socket.on('open', () => resolve(0));
    socket.on('error', () => {});
    socket.on('unexpected-response', (_, answer) => resolve(answer.statusCode ?? -1));
  });
}

async function isWell(): Promise<boolean> {
  return (await fetch(`http://127.0.0.1:${port}/api/health`)).status === 200;
}

it('of pages are let in up to a number, the rest told so, and places that become free given again', async () => {
  const sockets = Array.from({ length: 3 * mostPages }, live);
  const outcomes = await Promise.all(sockets.map(outcomeOf));
  expect(outcomes.filter((outcome) => outcome === 0)).toHaveLength(mostPages);
  expect(new Set(outcomes.filter((outcome) => outcome !== 0))).toEqual(new Set([503]));
  expect(await isWell()).toBe(true);
  for (const socket of sockets) socket.terminate();
  while (service.hub.clientCount > 0) await new Promise((resolve) => setTimeout(resolve, 10));
  expect(await outcomeOf(live())).toBe(0);
});

it('of connections that come and go leave nothing behind', async () => {
  for (let round = 0; round < 20; round++) {
    const sockets = Array.from({ length: 10 }, live);
    // Half of them go before they are answered.
    for (const socket of sockets.slice(5)) {
      socket.on('error', () => {});
      socket.terminate();
    }
    await Promise.all(sockets.slice(0, 5).map(outcomeOf));
    for (const socket of sockets) socket.terminate();
  }
  while (service.hub.clientCount > 0) await new Promise((resolve) => setTimeout(resolve, 10));
  expect(await isWell()).toBe(true);
});

it('of messages on the live stream, which takes none, end it at the first', async () => {
  const socket = live();
  await once(socket, 'open');
  const closed = once(socket, 'close');
  for (let k = 0; k < 1000; k++) socket.send(`message ${k}`, () => {});
  expect((await closed)[0]).toBe(1008);
  expect(await isWell()).toBe(true);
});

it.each(['/api/live', '/api/sensor-feed'])('of one message that is too long end %s', async (url) => {
  const socket = new WebSocket(`ws://127.0.0.1:${port}${url}`);
  await once(socket, 'open');
  const closed = once(socket, 'close');
  socket.on('error', () => {});
  socket.send(Buffer.alloc(4 * 1024 * 1024), () => {});
  expect([1006, 1008, 1009]).toContain((await closed)[0]);
  expect(await isWell()).toBe(true);
});

it.each([
  ['a text that is no JSON', '{'],
  ['a kind that there is not', '{"kind":"__proto__"}'],
])('of nonsense end the feed of a sensor: %s', async (_, message) => {
  const socket = new WebSocket(`ws://127.0.0.1:${port}/api/sensor-feed`);
  await once(socket, 'open');
  const closed = once(socket, 'close');
  socket.send(message);
  expect((await closed)[0]).toBe(1008);
  expect(await isWell()).toBe(true);
});

const { shown } = lanAddresses();

it.skipIf(shown === null)('of connections of one device stop at more than a page needs', async () => {
  await service.close();
  await open({ maxClientCount: 100 }, '0.0.0.0');
  const headers = { cookie: `${deviceCookie}=${service.tokens.viewer}` };
  const sockets = Array.from(
    { length: 40 },
    () => new WebSocket(`ws://${shown}:${port}/api/live`, { headers: { ...headers, host: `${ownAddress}:${port}` } }),
  );
  const outcomes = await Promise.all(sockets.map(outcomeOf));
  expect(outcomes.filter((outcome) => outcome === 0)).toHaveLength(16);
  expect(new Set(outcomes.filter((outcome) => outcome !== 0))).toEqual(new Set([503]));
  // The others do not notice.
  expect(await outcomeOf(live())).toBe(0);
  for (const socket of sockets) socket.terminate();
});

it('of heads that come drop by drop hold up nobody, and are let go', async () => {
  const slow: Socket[] = Array.from({ length: 300 }, () => {
    const socket = connect(port, '127.0.0.1');
    socket.on('error', () => {});
    socket.write(`GET /api/health HTTP/1.1\r\nHost: 127.0.0.1:${port}\r\nX-Slow: `);
    return socket;
  });
  const dripping = setInterval(() => {
    for (const socket of slow) if (socket.writable) socket.write('x');
  }, 200);
  const gone = Promise.all(slow.map((socket) => new Promise((resolve) => socket.on('close', resolve))));
  expect(await isWell()).toBe(true);
  expect(await outcomeOf(live())).toBe(0);
  await gone;
  clearInterval(dripping);
});

it('of connections that say nothing do not keep the service from stopping', async () => {
  const silent = Array.from({ length: 100 }, () => connect(port, '127.0.0.1').on('error', () => {}));
  await Promise.all(silent.map((socket) => once(socket, 'connect')));
  const pages = Array.from({ length: 5 }, live);
  await Promise.all(pages.map(outcomeOf));
  // One that does not answer the farewell.
  pages[0]?.pause();
  const closed = silent.map((socket) => once(socket, 'close'));
  await service.server.close();
  await Promise.all(closed);
  await expect(fetch(`http://127.0.0.1:${port}/api/health`)).rejects.toThrow();
});

it('of guesses at the code end the pairing after five, and the right one does not help then', async () => {
  service.desk.open('coach');
  const guess = (code: string) =>
    service.server.inject({
      ...{ method: 'POST', url: '/api/access/pair', remoteAddress },
      headers: { host: `${ownAddress}:${servicePort}` },
      payload: { code, deviceName: 'guesser' },
    });
  for (let k = 0; k < 5; k++) expect((await guess(String(k).padStart(6, '0'))).statusCode).toBe(403);
  expect((await guess('123456')).statusCode).toBe(403);
  expect(service.desk.state).toMatchObject({ state: 'closed', why: 'tries' });
  // And many guesses are not even looked at.
  const statuses = new Set<number>();
  for (let k = 0; k < 40; k++) statuses.add((await guess('000000')).statusCode);
  expect(statuses).toContain(429);
  expect(service.devices.list().map(({ name }) => name)).not.toContain('guesser');
});

it('of requests are slowed down for every route, and for one device without the others', async () => {
  await service.close();
  await open({ mostRequests: { local: 1e9, remote: 30 } });
  const ask = (url: string, from: string) =>
    service.server.inject({ url, remoteAddress: from, headers: { host: `${ownAddress}:${servicePort}` } });
  const statuses = new Set<number>();
  for (const { url, method } of await service.operations()) {
    if (method === 'GET') statuses.add((await ask(url, remoteAddress)).statusCode);
  }
  expect(statuses).toContain(429);
  expect((await ask('/api/access/me', '192.0.2.99')).statusCode).toBe(200);
});
