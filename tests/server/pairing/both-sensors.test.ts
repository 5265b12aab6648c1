/**
 * A whole practice of one simulated shooter with a sensor in the ball and one on the arm, through the service to a client:
 * one record for each shot, with the numbers of both.
 */
import path from 'node:path';
import { afterEach, expect, it } from 'vitest';
import WebSocket from 'ws';
import { ReplaySource } from '../../../src/devices/replay-source.ts';
import { databaseFile } from '../../../src/server/practice/practice-keeper.ts';
import { startService } from '../../../src/server/service.ts';
import type { RunningService } from '../../../src/server/service-options.ts';
import type { LiveDocument } from '../../../src/server/wire/live-document.ts';
import type { WireShot } from '../../../src/server/wire/shot-document.ts';
import { ClubStore } from '../../../src/sessions/database/club-store.ts';
import { defaultBallSettings } from '../../../src/shots/shot.ts';
import { encodePairedPractice } from '../../../src/simulate/arm/wrist-encoded.ts';
import { drawWristPlan, pairedDecoyKinds } from '../../../src/simulate/arm/wrist-plan.ts';
import { ManualClock } from '../../devices/manual-clock.ts';
import { temporaryFolder } from '../../helpers/temporary-folder.ts';

/** Both sensors alone find every shot of this practice; what each of them misses elsewhere is other tests' matter. */
const seed = 11;
const shotCount = 5;
let service: RunningService;
afterEach(() => service.close());

function practice() {
  const plan = drawWristPlan(seed, { shots: shotCount, decoys: 2, decoyKinds: pairedDecoyKinds });
  const { descriptions, sensors, chunks } = encodePairedPractice({ seed, plan });
  const all = [...chunks];
  const of = (place: 'ball' | 'wrist') => {
    const { sensorId } = sensors[place];
    const notifications = all.flatMap((chunk) => chunk.notifications.filter((one) => one.sensorId === sensorId));
    return { sensorId, description: descriptions[place], notifications };
  };
  return { ball: of('ball'), wrist: of('wrist'), truth: all.flatMap((chunk) => chunk.ball.shots) };
}

it('makes one record a shot, from the source to the client and the store', async () => {
  const { ball, wrist, truth } = practice();
  const startS = ball.notifications[0]?.hostTimeS ?? 0;
  const clock = new ManualClock(startS);
  const source = new ReplaySource({ clock, pace: 'fast', simulated: true, sensors: [ball, wrist] });
  const folder = temporaryFolder();
  service = await startService({
    version: '1.2.3',
    port: 0,
    dataFolder: folder,
    pageFolder: path.join(folder, 'no-page'),
    settings: defaultBallSettings,
    source,
    clock,
    // One thread takes both sensors' packets in the order of their receipt, however fast they are handed out.
    threadCount: 1,
  });
  const shots: WireShot[] = [];
  const socket = new WebSocket(new URL('/api/live', service.url.replace('http', 'ws')));
  const ended = new Promise<void>((resolve) => {
    const gone = new Set<string>();
    socket.on('message', (data) => {
      const document = JSON.parse(String(data)) as LiveDocument;
      if (document.kind === 'shot' && document.shot.stage === 'final') shots.push(document.shot);
      if (document.kind === 'sensor' && document.sensor.state === 'ended') gone.add(document.sensor.sensorId);
      if (gone.size === 2) resolve();
    });
  });
  await new Promise((resolve) => socket.once('open', resolve));
  // Hardly moves: a shot waits for its partner by this clock, and on a busy machine the other sensor's may take long to come.
  const play = setInterval(() => clock.advance(1e-6), 5);
  await ended;
  // The last ones are still being stored, and are told when they are.
  await expect.poll(() => shots.length).toBeGreaterThanOrEqual(shotCount);
  clearInterval(play);
  const kept = (await (await fetch(new URL('/api/shots', service.url))).json()) as { shots: { shot: WireShot }[] };
  expect(kept.shots.map(({ shot }) => shot)).toEqual(shots);
  socket.close();
  // With its end whatever was still under way is stored too.
  await service.close();
  const store = await ClubStore.open({ file: path.join(folder, databaseFile), nowS: () => clock.nowS() });
  expect(await store.shots.all({})).toHaveLength(shotCount);
  await store.close();

  const both = shots.filter((shot) => shot.ball && shot.wrist);
  expect(both).toHaveLength(shotCount);
  // No shot twice: not even as one of each sensor.
  expect(shots).toHaveLength(shotCount);
  const near = (releaseS: number) => both.filter((shot) => Math.abs((shot.releaseS ?? 0) - releaseS) < 0.3);
  for (const { releaseS } of truth) expect(near(releaseS).length).toBe(1);
  for (const shot of both) {
    expect(shot.ball?.sensorId).toBe(ball.sensorId);
    expect(shot.wrist?.sensorId).toBe(wrist.sensorId);
    expect(shot.measures.launchSpeedMps).toMatchObject({ source: 'ball' });
    expect(shot.measures.snapPeakDegps).toMatchObject({ source: 'wrist' });
  }
});
