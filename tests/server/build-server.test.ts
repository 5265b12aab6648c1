import { mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { connect as connectTcp } from 'node:net';
import os from 'node:os';
import path from 'node:path';
import type { FastifyInstance } from 'fastify';
import { Compile } from 'typebox/compile';
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import WebSocket from 'ws';
import { silentLogger } from '../../src/foundation/logger.ts';
import { buildServer } from '../../src/server/build-server.ts';
import { LiveHub } from '../../src/server/live-hub.ts';
import { ShotLog } from '../../src/server/shot-log.ts';
import { type LiveDocument, liveDocumentSchema } from '../../src/server/wire/live-document.ts';
import { ManualClock } from '../devices/manual-clock.ts';
import { rejectedEvent, shotEvent } from './made-shots.ts';

const port = 8650;
const headers = { host: `127.0.0.1:${port}` };
const liveDocument = Compile(liveDocumentSchema);

let base = '';
let clock: ManualClock;
let hub: LiveHub;
let server: FastifyInstance;

beforeEach(async () => {
  base = mkdtempSync(path.join(os.tmpdir(), 'seamwise-page-'));
  const pageFolder = path.join(base, 'page');
  mkdirSync(path.join(pageFolder, 'assets'), { recursive: true });
  writeFileSync(path.join(pageFolder, 'index.html'), '<!doctype html><title>page</title>');
  writeFileSync(path.join(pageFolder, 'assets', 'main-abc123.js'), 'export {};');
  writeFileSync(path.join(pageFolder, '.hidden'), 'secret-dot');
  writeFileSync(path.join(base, 'secret.txt'), 'secret-beside');
  clock = new ManualClock();
  hub = new LiveHub({
    log: new ShotLog(),
    clock,
    version: '1.2.3',
    runId: 'run1',
    simulated: true,
    latestShotCount: 50,
  });
  server = await buildServer({ hub, pageFolder, port, logger: silentLogger, maxClientCount: 3 });
});

afterEach(async () => {
  await server.close();
  rmSync(base, { recursive: true, force: true });
});

async function listenUrl(): Promise<string> {
  await server.listen({ host: '127.0.0.1', port: 0 });
  const address = server.server.address();
  if (address === null || typeof address === 'string') throw new Error('no address');
  return `127.0.0.1:${address.port}`;
}

/** Collects what a client is sent. */
class Client {
  readonly documents: LiveDocument[] = [];
  readonly socket: WebSocket;
  #wake: () => void = () => {};
  #closed = false;

  constructor(url: string, options: WebSocket.ClientOptions = {}) {
    this.socket = new WebSocket(url, options);
    this.socket.on('message', (data) => {
      const document: unknown = JSON.parse(String(data));
      if (!liveDocument.Check(document)) throw new Error(`not a live document: ${String(data)}`);
      this.documents.push(document as LiveDocument);
      this.#wake();
    });
    this.socket.on('close', () => {
      this.#closed = true;
      this.#wake();
    });
    this.socket.on('error', () => {});
  }

  async until(count: number): Promise<LiveDocument[]> {
    while (this.documents.length < count) {
      if (this.#closed) throw new Error(`closed after ${this.documents.length} documents, expected ${count}`);
      await new Promise<void>((resolve) => {
        this.#wake = resolve;
      });
    }
    return this.documents;
  }

  closed(): Promise<{ code: number; reason: string }> {
    return new Promise((resolve) =>
      this.socket.on('close', (code, reason) => resolve({ code, reason: String(reason) })),
    );
  }

  /** @returns HTTP status with which the upgrade was refused, or 101. */
  upgradeStatus(): Promise<number> {
    return new Promise((resolve) => {
      this.socket.on('open', () => resolve(101));
      this.socket.on('unexpected-response', (_request, response) => resolve(response.statusCode ?? 0));
    });
  }
}

describe('every answer', () => {
  test.each(['/', '/api/health', '/api/shots', '/nothing', '/api/live'])('%s has the security headers', async (url) => {
    const { headers: got } = await server.inject({ url, headers });
    const policy = String(got['content-security-policy']);
    expect(policy).toContain("default-src 'none'");
    expect(policy).toContain("script-src 'self'");
    expect(policy).not.toMatch(/unsafe|\bws:|\*/);
    expect(got['x-content-type-options']).toBe('nosniff');
    expect(got['cross-origin-resource-policy']).toBe('same-origin');
  });

  test('a refused one has them too', async () => {
    const { statusCode, headers: got } = await server.inject({ url: '/', headers: { host: 'gym.example' } });
    expect(statusCode).toBe(403);
    expect(got['content-security-policy']).toContain("default-src 'none'");
  });
});

describe('plain requests from elsewhere', () => {
  test.each(['/', '/assets/main-abc123.js', '/api/health', '/api/shots', '/nothing'])(
    '%s with a foreign host is refused',
    async (url) => {
      const answer = await server.inject({ url, headers: { host: `gym.example:${port}` } });
      expect(answer.statusCode).toBe(403);
      expect(answer.json()).toMatchObject({ error: 'forbidden' });
      expect(answer.body).toContain(`expected 127.0.0.1:${port}`);
    },
  );

  test('a foreign origin is refused', async () => {
    const answer = await server.inject({ url: '/api/shots', headers: { ...headers, origin: 'http://gym.example' } });
    expect(answer.statusCode).toBe(403);
  });

  test('over a real connection the port that counts is the one it came in on', async () => {
    const address = await listenUrl();
    expect((await fetch(`http://${address}/api/health`)).status).toBe(200);
    const wrongPort = await rawStatus(address, ['Host: 127.0.0.1:1']);
    expect(wrongPort).toBe(403);
    expect(await rawStatus(address, [`Host: ${address}`, 'Host: gym.example'])).not.toBe(200);
    expect(await rawStatus(address, [`Host: ${address}`])).toBe(200);
  });
});

/** Sends a request as it stands: clients mend what is wrong with it. */
function rawStatus(address: string, headerLines: readonly string[], target = '/api/health'): Promise<number> {
  const [host = '', portText = ''] = address.split(':');
  return new Promise((resolve, reject) => {
    const socket = connectTcp(Number(portText), host, () => {
      socket.write(`GET ${target} HTTP/1.1\r\n${headerLines.join('\r\n')}\r\nConnection: close\r\n\r\n`);
    });
    let text = '';
    socket.on('data', (bytes) => {
      text += String(bytes);
    });
    socket.on('end', () => resolve(Number(/^HTTP\/1\.1 (\d+)/.exec(text)?.[1] ?? 0)));
    socket.on('error', reject);
  });
}

describe('upgrades from elsewhere', () => {
  test('the own page and a program without a page may connect', async () => {
    const address = await listenUrl();
    const page = new Client(`ws://${address}/api/live`, { origin: `http://${address}` });
    const program = new Client(`ws://${address}/api/live`);
    expect(await page.upgradeStatus()).toBe(101);
    expect(await program.upgradeStatus()).toBe(101);
  });

  test.each(['http://gym.example', 'null', 'https://127.0.0.1', 'http://127.0.0.1:1'])(
    'origin %s is refused (cross-site WebSocket)',
    async (origin) => {
      const address = await listenUrl();
      expect(await new Client(`ws://${address}/api/live`, { origin }).upgradeStatus()).toBe(403);
      expect(hub.clientCount).toBe(0);
    },
  );

  test('a foreign host is refused (DNS rebinding)', async () => {
    const address = await listenUrl();
    const client = new Client(`ws://${address}/api/live`, { headers: { host: 'gym.example' } });
    expect(await client.upgradeStatus()).toBe(403);
    expect(hub.clientCount).toBe(0);
  });

  test('an upgrade elsewhere than at the live stream is refused', async () => {
    const address = await listenUrl();
    const elsewhere = new Client(`ws://${address}/nothing`);
    await elsewhere.closed();
    expect(elsewhere.documents).toEqual([]);
  });
});

describe('the page', () => {
  test('stands at / and its files are found', async () => {
    const page = await server.inject({ url: '/', headers });
    expect(page.statusCode).toBe(200);
    expect(page.headers['content-type']).toContain('text/html');
    expect(page.headers['cache-control']).toBe('no-cache');
    const script = await server.inject({ url: '/assets/main-abc123.js', headers });
    expect(script.statusCode).toBe(200);
    expect(script.headers['cache-control']).toContain('immutable');
  });

  test.each([
    '/../secret.txt',
    '/..%2fsecret.txt',
    '/%2e%2e/secret.txt',
    '/%2e%2e%2fsecret.txt',
    '/assets/../../secret.txt',
    '/assets/..%5c..%5csecret.txt',
    '/..\\secret.txt',
    '/%252e%252e%252fsecret.txt',
    '/.hidden',
    '/%2ehidden',
    '/assets/%00/../../secret.txt',
    '//secret.txt',
    '/etc/passwd',
    '/assets/',
    '/%',
    '/%c0%ae%c0%ae/secret.txt',
  ])('nothing outside it is given: %s', async (url) => {
    const answer = await server.inject({ url, headers });
    expect(answer.statusCode).toBeGreaterThanOrEqual(400);
    expect(answer.statusCode).toBeLessThan(500);
    expect(answer.body).not.toContain('secret-');
  });

  test('over a real connection neither', async () => {
    const address = await listenUrl();
    for (const target of ['/../secret.txt', '/assets/../../secret.txt', `http://${address}/../secret.txt`]) {
      expect(await rawStatus(address, [`Host: ${address}`], target)).toBeGreaterThanOrEqual(400);
    }
  });

  test('that was not built is told in a sentence', async () => {
    const bare = await buildServer({ hub, pageFolder: path.join(base, 'none'), port, logger: silentLogger });
    const answer = await bare.inject({ url: '/', headers });
    expect(answer.statusCode).toBe(503);
    expect(answer.body).toMatch(/expected index\.html in .*none.*npm start/);
    await bare.close();
  });
});

describe('what the service does not take', () => {
  test.each(['POST', 'PUT', 'DELETE', 'PATCH', 'OPTIONS'] as const)('%s', async (method) => {
    const answer = await server.inject({ method, url: '/api/shots', headers });
    expect(answer.statusCode).toBe(404);
  });

  test('a large body', async () => {
    const answer = await server.inject({
      method: 'POST',
      url: '/api/shots',
      headers: { ...headers, 'content-type': 'application/json' },
      payload: 'x'.repeat(1_000_000),
    });
    expect([404, 413]).toContain(answer.statusCode);
  });

  test.each(['limit=0', 'limit=1001', 'limit=many', 'limit=1e9', 'limit=2.5', 'limit='])(
    'GET /api/shots?%s',
    async (query) => {
      const answer = await server.inject({ url: `/api/shots?${query}`, headers });
      expect(answer.statusCode).toBe(400);
      expect(answer.json()).toMatchObject({ error: 'bad-request' });
      expect(answer.body).toContain('limit');
    },
  );

  test.each(['since=-1', 'since=later', 'since=1e300'])('an upgrade with %s', async (query) => {
    const address = await listenUrl();
    expect(await new Client(`ws://${address}/api/live?${query}`).upgradeStatus()).toBe(400);
  });

  test('a plain request to the live stream is told what to do', async () => {
    const answer = await server.inject({ url: '/api/live', headers });
    expect(answer.statusCode).toBe(426);
    expect(answer.json().message).toContain('expected a WebSocket');
  });

  test('messages from a client, long ones above all', async () => {
    const address = await listenUrl();
    const talker = new Client(`ws://${address}/api/live`);
    await talker.until(1);
    talker.socket.send('hello');
    expect((await talker.closed()).code).toBe(1008);
    const shouter = new Client(`ws://${address}/api/live`);
    await shouter.until(1);
    shouter.socket.send('x'.repeat(100_000));
    expect((await shouter.closed()).code).toBe(1009);
    expect((await fetch(`http://${address}/api/health`)).status).toBe(200);
  });

  test('more clients than it may have', async () => {
    const address = await listenUrl();
    const clients = Array.from({ length: 3 }, () => new Client(`ws://${address}/api/live`));
    for (const client of clients) await client.until(1);
    expect(await new Client(`ws://${address}/api/live`).upgradeStatus()).toBe(503);
  });
});

describe('GET /api/health', () => {
  test('says what runs', async () => {
    hub.publish(shotEvent(0));
    const answer = await server.inject({ url: '/api/health', headers });
    expect(answer.statusCode).toBe(200);
    expect(answer.json()).toMatchObject({
      status: 'ok',
      version: '1.2.3',
      runId: 'run1',
      simulated: true,
      lastSeq: 1,
      storage: { status: 'ok' },
      sensors: [],
    });
  });
});

describe('GET /api/shots', () => {
  test('gives the last shots, each once in its latest form', async () => {
    for (let index = 0; index < 4; index++) hub.publish(shotEvent(index));
    hub.publish(shotEvent(4, 'early'));
    hub.publish(shotEvent(4, 'final'));
    hub.publish(rejectedEvent(100));
    hub.publish(shotEvent(5, 'early'));
    const answer = await server.inject({ url: '/api/shots?limit=3', headers });
    const { v, seq, shots } = answer.json() as { v: number; seq: number; shots: LiveDocument[] };
    expect({ v, seq }).toEqual({ v: 1, seq: 8 });
    expect(shots.every((shot) => liveDocument.Check(shot))).toBe(true);
    expect(
      shots.map((document) => (document.kind === 'shot' ? [document.shot.index, document.shot.stage] : [])),
    ).toEqual([
      [3, 'final'],
      [4, 'final'],
      [5, 'early'],
    ]);
  });

  test('is an empty list before the first shot', async () => {
    expect((await server.inject({ url: '/api/shots', headers })).json()).toEqual({ v: 1, seq: 0, shots: [] });
  });
});

describe('GET /api/live', () => {
  test('greets, gives the last shots and then each as it comes', async () => {
    const address = await listenUrl();
    hub.publish(shotEvent(0));
    const client = new Client(`ws://${address}/api/live`);
    await client.until(2);
    hub.publish(shotEvent(1, 'early'));
    clock.advance(1.2);
    hub.publish(shotEvent(1, 'final'));
    const documents = await client.until(4);
    expect(documents.map((document) => [document.kind, document.seq])).toEqual([
      ['hello', 1],
      ['shot', 1],
      ['shot', 2],
      ['shot', 3],
    ]);
    const [, , early, final] = documents;
    if (early?.kind !== 'shot' || final?.kind !== 'shot') throw new Error('expected shots');
    expect(early.shotId).toBe(final.shotId);
    expect(early.at).toBe(final.at);
    expect([early.shot.stage, final.shot.stage]).toEqual(['early', 'final']);
  });

  test('has the final shot take the place of its own estimate when the next one is in the air already', () => {
    const first = hub.publish(shotEvent(1, 'early'));
    const second = hub.publish(shotEvent(2, 'early'));
    expect(hub.publish(shotEvent(1))).toMatchObject({ shotId: (first as { shotId: string }).shotId });
    expect(hub.publish(shotEvent(2))).toMatchObject({ shotId: (second as { shotId: string }).shotId });
  });

  test('a rejection names the early shot that it takes back, and only that', async () => {
    const address = await listenUrl();
    const client = new Client(`ws://${address}/api/live`);
    await client.until(1);
    const early = hub.publish(shotEvent(1, 'early'));
    if (early.kind !== 'shot') throw new Error('expected a shot');
    hub.publish(rejectedEvent((early.shot.releaseS as number) - 5));
    hub.publish(rejectedEvent(early.shot.releaseS as number, 'ball-b'));
    hub.publish(rejectedEvent(early.shot.releaseS as number));
    hub.publish(rejectedEvent(early.shot.releaseS as number));
    const rejected = (await client.until(6)).filter((document) => document.kind === 'rejected');
    expect(rejected.map((document) => document.shotId)).toEqual([null, null, early.shotId, null]);
    // The analysis gives the index of a shot that was none again; its name here is a new one.
    const next = hub.publish(shotEvent(1, 'early'));
    expect(next.shotId).not.toBe(early.shotId);
    expect(hub.publish(shotEvent(1, 'final')).shotId).toBe(next.shotId);
  });

  test('a client that comes back misses nothing and gets nothing twice', async () => {
    const address = await listenUrl();
    const first = new Client(`ws://${address}/api/live`);
    hub.publish(shotEvent(0));
    await first.until(2);
    first.socket.terminate();
    for (let index = 1; index < 4; index++) hub.publish(shotEvent(index));
    const second = new Client(`ws://${address}/api/live?since=1`);
    const documents = await second.until(4);
    expect(documents[0]).toMatchObject({ kind: 'hello', catchUp: 'complete' });
    expect(documents.slice(1).map((document) => document.seq)).toEqual([2, 3, 4]);
  });

  test('sensor states come as they change', async () => {
    const address = await listenUrl();
    const client = new Client(`ws://${address}/api/live`);
    await client.until(1);
    const sensor = {
      sensorId: 'ball-a',
      state: 'streaming',
      detail: null,
      notificationCount: 10,
      lostCount: 0,
      corruptCount: 0,
      sampleRateHz: 416.2,
    } as const;
    hub.setSensor(sensor);
    expect((await client.until(2))[1]).toEqual({ v: 1, seq: 0, kind: 'sensor', sensor });
    const later = new Client(`ws://${address}/api/live`);
    expect((await later.until(1))[0]).toMatchObject({ kind: 'hello', sensors: [sensor] });
  });

  test('a client that reads nothing does not hold up another', async () => {
    const address = await listenUrl();
    const deaf = new Client(`ws://${address}/api/live`);
    await deaf.until(1);
    deaf.socket.pause();
    const good = new Client(`ws://${address}/api/live`);
    await good.until(1);
    // Far more than the sockets of both ends hold.
    const count = 900;
    for (let index = 0; index < count; index++) hub.publish(shotEvent(index));
    const documents = await good.until(count + 1);
    expect(documents.slice(1).map((document) => document.seq)).toEqual(
      Array.from({ length: count }, (_, at) => at + 1),
    );
    deaf.socket.resume();
    await deaf.until(count + 1);
    expect(deaf.documents.slice(1).map((document) => document.seq)).toEqual(
      Array.from({ length: count }, (_, at) => at + 1),
    );
  });

  test('stopping says goodbye to the clients and does not wait for one that is deaf', async () => {
    const address = await listenUrl();
    const client = new Client(`ws://${address}/api/live`);
    const deaf = new Client(`ws://${address}/api/live`);
    await client.until(1);
    await deaf.until(1);
    deaf.socket.pause();
    const closed = client.closed();
    await server.close();
    expect((await closed).code).toBe(1001);
    deaf.socket.terminate();
    await expect(fetch(`http://${address}/api/health`)).rejects.toThrow();
  });
});
