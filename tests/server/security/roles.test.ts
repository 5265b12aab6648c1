import { afterAll, beforeAll, expect, it } from 'vitest';
import { deviceCookie } from '../../../src/server/access/access-guard.ts';
import { mayUse, type Role, type RouteAccess, roles } from '../../../src/server/access/roles.ts';
import {
  addressOf,
  type DescribedOperation,
  openWholeService,
  ownAddress,
  remoteAddress,
  routesOf,
  servicePort,
  type WholeService,
} from '../../helpers/whole-service.ts';

/**
 * Every route with every role. A route that does not say who may use it fails here, and so does one that is opened to more than a
 * coach without standing in these lists.
 */
const forAnyone = ['GET /api/access/me', 'POST /api/access/pair', 'POST /api/access/pair/wait'];
const forViewers = ['GET /api/health', 'GET /api/measures', 'GET /api/shots'];
const forHostAlone = [
  'DELETE /api/access/devices/{deviceId}',
  'DELETE /api/access/pairing',
  'GET /api/access/devices',
  'GET /api/access/pairing',
  'GET /api/access/pairing/code.svg',
  'GET /api/exports/{jobId}/key',
  'POST /api/access/pairing',
  'POST /api/access/pairing/confirm',
  'POST /api/keep/apply',
  'PUT /api/keep',
];

/** With the key of a court alone, which no person has, not even the host. */
const forCourts = [
  'GET /api/hub/court',
  'GET /api/hub/documents',
  'POST /api/hub/documents',
  'PUT /api/hub/recordings/{sessionId}',
  'PUT /api/hub/recordings/{sessionId}/pieces/{place}',
];

/** Routes that no description of requests can hold, with their roles: WebSockets, and the description itself. */
const undescribed: Readonly<Record<string, Role>> = {
  '/api/live': 'viewer',
  '/api/live-signals': 'coach',
  '/api/sensor-feed': 'player',
  '/api/sensors/:sensorId/calibration': 'coach',
  '/api/sensors/:sensorId/first-minute': 'coach',
  '/api/openapi.json': 'viewer',
};

let service: WholeService;
let operations: readonly DescribedOperation[];

beforeAll(async () => {
  service = await openWholeService();
  operations = await service.operations();
});
afterAll(() => service.close());

const named = ({ method, url }: DescribedOperation): string => `${method} ${url}`;

function ask(operation: DescribedOperation, role: Role | null, method: string = operation.method) {
  const isHost = role === 'host';
  const url = addressOf(operation, () => 'x');
  return service.server.inject({
    ...{ method: method as 'GET', url },
    ...(isHost ? {} : { remoteAddress }),
    headers: { host: `${isHost ? '127.0.0.1' : ownAddress}:${servicePort}` },
    cookies: role === null || isHost ? {} : { [deviceCookie]: service.tokens[role] },
    ...(operation.body === null ? {} : { payload: {} }),
  });
}

it('is said of every route', () => {
  expect(operations.length).toBeGreaterThan(60);
  expect(operations.filter(({ role }) => role === undefined).map(named)).toEqual([]);
  const having = (role: string) =>
    operations
      .filter((each) => each.role === role)
      .map(named)
      .sort();
  expect(having('anyone')).toEqual(forAnyone);
  expect(having('viewer')).toEqual(forViewers);
  expect(having('host')).toEqual(forHostAlone);
  expect(having('court')).toEqual(forCourts);
  const known = ['anyone', 'viewer', 'player', 'coach', 'host', 'court'];
  expect(new Set(operations.map(({ role }) => role))).toEqual(new Set(known));
});

it('is asked for what stands in no description, too', async () => {
  const described = new Set(operations.map(({ url }) => url.replaceAll(/\{(\w+)\}/g, ':$1')));
  const others = routesOf(service.server.printRoutes({ commonPrefix: false })).filter(
    (url) => url.startsWith('/api') && !described.has(url) && !url.startsWith('/api/documentation'),
  );
  expect(others.sort()).toEqual(Object.keys(undescribed).sort());
  for (const url of [...others, '/api/documentation', '/api/documentation/static/index.html']) {
    const needed = undescribed[url] ?? 'viewer';
    for (const role of [null, ...roles]) {
      const { statusCode } = await ask({ method: 'GET', url, role: needed, parameters: [], body: null }, role);
      const refused = role === null ? 401 : 403;
      if (mayUse(role, needed)) expect([401, 403], `${url} as ${role}`).not.toContain(statusCode);
      else expect(statusCode, `${url} as ${role}`).toBe(refused);
    }
  }
});

it.each([null, ...roles])('lets %s do what is its and nothing else', async (role) => {
  for (const operation of operations) {
    const { statusCode, body } = await ask(operation, role);
    const name = `${named(operation)} as ${role}: ${statusCode} ${body.slice(0, 200)}`;
    if (mayUse(role, operation.role as RouteAccess)) {
      expect(statusCode, name).not.toBe(401);
      if (statusCode === 403) expect(JSON.parse(body).error, name).not.toBe('role');
      expect(statusCode, name).toBeLessThan(500);
    } else if (operation.role === 'court') {
      expect(statusCode, name).toBe(401);
      expect(JSON.parse(body).error, name).toBe('no-court');
    } else {
      expect(statusCode, name).toBe(role === null ? 401 : 403);
      expect(JSON.parse(body).error, name).toBe(role === null ? 'not-paired' : 'role');
    }
  }
});

it('is asked for HEAD too, and no other method does what a described one does', async () => {
  for (const operation of operations) {
    const described = operations.filter(({ url }) => url === operation.url).map(({ method }) => method);
    for (const method of ['HEAD', 'OPTIONS', 'GET', 'POST', 'PUT', 'PATCH', 'DELETE'] as const) {
      if ((described as string[]).includes(method)) continue;
      const { statusCode } = await ask(operation, null, method);
      const open = operation.role === 'anyone' && method === 'HEAD';
      if (!open) expect([401, 404], `${method} ${operation.url}`).toContain(statusCode);
    }
  }
});

it('follows a device that was removed at once', async () => {
  const { device, token } = await service.devices.add('a lost phone', 'coach');
  const asked = () =>
    service.server.inject({
      ...{ url: '/api/players', remoteAddress, headers: { host: `${ownAddress}:${servicePort}` } },
      cookies: { [deviceCookie]: token },
    });
  expect((await asked()).statusCode).toBe(200);
  await service.devices.remove(device.id);
  expect((await asked()).statusCode).toBe(401);
});

it.each(['', 'x', 'null', '0'.repeat(43), '%00', '../../paired-devices.json', '__proto__'])(
  'is not given by the made-up token %j',
  async (token) => {
    const answer = await service.server.inject({
      ...{ url: '/api/players', remoteAddress },
      headers: { host: `${ownAddress}:${servicePort}`, cookie: `${deviceCookie}=${encodeURIComponent(token)}` },
    });
    expect(answer.statusCode).toBe(401);
  },
);

it('the key of an export goes to nobody but the host, whoever asks for it with the export', async () => {
  const answer = await service.server.inject({
    ...{ method: 'POST', url: '/api/exports', remoteAddress },
    headers: { host: `${ownAddress}:${servicePort}`, origin: `http://${ownAddress}:${servicePort}` },
    cookies: { [deviceCookie]: service.tokens.coach },
    payload: { filter: {}, withKey: true },
  });
  expect({ status: answer.statusCode, error: answer.json().error }).toEqual({ status: 403, error: 'key-refused' });
});
