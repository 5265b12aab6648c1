import { existsSync } from 'node:fs';
import path from 'node:path';
import fastifyCookie from '@fastify/cookie';
import fastifyRateLimit from '@fastify/rate-limit';
import fastifyStatic from '@fastify/static';
import fastifyWebsocket from '@fastify/websocket';
import fastify, { type FastifyInstance } from 'fastify';
import type { SensorProvider } from '../devices/sensor-provider.ts';
import { systemClock } from '../devices/system-clock.ts';
import type { Logger } from '../foundation/logger.ts';
import type { SensorCalibrationStore } from '../sessions/sensor-calibrations.ts';
import type { WristCalibrationStore } from '../sessions/wrist-calibration/wrist-calibration-store.ts';
import { addAccessGuard, isLocal } from './access/access-guard.ts';
import { addAccessRoutes, addRoleRoute } from './access/access-routes.ts';
import { DeviceSockets } from './access/device-sockets.ts';
import type { PairedDevices } from './access/paired-devices.ts';
import type { PairingDesk } from './access/pairing-desk.ts';
import { addApiDescription } from './api-description.ts';
import { addApiRoutes } from './api-routes.ts';
import { addCalibrationRoutes } from './calibration/calibration-routes.ts';
import { SensorTaps } from './calibration/sensor-taps.ts';
import { addCoachingRoutes } from './coaching/coaching-routes.ts';
import { addDrillRoutes } from './coaching/drill-routes.ts';
import { addPrescriptionRoutes } from './coaching/prescription-routes.ts';
import { addStudyRoutes } from './coaching/study-routes.ts';
import type { HandOverState } from './hub/court-uploader.ts';
import { addHandOverRoute } from './hub/hand-over-route.ts';
import { addHubJobRoutes } from './hub/hub-job-routes.ts';
import { addHubRoutes } from './hub/hub-routes.ts';
import type { LiveHub } from './live-hub.ts';
import { addClubRoutes } from './practice/club-routes.ts';
import type { PracticeRouteOptions } from './practice/practice-answers.ts';
import { addSessionRoutes } from './practice/session-routes.ts';
import { addShotRoutes } from './practice/shot-routes.ts';
import { strictValidation } from './practice/strict-validation.ts';
import { addReportRoutes } from './reports/report-routes.ts';
import { addImportRoutes } from './research/import-routes.ts';
import { addJobRoutes } from './research/job-routes.ts';
import { addLiveSignalRoutes } from './research/live-signal-routes.ts';
import type { LiveSignals } from './research/live-signals.ts';
import type { ResearchDesk } from './research/research-desk.ts';
import { addSignalRoutes } from './research/signal-routes.ts';
import { addScreenRoutes } from './screen-routes.ts';
import { securityHeaders } from './security-headers.ts';
import { addSensorRoutes } from './sensor-routes.ts';
import { addSpinReferenceRoutes } from './spin-reference-routes.ts';
import { spinPlayer } from './spin-references.ts';

export interface ServerOptions {
  readonly hub: LiveHub;
  /** Where the notifications come from, for what a page may ask of it. */
  readonly source?: SensorProvider;
  /** Reference shots for the backspin; without it there is no route to them. */
  readonly spinReferences?: WristCalibrationStore;
  /** Where calibrations of sensors are kept; without it no page can calibrate one. */
  readonly calibrations?: SensorCalibrationStore;
  /** What is kept of practices; without it there is no route to them. */
  readonly practice?: PracticeRouteOptions;
  /** What researchers work with, asked when the data are open. */
  readonly research?: () => ResearchDesk;
  /** Samples of the sensors as they come; without it no page can watch them. */
  readonly liveSignals?: LiveSignals;
  /** Folder with the built page. */
  readonly pageFolder: string;
  /** Port that a request without a socket is taken to come in on; only tests have such. */
  readonly port: number;
  readonly logger: Logger;
  readonly maxClientCount?: number;
  /** What lets other machines of the network in; without it the service serves this machine alone. */
  readonly lan?: LanOptions;
  /** Requests a minute of one device, where the usual limits do not fit. */
  readonly mostRequests?: { readonly local: number; readonly remote: number };
  /** How this court does with its hub; null without one. */
  readonly handOver?: () => Promise<HandOverState | null>;
  /** Whether courts hand over to this service. */
  readonly isHub?: boolean;
  /** Certificate and key in PEM, where the service speaks TLS. */
  readonly tls?: { readonly cert: string; readonly key: string };
}

export interface LanOptions {
  readonly devices: PairedDevices;
  readonly desk: PairingDesk;
  /** Names and addresses of this machine, as a Host header may name them. */
  readonly ownNames: () => readonly string[];
  /** @returns the address under which other devices reach the page, or null without a network. */
  readonly pageUrl: () => string | null;
}

/** Requests a minute: a page beside the court asks a few, whatever floods is slowed down. */
const usualRequests = { local: 6000, remote: 600 };

/** A head that comes drop by drop, or is of no end, holds a connection no longer than this. */
const headLimits = { headersTimeout: 10_000, connectionsCheckingInterval: 2000, maxHeaderSize: 16 * 1024 } as const;
const mostConnections = 1024;
/** Each court of a hub holds one or two, whatever its people have open. */
const mostHubConnections = 8192;
/** WebSockets beside those of the live stream: sensors and calibrations that pages follow. */
const otherSockets = 64;
/** A device that opens more than these is not a page. */
const socketsOfDevice = 16;

/** @returns the whole HTTP and WebSocket service, not yet listening. */
export async function buildServer(options: ServerOptions): Promise<FastifyInstance> {
  const { hub, pageFolder, logger } = options;
  const common = {
    logger: false,
    bodyLimit: 16 * 1024,
    // A part of a recording over a slow network takes its time.
    requestTimeout: 30_000,
    routerOptions: { maxParamLength: 200 },
    // A client that holds its connection open must not keep the service from stopping.
    forceCloseConnections: true,
  } as const;
  // The two differ in type by the kind of their sockets alone, which nothing here looks at.
  const server = options.tls
    ? (fastify({ ...common, https: { ...headLimits, ...options.tls } }) as unknown as FastifyInstance)
    : fastify({ ...common, http: headLimits });
  server.server.maxConnections = options.isHub ? mostHubConnections : mostConnections;

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

  server.addHook('onRequest', async (_request, reply) => {
    reply.headers(securityHeaders);
  });
  await server.register(fastifyCookie);
  addAccessGuard(server, {
    devices: options.lan?.devices ?? null,
    scheme: options.tls ? 'https' : 'http',
    ownNames: options.lan?.ownNames ?? (() => []),
    port: options.port,
    logger,
    ...(options.isHub && {
      courtOf: async (key) => (await (await options.practice?.keeper())?.store.courts.find(key)) ?? null,
    }),
  });
  const sockets = new DeviceSockets();
  const { mostRequests = usualRequests, maxClientCount = 256 } = options;
  server.addHook('onRequest', async ({ ws, asker }, reply) => {
    if (!ws) return;
    const isFull = server.websocketServer.clients.size >= maxClientCount + otherSockets;
    if (!isFull && sockets.countOf(asker?.device ?? null) < socketsOfDevice) return;
    return reply.code(503).send({
      error: 'too-many-clients',
      message: isFull
        ? 'too many pages are open: close one of them'
        : `this device has ${socketsOfDevice} connections open already: close a page of it`,
    });
  });
  await server.register(fastifyRateLimit, {
    max: (request) => (isLocal(request.raw) ? mostRequests.local : mostRequests.remote),
    timeWindow: 60_000,
    errorResponseBuilder: (_request, { after }) => ({
      statusCode: 429,
      error: 'too-many-requests',
      message: `too many requests came from this device: try again in ${after}`,
    }),
  });

  await addApiDescription(server, hub.version);

  server.setErrorHandler((thrown, request, reply) => {
    const {
      statusCode = 500,
      message,
      validation,
    } = thrown as Partial<{
      statusCode: number;
      message: string;
      validation: readonly unknown[];
    }>;
    if (statusCode >= 500) {
      logger.error({ url: request.url.slice(0, 200), error: message }, 'a request failed inside the service');
      return reply.code(statusCode).send({ error: 'internal', message: 'the service failed here; its log says more' });
    }
    const error = statusCode === 429 ? 'too-many-requests' : validation ? 'bad-request' : 'refused';
    return reply.code(statusCode).send({ error, message });
  });

  server.setNotFoundHandler({ preHandler: server.rateLimit() }, (request, reply) => {
    const asked = `${request.method} ${request.url.slice(0, 200)}`;
    return reply.code(404).send({ error: 'not-found', message: `there is nothing at ${asked}` });
  });

  if (options.source) addSensorRoutes(server, options.source, sockets, logger);
  const { practice } = options;
  if (practice) {
    await server.register(async (scope) => {
      scope.setValidatorCompiler(strictValidation);
      addSessionRoutes(scope, practice);
      addShotRoutes(scope, practice);
      addClubRoutes(scope, practice);
      addCoachingRoutes(scope, practice);
      addDrillRoutes(scope, practice);
      addPrescriptionRoutes(scope, practice);
      addStudyRoutes(scope, practice);
      addScreenRoutes(scope, practice);
      if (options.research) {
        addSignalRoutes(scope, practice, options.research);
        addJobRoutes(scope, practice, options.research);
        addImportRoutes(scope, practice, options.research);
      }
      addReportRoutes(scope, practice, hub.version);
      if (options.isHub) {
        addHubRoutes(scope, practice);
        addHubJobRoutes(scope, practice);
      }
      if (options.handOver) addHandOverRoute(scope, practice, options.handOver);
    });
  }
  if (options.spinReferences) {
    addSpinReferenceRoutes(server, options.spinReferences, systemClock, async (word) =>
      spinPlayer((await practice?.keeper())?.store.players ?? null, word),
    );
  }
  if (options.source && options.calibrations && practice) {
    const taps = new SensorTaps(options.source);
    addCalibrationRoutes(server, { taps, calibrations: options.calibrations, sockets, nowS: practice.nowS, logger });
  }
  if (options.liveSignals) addLiveSignalRoutes(server, options.liveSignals, sockets);
  addRoleRoute(server);
  if (options.lan) addAccessRoutes(server, { ...options.lan, sockets, secure: options.tls !== undefined });
  addApiRoutes(server, { hub, sockets, maxClientCount });
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
    preCompressed: true,
    cacheControl: false,
    setHeaders: (response, file) => {
      // Built files carry a hash of their content in their names; the page itself does not.
      const hashed = path.basename(path.dirname(file)) === 'assets';
      response.setHeader('cache-control', hashed ? 'max-age=31536000, immutable' : 'no-cache');
    },
  });
}
