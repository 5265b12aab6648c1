import { writeFileSync } from 'node:fs';
import path from 'node:path';
import { expect, it, onTestFinished } from 'vitest';
import { systemClock } from '../../../src/devices/system-clock.ts';
import { silentLogger } from '../../../src/foundation/logger.ts';
import { CourtUploader } from '../../../src/server/hub/court-uploader.ts';
import { bothCalibrations, shareCalibrations } from '../../../src/server/hub/share-calibrations.ts';
import { ClubStore } from '../../../src/sessions/database/club-store.ts';
import { JsonSensorCalibrations, type SensorCalibration } from '../../../src/sessions/sensor-calibrations.ts';
import { temporaryFolder } from '../../helpers/temporary-folder.ts';
import { coach } from '../../sessions/database/opened-store.ts';
import { madeHub } from './made-hub.ts';

function calibration(madeAtS: number, sensorId = 'ball-a'): SensorCalibration {
  return {
    ...{ sensorId, madeAtS, accelBiasMps2: [0.1, 0, -0.2], accelScale: [1, 1.01, 1] },
    ...{ accelBiasStandardErrorMps2: [0.01, 0.01, 0.01], accelScaleStandardError: [0.001, 0.001, 0.001] },
    ...{ accelCheckErrorsMps2: [0.02], gyro: null },
  };
}

async function openStore(): Promise<ClubStore> {
  const store = await ClubStore.open({ file: ':memory:', nowS: () => systemClock.nowS() });
  onTestFinished(() => store.close());
  return store;
}

const times = (all: readonly SensorCalibration[]) => all.map(({ madeAtS }) => madeAtS).sort((a, b) => a - b);

it('brings calibrations from the file into the database and from there into the file, each once', async () => {
  const [store, file] = [await openStore(), new JsonSensorCalibrations(temporaryFolder())];
  await file.add(calibration(100));
  await store.calibrations.add(calibration(200));
  for (let round = 0; round < 2; round++) {
    await shareCalibrations(store, file);
    expect(times(await file.all())).toEqual([100, 200]);
    expect(times(await store.calibrations.all())).toEqual([100, 200]);
  }
  expect(await store.calibrations.of('ball-a')).toEqual([calibration(200), calibration(100)]);
  const others = new JsonSensorCalibrations(temporaryFolder());
  await others.add(calibration(150));
  expect((await bothCalibrations(others, store.calibrations).of('ball-a')).map(({ madeAtS }) => madeAtS)).toEqual([
    ...[200, 150, 100],
  ]);
});

async function until(holds: () => Promise<boolean>): Promise<void> {
  while (!(await holds())) await new Promise((resolve) => setTimeout(resolve, 20));
}

it('reach the hub and another court’s file, and one that cannot be read holds up nothing else', async () => {
  const hub = await madeHub();
  const court = async (name: string) => {
    const { key } = await hub.keeper.store.courts.make(name);
    const [store, folder] = [await openStore(), temporaryFolder()];
    const file = new JsonSensorCalibrations(folder);
    const uploader = new CourtUploader({
      ...{ store, hub: { address: hub.address, key }, recordingsFolder: folder, logger: silentLogger },
      ...{ calibrations: file, erase: async () => true, idleMs: 20, retryMs: 20 },
    });
    onTestFinished(() => uploader.close());
    return { store, file, folder };
  };
  const [north, south] = [await court('North'), await court('South')];
  await north.file.add(calibration(100));
  await until(async () => (await south.file.all()).length === 1);
  expect(await south.file.of('ball-a')).toEqual([calibration(100)]);
  expect(await hub.keeper.store.calibrations.all()).toEqual([calibration(100)]);
  writeFileSync(path.join(south.folder, 'sensor-calibrations.json'), 'no JSON');
  const playerId = await south.store.players.add(coach, { pseudonym: 'Player 07' });
  await south.store.players.giveConsent(coach, playerId, 'upload', 'the player');
  await until(async () => (await hub.keeper.store.players.list()).length === 1);
});
