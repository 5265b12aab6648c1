import fastifyWebsocket from '@fastify/websocket';
import fastify, { type FastifyInstance } from 'fastify';
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import { silentLogger } from '../../../src/foundation/logger.ts';
import { decodeSensorDescription, type Placement } from '../../../src/protocol/sensor-description.ts';
import { DeviceSockets } from '../../../src/server/access/device-sockets.ts';
import { addCalibrationRoutes } from '../../../src/server/calibration/calibration-routes.ts';
import type { SensorTapListener } from '../../../src/server/calibration/sensor-taps.ts';
import type { SensorCalibration } from '../../../src/sessions/sensor-calibrations.ts';
import { inPieces } from '../../helpers/hand-turned-sensor.ts';
import { calibrationActs, noErrors, scripted } from '../../helpers/scripted-sensor.ts';
import { descriptionBytes } from '../../sessions/recording/made-recording.ts';

const nowS = 1_764_000_000;
let server: FastifyInstance;
let listener: SensorTapListener | null;
let placement: Placement;
let stopped: number;
let kept: SensorCalibration[];
let failure: Error | null;

beforeEach(async () => {
  listener = null;
  placement = 'ball';
  stopped = 0;
  kept = [];
  failure = null;
  server = fastify();
  await server.register(fastifyWebsocket);
  addCalibrationRoutes(server, {
    taps: {
      tap(sensorId, own) {
        if (sensorId !== 'known') return null;
        listener = own;
        const description = { ...decodeSensorDescription(descriptionBytes), placement };
        return { description, stop: () => stopped++ };
      },
    },
    calibrations: {
      add: async (calibration) => {
        if (failure) throw failure;
        kept.push(calibration);
      },
      of: async () => kept,
    },
    sockets: new DeviceSockets(),
    nowS: () => nowS,
    logger: silentLogger,
  });
  await server.ready();
});
afterEach(() => server.close());

async function follow(word: 'first-minute' | 'calibration', sensorId = 'known') {
  const documents: Record<string, unknown>[] = [];
  const socket = await server.injectWS(
    `/api/sensors/${sensorId}/${word}`,
    {},
    {
      onInit: (opening) => opening.on('message', (data: Buffer) => documents.push(JSON.parse(String(data)))),
    },
  );
  return { documents, socket };
}

describe('the first minute', () => {
  test('tells the step, how far it is, and what was found', async () => {
    const { documents, socket } = await follow('first-minute');
    await expect.poll(() => documents.length).toBe(1);
    expect(documents[0]).toMatchObject({ kind: 'first-minute', step: 'rest', share: 0, troubles: [] });
    for (const block of inPieces(scripted([{ lieS: 3 }], noErrors), 9)) listener?.onBlock(block);
    await expect.poll(() => documents.at(-1)?.step).toBe('spin');
    const { found } = documents.at(-1) as { found: { restErrorMps2: number } };
    expect(Math.abs(found.restErrorMps2)).toBeLessThan(0.02);
    // Steps of a twentieth, not every packet.
    expect(documents.length).toBeLessThan(25);
    socket.terminate();
    await expect.poll(() => stopped).toBe(1);
  });

  test('of a sensor on the arm begins with the arm hanging', async () => {
    placement = 'wrist-forearm';
    const { documents } = await follow('first-minute');
    await expect.poll(() => documents[0]).toMatchObject({ step: 'hang' });
  });

  test('says that a sensor is not there, or went away, and ends', async () => {
    const none = await follow('first-minute', 'nobody');
    await expect.poll(() => none.documents).toMatchObject([{ kind: 'gone' }]);
    const { documents, socket } = await follow('first-minute');
    await expect.poll(() => documents.length).toBe(1);
    listener?.onGone('its battery is empty');
    await expect.poll(() => documents.at(-1)).toMatchObject({ kind: 'gone', why: 'its battery is empty' });
    await expect.poll(() => socket.readyState).toBe(socket.CLOSED);
  });
});

describe('the calibration that is kept', () => {
  const play = (): void => {
    for (const block of inPieces(scripted(calibrationActs(), noErrors), 50)) listener?.onBlock(block);
  };

  test('leads through sides, checks and turns, keeps what it found and says so', async () => {
    const { documents } = await follow('calibration');
    await expect.poll(() => documents.length).toBe(1);
    expect(documents[0]).toMatchObject({ step: 'sides', last: null, checksLeft: 2, turnsLeft: 6 });
    play();
    await expect.poll(() => documents.at(-1)).toMatchObject({ step: 'done', kept: true });
    expect(new Set(documents.map(({ step }) => step))).toEqual(new Set(['sides', 'checks', 'turns', 'done']));
    expect(kept).toMatchObject([{ sensorId: 'known', madeAtS: nowS }]);
    for (const bias of kept[0]?.accelBiasMps2 ?? []) expect(Math.abs(bias)).toBeLessThan(0.02);
  });

  test('says why it could not be kept', async () => {
    failure = new Error('the disk is full');
    const { documents } = await follow('calibration');
    await expect.poll(() => documents.length).toBe(1);
    play();
    await expect.poll(() => documents.at(-1)).toMatchObject({ kept: false, notKept: 'the disk is full' });
  });
});

test('a plain request is told to come as a WebSocket', async () => {
  const answer = await server.inject('/api/sensors/known/calibration');
  expect(answer.statusCode).toBe(426);
});
