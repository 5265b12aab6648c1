import { connect } from 'node:net';
import { afterAll, beforeAll, expect, it } from 'vitest';
import {
  addressOf,
  type DescribedOperation,
  openWholeService,
  ownAddress,
  remoteAddress,
  servicePort,
  type WholeService,
} from '../../helpers/whole-service.ts';

/** Bodies and heads that are too large, or made to change the program itself. */

let service: WholeService;
let operations: readonly DescribedOperation[];
let port = 0;

beforeAll(async () => {
  service = await openWholeService();
  operations = await service.operations();
  await service.server.listen({ host: '127.0.0.1', port: 0 });
  const address = service.server.server.address();
  port = typeof address === 'object' && address !== null ? address.port : 0;
});
afterAll(() => service.close());

const local = () => ({ host: `127.0.0.1:${servicePort}`, authorization: `Bearer ${service.courtKey}` });
const changing = () => operations.filter(({ method }) => method !== 'GET');

function send(operation: DescribedOperation, payload: string | Buffer, type = 'application/json') {
  return service.server.inject({
    ...{ method: operation.method, url: addressOf(operation, () => '1', true), payload },
    headers: { ...local(), 'content-type': type },
  });
}

it('larger than what a route takes are refused by every route', async () => {
  // Parts of recordings are the largest that any route takes.
  const huge = `{"name":"${'x'.repeat(5 * 1024 * 1024)}"}`;
  for (const operation of changing()) {
    const { statusCode, body } = await send(operation, huge);
    expect(statusCode, `${operation.method} ${operation.url}: ${body.slice(0, 200)}`).toBe(413);
    expect(JSON.parse(body).message).toMatch(/large/i);
  }
});

it.each([
  '{"__proto__":{"polluted":1}}',
  '{"constructor":{"prototype":{"polluted":1}}}',
  '{"a":{"__proto__":{"polluted":1}}}',
  '{"\\u005f\\u005fproto__":{"polluted":1}}',
  '{"files":[{"mapping":{"__proto__":{"polluted":1}}}]}',
  '[{"__proto__":{"polluted":1}}]',
])('that mean the makings of the program are refused by every route: %s', async (text) => {
  for (const operation of changing()) {
    const { statusCode, body } = await send(operation, text);
    const told = `${operation.method} ${operation.url}: ${statusCode} ${body.slice(0, 200)}`;
    // What takes no body does not look at one.
    if (operation.body !== null) expect(statusCode, told).toBeGreaterThanOrEqual(400);
    expect(statusCode, told).toBeLessThan(500);
    expect(({} as { polluted?: number }).polluted, told).toBeUndefined();
  }
  expect(Object.keys(Object.prototype)).toEqual([]);
});

it('in an address change nothing of the program either', async () => {
  for (const operation of operations) {
    const url = `${addressOf(operation, () => '1')}?__proto__[polluted]=1&constructor.prototype.polluted=1&__proto__.polluted=1`;
    const { statusCode } = await service.server.inject({ method: operation.method, url, headers: local() });
    expect(statusCode, `${operation.method} ${url}`).toBeLessThan(500);
    expect(({} as { polluted?: number }).polluted).toBeUndefined();
  }
});

it.each([
  ['', 'application/json'],
  ['{', 'application/json'],
  ['[]', 'application/json'],
  [`${'['.repeat(5000)}${']'.repeat(5000)}`, 'application/json'],
  ['{"a":1}', 'text/plain'],
  ['a=1', 'application/x-www-form-urlencoded'],
  ['--x\r\n\r\n--x--', 'multipart/form-data; boundary=x'],
  ['<a/>', 'text/xml'],
  ['{"a":1}', 'application/json; charset=utf-7'],
  ['\u0000\u0001', 'application/octet-stream'],
])('that are no JSON of a route are refused by a sentence: %j as %s', async (text, type) => {
  for (const operation of changing()) {
    const { statusCode, body } = await send(operation, text, type);
    const told = `${operation.method} ${operation.url}: ${statusCode} ${body.slice(0, 200)}`;
    expect(statusCode, told).toBeLessThan(500);
    if (operation.body !== null) expect(statusCode, told).toBeGreaterThanOrEqual(400);
    if (statusCode >= 400) expect(JSON.parse(body), told).toMatchObject({ message: expect.stringMatching(/.{10}/) });
  }
});

it('of a device that was not let in are not even read', async () => {
  const operation = changing().find(({ body, role }) => body !== null && role === 'coach');
  const answer = await service.server.inject({
    ...{ method: operation?.method ?? 'POST', url: operation?.url ?? '', remoteAddress },
    headers: { host: `${ownAddress}:${servicePort}`, 'content-type': 'application/json' },
    payload: 'no JSON at all',
  });
  expect(answer.statusCode).toBe(401);
});

it.each([
  ['one line without end', `X-Long: ${'x'.repeat(64 * 1024)}`],
  ['lines without end', Array.from({ length: 5000 }, (_, k) => `X-${k}: ${k}`).join('\r\n')],
  ['a cookie without end', `Cookie: ${Array.from({ length: 3000 }, (_, k) => `c${k}=${k}`).join('; ')}`],
])('with a head of %s are refused, and the service goes on', async (_, head) => {
  const answer = await new Promise<string>((resolve) => {
    const socket = connect(port, '127.0.0.1');
    let text = '';
    socket.on('data', (data) => {
      text += data.toString('latin1');
    });
    socket.on('error', () => {});
    socket.on('close', () => resolve(text));
    socket.write(`GET /api/health HTTP/1.1\r\nHost: 127.0.0.1:${port}\r\n${head}\r\n\r\n`);
  });
  expect(answer).toMatch(/^HTTP\/1\.1 431 /);
  const after = await fetch(`http://127.0.0.1:${port}/api/health`);
  expect(after.status).toBe(200);
});

it('of two lengths at once, which programs in between read differently, are refused', async () => {
  for (const head of [
    'Content-Length: 4\r\nTransfer-Encoding: chunked',
    'Content-Length: 4\r\nContent-Length: 5',
    'Transfer-Encoding: chunked, identity',
    'Content-Length: -1',
  ]) {
    const answer = await new Promise<string>((resolve) => {
      const socket = connect(port, '127.0.0.1');
      let text = '';
      socket.on('data', (data) => {
        text += data.toString('latin1');
      });
      socket.on('error', () => {});
      socket.on('close', () => resolve(text));
      socket.write(`POST /api/players HTTP/1.1\r\nHost: 127.0.0.1:${port}\r\n${head}\r\n\r\n0\r\n\r\n`);
    });
    expect(answer, head).toMatch(/^HTTP\/1\.1 400 /);
  }
});
