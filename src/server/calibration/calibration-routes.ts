import type { WebSocket } from '@fastify/websocket';
import type { FastifyInstance, FastifyRequest } from 'fastify';
import Type from 'typebox';
import type { Logger } from '../../foundation/logger.ts';
import { FirstMinute } from '../../live/first-minute.ts';
import type { SensorCalibrationStore } from '../../sessions/sensor-calibrations.ts';
import { CalibrationGuide, checkPositions, type GuideEvent, turnsWanted } from '../../signal/calibration-guide.ts';
import { sides } from '../../signal/six-positions.ts';
import type { DeviceSockets } from '../access/device-sockets.ts';
import { LatestSender } from '../latest-sender.ts';
import type { CalibrationDocument, FirstMinuteDocument, SensorGoneDocument } from '../wire/calibration-document.ts';
import type { SensorTapListener, SensorTaps, TappedSensor } from './sensor-taps.ts';
import { storedCalibration } from './stored-calibration.ts';

export interface CalibrationRouteOptions {
  readonly taps: Pick<SensorTaps, 'tap'>;
  readonly calibrations: SensorCalibrationStore;
  readonly sockets: DeviceSockets;
  readonly nowS: () => number;
  readonly logger: Logger;
}

const sensorParams = Type.Object({ sensorId: Type.String({ maxLength: 60 }) });
/** A page draws no faster, and a slow one is not flooded. */
const shareStep = 0.05;

/** Adds the WebSockets that lead through the first minute with a sensor, and through its calibration. */
export function addCalibrationRoutes(server: FastifyInstance, options: CalibrationRouteOptions): void {
  const routes = {
    'first-minute': followFirstMinute,
    calibration: followCalibration,
  } as const;
  for (const [word, follow] of Object.entries(routes)) {
    server.get(
      `/api/sensors/:sensorId/${word}`,
      {
        websocket: true,
        config: { access: 'coach' as const },
        schema: { params: sensorParams },
        preHandler: async (request, reply) => {
          if (request.ws) return;
          const message = `expected a WebSocket at ${request.url.slice(0, 120)}, got a plain request`;
          return reply.code(426).header('upgrade', 'websocket').send({ error: 'upgrade-required', message });
        },
      },
      (socket, request) => {
        const { sensorId } = request.params as { readonly sensorId: string };
        const tapped = follow(sensorId, socket, options);
        const forget = options.sockets.add(askerOf(request), socket);
        socket.on('close', () => {
          tapped?.stop();
          forget();
        });
        socket.on('message', () => socket.close(1008, 'this stream takes no messages'));
      },
    );
  }
}

function askerOf(request: FastifyRequest) {
  return request.asker?.device ?? null;
}

function followFirstMinute(
  sensorId: string,
  socket: WebSocket,
  { taps, nowS }: CalibrationRouteOptions,
): TappedSensor | null {
  const sender = new LatestSender(socket, nowS);
  let told = '';
  let guide: FirstMinute | null = null;
  const tell = (): void => {
    if (guide === null) return;
    const { share, ...rest } = guide.progress;
    const { step, troubles } = rest;
    const mark = `${step} ${Math.floor(share / shareStep)} ${troubles.join()}`;
    if (mark === told) return;
    told = mark;
    const document: FirstMinuteDocument = { v: 1, kind: 'first-minute', share, ...rest };
    sender.send(JSON.stringify(document));
  };
  const tapped = tapOrEnd(taps, sensorId, socket, (block) => {
    guide?.push(block);
    tell();
  });
  if (tapped === null) return null;
  const { placement, gyroRateHz } = tapped.description;
  const onArm = placement === 'wrist-forearm' || placement === 'back-of-hand';
  guide = new FirstMinute({ onArm, hasGyro: gyroRateHz !== null });
  tell();
  return tapped;
}

function followCalibration(
  sensorId: string,
  socket: WebSocket,
  { taps, calibrations, nowS, logger }: CalibrationRouteOptions,
): TappedSensor | null {
  const sender = new LatestSender(socket, nowS);
  let guide: CalibrationGuide | null = null;
  let state: Pick<CalibrationDocument, 'sidesMissing' | 'checksLeft' | 'turnsLeft' | 'last'> = {
    sidesMissing: sides,
    checksLeft: checkPositions,
    turnsLeft: turnsWanted,
    last: null,
  };
  const tell = (more: Pick<CalibrationDocument, 'kept' | 'notKept'> = {}): void => {
    if (guide === null) return;
    const document: CalibrationDocument = { v: 1, kind: 'calibration', step: guide.step, ...state, ...more };
    sender.send(JSON.stringify(document));
  };
  const take = (event: GuideEvent): void => {
    state = { ...state, ...stateAfter(event) };
    tell(event.kind === 'done' ? { kept: null } : {});
    if (event.kind !== 'done') return;
    calibrations.add(storedCalibration(sensorId, event.result, nowS())).then(
      () => tell({ kept: true }),
      (error: unknown) => {
        const notKept = error instanceof Error ? error.message : String(error);
        logger.error({ sensorId, why: notKept }, 'a calibration could not be kept');
        tell({ kept: false, notKept });
      },
    );
  };
  const tapped = tapOrEnd(taps, sensorId, socket, (block) => {
    for (const event of guide?.push(block) ?? []) if (event.kind !== 'accel-fitted') take(event);
  });
  if (tapped === null) return null;
  guide = new CalibrationGuide({ hasGyro: tapped.description.gyroRateHz !== null });
  if (tapped.description.gyroRateHz === null) state = { ...state, turnsLeft: 0 };
  tell();
  return tapped;
}

function stateAfter(
  event: GuideEvent,
): Partial<Pick<CalibrationDocument, 'sidesMissing' | 'checksLeft' | 'turnsLeft' | 'last'>> {
  switch (event.kind) {
    case 'position':
      return { sidesMissing: event.missing, last: { kind: 'position', side: event.side } };
    case 'check-position':
      return { checksLeft: event.left, last: { kind: 'check', errorMps2: event.errorMps2 } };
    case 'turn':
      return { turnsLeft: event.left, last: { kind: 'turn', side: event.side, readDegrees: event.readDegrees } };
    case 'refused':
    case 'turn-refused':
      return { last: { kind: 'refused', why: event.why } };
    default:
      return {};
  }
}

/** Follows a sensor, or says that it is not there and ends. */
function tapOrEnd(
  taps: Pick<SensorTaps, 'tap'>,
  sensorId: string,
  socket: WebSocket,
  onBlock: SensorTapListener['onBlock'],
): TappedSensor | null {
  const end = (why: string): void => {
    const document: SensorGoneDocument = { v: 1, kind: 'gone', why };
    socket.send(JSON.stringify(document));
    socket.close(1000, 'the sensor is gone');
  };
  const tapped = taps.tap(sensorId, { onBlock, onGone: end });
  if (tapped === null) end('no sensor of this id sends at the moment: bring it near, wake it, and try again');
  return tapped;
}
