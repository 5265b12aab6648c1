/**
 * Runs the service with replayed sensors that count as real, in a process of its own that a test can kill. Tells its parent
 * the address, after every tenth of a second how many notifications of each sensor have been handed out, and after every sync of the
 * recording how many had been when the sync before it was over: those are on the disk, however slow it is.
 */
import { open } from 'node:fs/promises';
import { ReplaySource } from '../../src/devices/replay-source.ts';
import { systemClock } from '../../src/devices/system-clock.ts';
import { startService } from '../../src/server/service.ts';
import { defaultBallSettings } from '../../src/shots/shot.ts';
import { drawEndlessPlan } from '../../src/simulate/draw-plan.ts';
import { encodePractice } from '../../src/simulate/encoded-practice.ts';
import { drawSensor } from '../../src/simulate/sensor-model.ts';

const [dataFolder = '', seed = '1', sensorCount = '4', playedS = '60'] = process.argv.slice(2);

const sensors = Array.from({ length: Number(sensorCount) }, (_, index) => {
  const name = `${seed} ${index}`;
  const sensor = drawSensor(name);
  const { description, chunks } = encodePractice({ seed: name, acts: drawEndlessPlan(name), sensor });
  const endS = sensor.link.hostStartS + Number(playedS);
  const notifications = [];
  play: for (const chunk of chunks) {
    for (const { bytes, hostTimeS } of chunk.notifications) {
      if (hostTimeS > endS) break play;
      notifications.push({ bytes, hostTimeS });
    }
  }
  return { sensorId: sensor.sensorId, description, notifications };
});
const source = new ReplaySource({ sensors, clock: systemClock, pace: 'real-time', simulated: false });
const handedOut: Record<string, number> = {};
source.notifications.subscribe(({ sensorId }) => {
  handedOut[sensorId] = (handedOut[sensorId] ?? 0) + 1;
});
let atLastSync: Record<string, number> = {};
const probe = await open(process.execPath);
const fileHandle = Object.getPrototypeOf(probe) as { datasync(): Promise<void> };
await probe.close();
const { datasync } = fileHandle;
fileHandle.datasync = async function (): Promise<void> {
  await datasync.call(this);
  process.send?.({ synced: atLastSync, atNs: String(process.hrtime.bigint()) });
  atLastSync = { ...handedOut };
};
const service = await startService({
  version: 'test',
  port: 0,
  dataFolder,
  pageFolder: '',
  settings: defaultBallSettings,
  source,
  threadCount: 1,
});
process.send?.({ url: service.url });
setInterval(() => process.send?.({ handedOut, atNs: String(process.hrtime.bigint()) }), 100);
