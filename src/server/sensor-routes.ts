import type { TypeBoxTypeProvider } from '@fastify/type-provider-typebox';
import type { FastifyInstance } from 'fastify';
import Type from 'typebox';
import { BrowserSensors } from '../devices/browser-sensors.ts';
import type { SensorProvider } from '../devices/sensor-provider.ts';
import { SeamwiseError } from '../foundation/errors.ts';
import type { Logger } from '../foundation/logger.ts';
import type { DeviceSockets } from './access/device-sockets.ts';

const sensorParams = Type.Object({ sensorId: Type.String({ pattern: '^[0-9a-f]{32}$' }) });

const mostWaitingBytes = 256 * 1024;

/**
 * Adds `POST /api/sensors/:sensorId/identify`, which makes a sensor show itself, and, where sensors are connected by a
 * page, the WebSocket `GET /api/sensor-feed` on which that page hands over what its sensors send.
 */
export function addSensorRoutes(
  server: FastifyInstance,
  source: SensorProvider,
  sockets: DeviceSockets,
  logger: Logger,
): void {
  const typed = server.withTypeProvider<TypeBoxTypeProvider>();

  typed.post(
    '/api/sensors/:sensorId/identify',
    { config: { access: 'coach' }, schema: { params: sensorParams } },
    async (request, reply) => {
      try {
        await source.identify(request.params.sensorId);
        return reply.code(204).send();
      } catch (error) {
        if (error instanceof SeamwiseError) return reply.code(409).send({ error: error.code, message: error.message });
        // Radio trouble is ordinary and says itself what it is.
        const message = error instanceof Error ? error.message : String(error);
        return reply.code(502).send({ error: 'sensor-did-not-answer', message });
      }
    },
  );

  if (!(source instanceof BrowserSensors)) return;
  typed.get('/api/sensor-feed', { websocket: true, config: { access: 'player' } }, (socket, request) => {
    const forget = sockets.add(request.asker?.device ?? null, socket);
    const feed = source.connectPage((text) => {
      // Answers to one that asks and does not read must not pile up; an honest page comes back by itself.
      if (socket.bufferedAmount > mostWaitingBytes) socket.terminate();
      else socket.send(text);
    });
    socket.on('message', (data: Buffer, isBinary: boolean) => {
      const problem = isBinary ? feed.takePacket(new Uint8Array(data)) : feed.takeText(data.toString('utf8'));
      if (problem === null) return;
      logger.warn({ problem }, 'a page sent something that makes no sense');
      socket.close(1008, problem.slice(0, 100));
    });
    socket.on('close', () => {
      feed.close();
      forget();
    });
  });
}
