import { mkdtempSync, rmSync } from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { afterEach, beforeEach, expect, test, vi } from 'vitest';
import WebSocket from 'ws';
import { decodeLiveSamples } from '../../../src/dashboard/research/live/decode-live-samples.ts';
import { createSimulatedBall } from '../../../src/devices/simulated-practice.ts';
import { systemClock } from '../../../src/devices/system-clock.ts';
import { startService } from '../../../src/server/service.ts';
import type { RunningService } from '../../../src/server/service-options.ts';
import type { ShotDocument } from '../../../src/server/wire/live-document.ts';
import type { LiveStreamsDocument } from '../../../src/server/wire/live-signal-document.ts';
import { defaultBallSettings } from '../../../src/shots/shot.ts';

let folder = '';
let service: RunningService;
beforeEach(async () => {
  folder = mkdtempSync(path.join(os.tmpdir(), 'seamwise-live-signals-'));
  service = await startService({
    ...{ version: '1.2.3', port: 0, dataFolder: folder, pageFolder: path.join(folder, 'no-page') },
    ...{ settings: defaultBallSettings, source: createSimulatedBall({ clock: systemClock, seed: 11 }), threadCount: 1 },
  });
});
afterEach(async () => {
  await service.close();
  rmSync(folder, { recursive: true, force: true });
});

function opened(route: string): WebSocket {
  const socket = new WebSocket(new URL(route, service.url.replace('http', 'ws')));
  socket.binaryType = 'arraybuffer';
  return socket;
}

/** Of a shot's own times a ball in flight reads little, and just before release a hand pushes it: only in the same recording time. */
test('samples and the times of shots are of one clock, from a sensor to a page that came in the middle', async () => {
  const beganS = systemClock.nowS() - 5;
  const shots: ShotDocument[] = [];
  const live = opened('/api/live');
  let packets = 0;
  live.on('message', (data) => {
    const document = JSON.parse(String(data));
    if (document.kind === 'sensor') packets = Math.max(packets, document.sensor.notificationCount);
    if (document.kind === 'shot' && document.shot.stage === 'final') shots.push(document);
  });
  // In the middle of the stream: its recording time began before.
  await expect.poll(() => packets).toBeGreaterThan(20);
  const samples: { timeS: number; size: number }[] = [];
  let streams: LiveStreamsDocument['streams'] = [];
  const socket = opened('/api/live-signals');
  socket.on('message', (data, isBinary) => {
    if (!isBinary) {
      ({ streams } = JSON.parse(Buffer.from(data as ArrayBuffer).toString()) as LiveStreamsDocument);
      return;
    }
    for (const { count, firstS, offsetsS, axes } of decodeLiveSamples(data as ArrayBuffer).parts) {
      for (let i = 0; i < count; i++) {
        const size = Math.hypot(...axes.slice(0, 3).map((axis) => axis[i] ?? 0));
        samples.push({ timeS: firstS + (offsetsS[i] ?? 0), size });
      }
    }
  });
  const inTime = await vi.waitUntil(
    () =>
      shots.find(
        ({ shot: { pickupS, contactS } }) =>
          (pickupS ?? 0) > (samples[0]?.timeS ?? 1e9) && (contactS ?? 1e9) < (samples.at(-1)?.timeS ?? 0),
      ),
    { timeout: 240_000, interval: 100 },
  );
  const { shot, streamIndex, sensorId } = inTime;
  expect(streams).toMatchObject([{ sensorId, streamIndex, hasGyro: true }]);
  const within = (fromS: number, untilS: number) =>
    samples.filter(({ timeS }) => timeS >= fromS && timeS < untilS).map(({ size }) => size);
  const [releaseS, contactS] = [shot.releaseS ?? 0, shot.contactS ?? 0];
  const flight = within(releaseS + 0.02, contactS - 0.02);
  expect(flight.length).toBeGreaterThan(0.9 * rateOf(streams) * (contactS - releaseS - 0.04));
  const push = within(releaseS - 0.12, releaseS - 0.03);
  // The lever of the sensor and drag are below 2 g; a shot's push is above that all the time.
  expect(Math.max(...flight)).toBeLessThan(Math.min(...push.toSorted((a, b) => b - a).slice(0, 10)));
  const clock = streams[0]?.clock;
  // On this machine's clock it lies between the beginning of this test and the receipt of the packet that completed the shot.
  const releaseHostS = (clock?.zeroS ?? 0) + (clock?.slope ?? 0) * releaseS;
  expect(releaseHostS).toBeGreaterThan(beganS);
  expect(releaseHostS).toBeLessThan(inTime.hostTimeS);
  live.close();
  socket.close();
});

function rateOf(streams: LiveStreamsDocument['streams']): number {
  return streams[0]?.rateHz ?? 0;
}
