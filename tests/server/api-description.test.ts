import type { FastifyInstance } from 'fastify';
import { afterEach, beforeEach, expect, test } from 'vitest';
import { silentLogger } from '../../src/foundation/logger.ts';
import { buildServer } from '../../src/server/build-server.ts';
import { LiveHub } from '../../src/server/live-hub.ts';
import { ShotLog } from '../../src/server/shot-log.ts';
import { ManualClock } from '../devices/manual-clock.ts';

const headers = { host: '127.0.0.1:8650' };
let server: FastifyInstance;

beforeEach(async () => {
  const clock = new ManualClock();
  const hub = new LiveHub({
    ...{ log: new ShotLog(), clock, version: '1.2.3', runId: 'run1', simulated: true, latestShotCount: 50 },
  });
  server = await buildServer({ hub, pageFolder: '/nowhere', port: 8650, logger: silentLogger });
});
afterEach(() => server.close());

test('the description is OpenAPI 3.1 and holds the routes of the API alone', async () => {
  const description = (await server.inject({ url: '/api/openapi.json', headers })).json();
  expect(description.openapi).toBe('3.1.0');
  expect(description.info.version).toBe('1.2.3');
  const paths = Object.keys(description.paths);
  expect(paths).toContain('/api/shots');
  expect(paths.filter((path) => !path.startsWith('/api/'))).toEqual([]);
});

test('its page loads nothing from elsewhere and shows no mark of anybody', async () => {
  const page = await server.inject({ url: '/api/documentation/', headers });
  expect(page.statusCode).toBe(200);
  expect(page.body).not.toMatch(/https?:/);
  const policy = String(page.headers['content-security-policy']);
  expect(policy).toContain("default-src 'none'");
  expect(policy).not.toMatch(/https?:|unsafe-eval|script-src[^;]*unsafe/);
  const start = await server.inject({ url: '/api/documentation/static/swagger-initializer.js', headers });
  expect(start.body).toContain('"validatorUrl":null');
});
