import { readdirSync, readFileSync } from 'node:fs';
import { connect } from 'node:net';
import { afterAll, beforeAll, expect, it } from 'vitest';
import {
  addressOf,
  type DescribedOperation,
  openWholeService,
  ownAddress,
  remoteAddress,
  secret,
  servicePort,
  type WholeService,
} from '../../helpers/whole-service.ts';

/** Addresses written to be understood otherwise by the check than by what answers, or to lead out of the data folder. */

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

const local = { host: `127.0.0.1:${servicePort}` };

/** An address's first `/api/` written differently. */
const spellings: readonly ((url: string) => string)[] = [
  (url) => url.replace('/api/', '/%61pi/'),
  (url) => url.replace('/api/', '/%61%70%69/'),
  (url) => url.replace('/api/', '/%2561pi/'),
  (url) => url.replace('/api/', '/API/'),
  (url) => url.replace('/api/', '/Api/'),
  (url) => url.replace('/api/', '//api/'),
  (url) => url.replace('/api/', '/api//'),
  (url) => url.replace('/api/', '/./api/'),
  (url) => url.replace('/api/', '/x/../api/'),
  (url) => url.replace('/api/', '/x/%2e%2e/api/'),
  (url) => url.replace('/api/', '/api;/'),
  (url) => url.replace('/api/', '/api%2f'),
  (url) => url.replace('/api/', '/api\\'),
  (url) => url.replace('/api/', '/\u0430pi/'),
  (url) => `${url}/`,
  (url) => `${url}//`,
  (url) => `${url}%00`,
  (url) => `${url}%20`,
  (url) => `${url};x=1`,
  (url) => `${url}#x`,
  (url) => `${url}?role=host&access=anyone`,
];

it('written in another way are open to nobody who was not let in', async () => {
  for (const operation of operations) {
    if (operation.role === 'anyone') continue;
    for (const spelling of spellings) {
      const url = spelling(addressOf(operation, () => 'x'));
      const answer = await service.server.inject({
        ...{ method: operation.method, url, remoteAddress },
        headers: { host: `${ownAddress}:${servicePort}` },
        ...(operation.body === null ? {} : { payload: {} }),
      });
      expect([400, 401, 404, 414], `${operation.method} ${url}: ${answer.body.slice(0, 100)}`).toContain(
        answer.statusCode,
      );
    }
  }
});

/** What leads upward where a program puts it into the name of a file. */
const upward = [
  '../outside.txt',
  '../../outside.txt',
  '../../../../../../etc/passwd',
  '..%2foutside.txt',
  '..%2f..%2foutside.txt',
  '%2e%2e%2f%2e%2e%2foutside.txt',
  '..%252f..%252foutside.txt',
  '..%5c..%5coutside.txt',
  '....//....//outside.txt',
  '%2fetc%2fpasswd',
  'file:%2f%2f%2fetc%2fpasswd',
  '..%00outside.txt',
  'x%00.mcap',
  'recordings%2f..%2f..%2foutside.txt',
  'C:%5cwindows%5cwin.ini',
  '__proto__',
  '~',
  '.',
  '..',
];

it('lead out of the data folder with no parameter of any route', async () => {
  const before = readdirSync(service.base).sort();
  for (const operation of operations) {
    const names = operation.parameters.map(({ name }) => name);
    for (const attacked of names) {
      for (const word of upward) {
        const url = addressOf(operation, (name) => (name === attacked ? word : '1'), true);
        const answer = await service.server.inject({
          ...{ method: operation.method, url, headers: local },
          ...(operation.body === null ? {} : { payload: {} }),
        });
        const told = `${operation.method} ${url}: ${answer.statusCode} ${answer.body.slice(0, 200)}`;
        expect(answer.body, told).not.toContain(secret);
        expect(answer.body, told).not.toContain('root:');
        expect(answer.statusCode, told).toBeLessThan(500);
      }
    }
  }
  expect(readFileSync(service.outside, 'utf8')).toBe(secret);
  expect(readdirSync(service.base).sort()).toEqual(before);
});

it('lead out of the data folder with no text of any body', async () => {
  const before = readdirSync(service.base).sort();
  const texts = ['../../outside.txt', '/etc/passwd', '..\\..\\outside.txt', `${service.base}/outside.txt`];
  for (const operation of operations) {
    if (operation.body === null) continue;
    for (const text of texts) {
      const answer = await service.server.inject({
        ...{ method: operation.method, url: addressOf(operation, () => 'x'), headers: local },
        payload: filledWith(operation.body, text) as object,
      });
      const told = `${operation.method} ${operation.url}: ${answer.statusCode} ${answer.body.slice(0, 200)}`;
      expect(answer.body, told).not.toContain(secret);
      expect(answer.statusCode, told).toBeLessThan(500);
    }
  }
  expect(readFileSync(service.outside, 'utf8')).toBe(secret);
  expect(readdirSync(service.base).sort()).toEqual(before);
});

it.each([
  '/../outside.txt',
  '/%2e%2e/outside.txt',
  '/..%2foutside.txt',
  '/assets/../../outside.txt',
  '/assets/..%2f..%2foutside.txt',
  '/assets/%2e%2e%2f%2e%2e%2foutside.txt',
  '/..%5coutside.txt',
  '//etc/passwd',
  '/.%00./outside.txt',
  '/api/documentation/static/../../../outside.txt',
  '/api/documentation/static/..%2f..%2f..%2f..%2fpackage.json',
  '/data/seamwise.db',
  '/../data/paired-devices.json',
])('leads out of the page with %s to nothing', async (target) => {
  // As a program sends it that does not put addresses in order first.
  const answer = await rawRequest(`GET ${target} HTTP/1.1\r\nHost: 127.0.0.1:${port}\r\nConnection: close\r\n\r\n`);
  expect(answer).toMatch(/^HTTP\/1\.1 (400|401|403|404) /);
  expect(answer).not.toContain(secret);
  expect(answer).not.toContain('root:');
  expect(answer).not.toContain('"dependencies"');
});

it.each([
  ['GET http://evil.example/api/players HTTP/1.1', 'Host: evil.example'],
  ['GET /api/players HTTP/1.1', 'Host: 127.0.0.1.evil.example'],
  ['GET /api/players HTTP/1.1', 'Host: localhost.evil.example'],
  ['GET /api/players HTTP/1.1', 'Host: evil.example\r\nHost: 127.0.0.1:PORT'],
  ['GET /api/players HTTP/1.1', 'Host: 127.0.0.1:PORT\r\nHost: evil.example'],
  ['GET /api/players HTTP/1.1', 'Host: user@127.0.0.1:PORT'],
  ['GET /api/players HTTP/1.1', 'Host: 127.0.0.1:PORT.evil.example'],
  ['GET /api/players HTTP/1.1', 'Host: 127.0.0.1:1'],
  ['GET /api/players HTTP/1.1', 'Host: 2130706433:PORT'],
  ['GET /api/players HTTP/1.1', 'Host: 0.0.0.0:PORT'],
  ['GET /api/players HTTP/1.1', 'Host:'],
  ['GET /api/players HTTP/1.1', 'X-Forwarded-Host: 127.0.0.1:PORT\r\nHost: evil.example'],
  ['GET /api/players HTTP/1.1', 'Host: 127.0.0.1:PORT\r\nOrigin: http://evil.example'],
  ['GET /api/players HTTP/1.1', 'Host: 127.0.0.1:PORT\r\nOrigin: null'],
  ['GET /api/players HTTP/1.1', 'Host: 127.0.0.1:PORT\r\nOrigin: http://127.0.0.1:PORT.evil.example'],
  ['GET /api/players HTTP/1.1', 'Host: 127.0.0.1:PORT\r\nOrigin: https://127.0.0.1:PORT'],
  ['GET /api/players HTTP/1.1', 'Host: 127.0.0.1:PORT\r\nSec-Fetch-Site: cross-site'],
  ['GET /api/players HTTP/1.1', 'Host: 127.0.0.1:PORT\r\nSec-Fetch-Site: same-site'],
  ['POST /api/players HTTP/1.1', 'Host: 127.0.0.1:PORT\r\nOrigin: http://evil.example\r\nContent-Type: text/plain'],
])('named for another service, or by a page from elsewhere, are refused: %s with %s', async (line, head) => {
  const answer = await rawRequest(
    `${line}\r\n${head.replaceAll('PORT', String(port))}\r\nContent-Length: 0\r\nConnection: close\r\n\r\n`,
  );
  expect(answer).toMatch(/^HTTP\/1\.1 (400|403) /);
  expect(answer).not.toContain('"players"');
});

it('named rightly are answered', async () => {
  for (const host of [`127.0.0.1:${port}`, `localhost:${port}`, `LOCALHOST:${port}`, `[::1]:${port}`]) {
    const answer = await rawRequest(`GET /api/players HTTP/1.1\r\nHost: ${host}\r\nConnection: close\r\n\r\n`);
    expect(answer, host).toMatch(/^HTTP\/1\.1 200 /);
  }
});

function rawRequest(text: string): Promise<string> {
  return new Promise((resolve, reject) => {
    const socket = connect(port, '127.0.0.1');
    let answer = '';
    socket.on('data', (data) => {
      answer += data.toString('latin1');
    });
    socket.on('error', reject);
    socket.on('close', () => resolve(answer));
    socket.write(text);
  });
}

/** @returns a body as the schema has it, every text in it the same. */
function filledWith(schema: DescribedOperation['body'], text: string): unknown {
  if (schema === null) return {};
  const { anyOf, enum: allowed, properties, items, type, minimum = 1 } = schema;
  if (anyOf) return filledWith(anyOf[0] ?? null, text);
  if (allowed) return allowed[0];
  if ('const' in schema) return schema.const;
  if (properties) {
    return Object.fromEntries(Object.entries(properties).map(([name, inner]) => [name, filledWith(inner, text)]));
  }
  if (type === 'array') return [filledWith(items ?? null, text)];
  if (type === 'integer' || type === 'number') return minimum;
  if (type === 'boolean') return true;
  if (type === 'null') return null;
  return text;
}
