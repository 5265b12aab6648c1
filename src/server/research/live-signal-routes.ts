import type { FastifyInstance } from 'fastify';
import type { DeviceSockets } from '../access/device-sockets.ts';
import type { LiveSignals } from './live-signals.ts';

/** Adds the WebSocket `GET /api/live-signals`, which sends the samples of all sensors as they come. */
export function addLiveSignalRoutes(server: FastifyInstance, signals: LiveSignals, sockets: DeviceSockets): void {
  server.get(
    '/api/live-signals',
    {
      websocket: true,
      config: { access: 'coach' as const },
      preHandler: async (request, reply) => {
        if (request.ws) return;
        const message = 'expected a WebSocket at /api/live-signals, got a plain request';
        return reply.code(426).header('upgrade', 'websocket').send({ error: 'upgrade-required', message });
      },
    },
    (socket, request) => {
      const stop = signals.watch({
        get bufferedAmount() {
          return socket.bufferedAmount;
        },
        send: (data) => socket.send(data),
        terminate: () => socket.terminate(),
      });
      const forget = sockets.add(request.asker?.device ?? null, socket);
      socket.on('close', () => {
        stop();
        forget();
      });
      // The stream goes one way; what a client says is not asked for.
      socket.on('message', () => socket.close(1008, 'this stream takes no messages'));
    },
  );
}
