import type { TypeBoxTypeProvider } from '@fastify/type-provider-typebox';
import type { FastifyInstance } from 'fastify';
import Type from 'typebox';
import type { DeviceSockets } from './access/device-sockets.ts';
import { mayUse } from './access/roles.ts';
import type { LiveHub } from './live-hub.ts';
import { wireVersion } from './wire/live-document.ts';

const shotsQuery = Type.Object(
  { limit: Type.Integer({ minimum: 1, maximum: 1000, default: 50 }) },
  { additionalProperties: false },
);

const liveQuery = Type.Object(
  { since: Type.Optional(Type.Integer({ minimum: 0, maximum: Number.MAX_SAFE_INTEGER })) },
  { additionalProperties: false },
);

export interface ApiRouteOptions {
  readonly hub: LiveHub;
  readonly sockets: DeviceSockets;
  readonly maxClientCount: number;
}

/** Adds `GET /api/health`, `GET /api/shots` and the WebSocket `GET /api/live`. */
export function addApiRoutes(server: FastifyInstance, options: ApiRouteOptions): void {
  const { hub, sockets, maxClientCount } = options;
  const config = { access: 'viewer' as const };
  const typed = server.withTypeProvider<TypeBoxTypeProvider>();

  typed.get('/api/health', { config }, async (_request, reply) => {
    reply.header('cache-control', 'no-store');
    const failure = hub.storageFailure;
    return {
      status: failure === null ? 'ok' : 'degraded',
      version: hub.version,
      runId: hub.runId,
      simulated: hub.simulated,
      startedAt: hub.startedAt,
      lastSeq: hub.log.lastSeq,
      clientCount: hub.clientCount,
      storage: failure === null ? { status: 'ok' } : { status: 'failing', reason: failure },
      sensors: hub.sensors,
    };
  });

  typed.get('/api/shots', { config, schema: { querystring: shotsQuery } }, async (request, reply) => {
    await hub.ready;
    const texts = hub.log.latestShots(request.query.limit).map((entry) => entry.text);
    reply.header('cache-control', 'no-store').type('application/json; charset=utf-8');
    return `{"v":${wireVersion},"seq":${hub.log.lastSeq},"shots":[${texts.join(',')}]}`;
  });

  typed.get(
    '/api/live',
    {
      websocket: true,
      config,
      schema: { querystring: liveQuery },
      preHandler: async (request, reply) => {
        await hub.ready;
        if (!request.ws) {
          return reply.code(426).header('upgrade', 'websocket').send({
            error: 'upgrade-required',
            message: 'expected a WebSocket at /api/live, got a plain request. GET /api/shots gives the last shots.',
          });
        }
        if (hub.clientCount >= maxClientCount) {
          return reply.code(503).send({
            error: 'too-many-clients',
            message: `expected at most ${maxClientCount} open pages, this would be one more. Close one of them.`,
          });
        }
      },
    },
    (socket, request) => {
      const writer = hub.connect(
        {
          get bufferedAmount() {
            return socket.bufferedAmount;
          },
          send: (text, done) => socket.send(text, done),
          terminate: () => socket.terminate(),
        },
        request.query.since ?? null,
        mayUse(request.asker?.role ?? null, 'coach'),
      );
      const forget = sockets.add(request.asker?.device ?? null, socket);
      socket.on('close', () => {
        hub.disconnect(writer);
        forget();
      });
      // The stream goes one way; what a client says is not asked for.
      socket.on('message', () => socket.close(1008, 'this stream takes no messages'));
    },
  );
}
