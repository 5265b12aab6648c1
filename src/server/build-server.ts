import { existsSync } from 'node:fs';
import path from 'node:path';
import fastifyStatic from '@fastify/static';
import fastifyWebsocket from '@fastify/websocket';
import fastify, { type FastifyInstance } from 'fastify';
import type { SensorProvider } from '../devices/sensor-provider.ts';
import { systemClock } from '../devices/system-clock.ts';
import type { Logger } from '../foundation/logger.ts';
import type { WristCalibrationStore } from '../sessions/wrist-calibration/wrist-calibration-store.ts';
import { refusalOf } from './access.ts';
import { addApiRoutes } from './api-routes.ts';
import type { LiveHub } from './live-hub.ts';
import { securityHeaders } from './security-headers.ts';
import { addSensorRoutes } from './sensor-routes.ts';
import { addSpinReferenceRoutes } from './spin-reference-routes.ts';

export interface ServerOptions {
  readonly hub: LiveHub;
  /** Where the notifications come from, for what a page may ask of it. */
  readonly source?: SensorProvider;
  /** Reference shots for the backspin; without it there is no route to them. */
  readonly spinReferences?: WristCalibrationStore;
  /** Folder with the built page. */
  readonly pageFolder: string;
  /** Port that a request without a socket is taken to come in on; only tests have such. */
  readonly port: number;
  readonly logger: Logger;
  readonly maxClientCount?: number;
}

/** @returns the whole HTTP and WebSocket service, not yet listening. */
export async function buildServer(options: ServerOptions): Promise<FastifyInstance> {
  const { hub, pageFolder, logger } = options;
  const server = fastify({
    logger: false,
    bodyLimit: 16 * 1024,
    requestTimeout: 10_000,
    routerOptions: { maxParamLength: 200 },
    // A client that holds its connection open must not keep the service from stopping.
    forceCloseConnections: true,
  });

  // Before the check of the request: a refused upgrade is then closed by the plugin, which has marked it as one.
  await server.register(fastifyWebsocket, {
    options: { maxPayload: 1024, perMessageDeflate: false, clientTracking: true },
    errorHandler: (error, socket) => {
      logger.warn({ error: error.message }, 'the connection to a page broke');
      socket.terminate();
    },
    async preClose() {
      for (const client of server.websocketServer.clients) client.close(1001, 'the service stops');
      const slow = setTimeout(() => {
        for (const client of server.websocketServer.clients) client.terminate();
      }, 1000);
      await new Promise<void>((resolve) => server.websocketServer.close(() => resolve()));
      clearTimeout(slow);
    },
  });

  server.addHook('onRequest', async (request, reply) => {
    reply.headers(securityHeaders);
    const { headers, raw } = request;
    const reason = refusalOf({
      hosts: headersNamed(raw.rawHeaders ?? [], 'host', headers.host),
      origin: headers.origin,
      fetchSite: textOf(headers['sec-fetch-site']),
      isApi: request.url.startsWith('/api/'),
      port: raw.socket?.localPort ?? options.port,
    });
    if (reason === null) return;
    logger.warn({ url: request.url.slice(0, 200), reason }, 'a request was refused');
    return reply.code(403).send({ error: 'forbidden', message: reason });
  });

  server.setErrorHandler((error, request, reply) => {
    const {
      statusCode = 500,
      message,
      validation,
    } = error as Partial<{
      statusCode: number;
      message: string;
      validation: readonly unknown[];
    }>;
    if (statusCode >= 500) {
      logger.error({ url: request.url.slice(0, 200), error: message }, 'a request failed inside the service');
      return reply.code(statusCode).send({ error: 'internal', message: 'the service failed here; its log says more' });
    }
    return reply.code(statusCode).send({ error: validation ? 'bad-request' : 'refused', message });
  });

  server.setNotFoundHandler((request, reply) => {
    const asked = `${request.method} ${request.url.slice(0, 200)}`;
    return reply.code(404).send({ error: 'not-found', message: `there is nothing at ${asked}` });
  });

  if (options.source) addSensorRoutes(server, options.source, logger);
  if (options.spinReferences) addSpinReferenceRoutes(server, options.spinReferences, systemClock);
  addApiRoutes(server, { hub, maxClientCount: options.maxClientCount ?? 64 });
  await addPage(server, pageFolder);
  return server;
}

async function addPage(server: FastifyInstance, pageFolder: string): Promise<void> {
  if (!existsSync(path.join(pageFolder, 'index.html'))) {
    server.get('/', async (_request, reply) =>
      reply
        .code(503)
        .type('text/plain; charset=utf-8')
        .send(`The page is not there: expected index.html in ${pageFolder}. "npm start" builds it.\n`),
    );
    return;
  }
  await server.register(fastifyStatic, {
    root: path.resolve(pageFolder),
    dotfiles: 'ignore',
    cacheControl: false,
    setHeaders: (response, file) => {
      // Built files carry a hash of their content in their names; the page itself does not.
      const hashed = path.basename(path.dirname(file)) === 'assets';
      response.setHeader('cache-control', hashed ? 'max-age=31536000, immutable' : 'no-cache');
    },
  });
}

function headersNamed(rawHeaders: readonly string[], name: string, fallback: string | undefined): string[] {
  const values = rawHeaders.filter((_, index) => index % 2 === 1 && rawHeaders[index - 1]?.toLowerCase() === name);
  return values.length > 0 || fallback === undefined ? values : [fallback];
}

function textOf(header: string | string[] | undefined): string | undefined {
  return Array.isArray(header) ? header.join(',') : header;
}
