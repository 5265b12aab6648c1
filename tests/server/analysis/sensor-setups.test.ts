import path from 'node:path';
import { beforeEach, expect, it } from 'vitest';
import { noSetup } from '../../../src/live/sensor-setup.ts';
import { newestUsable, resultParameters, sensorSetup } from '../../../src/server/analysis/sensor-setups.ts';
import { claimSpinReferences } from '../../../src/server/spin-references.ts';
import { ClubStore } from '../../../src/sessions/database/club-store.ts';
import { JsonSensorCalibrations, type SensorCalibration } from '../../../src/sessions/sensor-calibrations.ts';
import { JsonWristCalibrationStore } from '../../../src/sessions/wrist-calibration/json-wrist-calibration-store.ts';
import { defaultBallSettings } from '../../../src/shots/shot.ts';
import { temporaryFolder } from '../../helpers/temporary-folder.ts';
import { coach } from '../../sessions/database/opened-store.ts';

const calibration: SensorCalibration = {
  sensorId: 'arm',
  madeAtS: 100,
  accelBiasMps2: [0.2, 0, -0.1],
  accelBiasStandardErrorMps2: [0.01, 0.01, 0.01],
  accelScale: [1.01, 1, 0.99],
  accelScaleStandardError: [0.001, 0.001, 0.001],
  accelCheckErrorsMps2: [0.01, -0.02],
  gyro: null,
};

let folder: string;
let store: ClubStore;
let troubles: string[];

beforeEach(async () => {
  folder = temporaryFolder();
  store = await ClubStore.open({ file: path.join(folder, 'club.db'), nowS: () => 1_764_000_000 });
  troubles = [];
  return () => store.close();
});

const setup = (sensorId = 'arm') =>
  sensorSetup(sensorId, {
    calibrations: new JsonSensorCalibrations(folder),
    references: new JsonWristCalibrationStore(path.join(folder, 'spin-references.json')),
    players: store.players,
    onTrouble: (_, why) => troubles.push(why),
  });

it('of an unknown sensor is nothing', async () => {
  expect(await setup()).toEqual(noSetup);
  expect(troubles).toEqual([]);
});

it('holds the newest calibration, and the reference shots of the owner', async () => {
  const calibrations = new JsonSensorCalibrations(folder);
  await calibrations.add({ ...calibration, madeAtS: 300 });
  await calibrations.add(calibration);
  await calibrations.add({ ...calibration, sensorId: 'other', madeAtS: 400 });
  await store.players.seeSensor({ id: 'arm', placement: 'back-of-hand', description: '' });
  const playerId = await store.players.add(coach, { pseudonym: 'Player 07' });
  const references = new JsonWristCalibrationStore(path.join(folder, 'spin-references.json'));
  const measures = { snapRateRadps: 19, snapRateSdRadps: 0.5, spinRps: 2, spinSdRps: 0.05, place: 'forearm' } as const;
  const origin = { kind: 'ball-sensor', sensorId: null, shotIndex: null } as const;
  await references.add({ id: null, name: 'Player 07' }, { ...measures, id: 'a', addedS: 1, origin });
  expect((await setup()).spinReferences).toEqual([]);
  await store.players.changeSensor(coach, 'arm', { owner_player_id: playerId });
  const found = await setup();
  expect(found.calibratedAtS).toBe(300);
  expect(found.correction).toEqual({ accelBiasMps2: [0.2, 0, -0.1], accelScale: [1.01, 1, 0.99], gyro: null });
  expect(found.spinReferences).toMatchObject([measures]);
  expect(resultParameters(defaultBallSettings, [['arm', found]])).toMatchObject({
    ballSize: 7,
    sensors: { arm: { calibratedAtS: 300, spinReferenceCount: 1 } },
  });
  expect(resultParameters(defaultBallSettings, [['arm', noSetup]])).toEqual(defaultBallSettings);
  // Once they are given to the player's id, another name changes nothing.
  await claimSpinReferences(references, store.players);
  await store.players.change(coach, playerId, { pseudonym: 'Player 70' });
  expect((await setup()).spinReferences).toMatchObject([measures]);
});

it('goes on without a calibration that cannot be read, and says so', async () => {
  const { writeFileSync } = await import('node:fs');
  writeFileSync(new JsonSensorCalibrations(folder).file, 'no JSON');
  expect(await setup()).toEqual(noSetup);
  expect(troubles).toEqual([expect.stringContaining('sensor-calibrations.json')]);
});

it.each([
  ['a scale of zero', { accelScale: [1, 0, 1] }],
  ['a bias that no working part has', { accelBiasMps2: [0, 9, 0] }],
  ['checks that it failed', { accelCheckErrorsMps2: [0.01, 0.8] }],
  ['a scale that is no number', { gyro: { biasRadps: [0, 0, 0], scale: [1, Number.NaN, 1] } }],
] as const)('passes over a calibration with %s', (_, wrong) => {
  const bad = { ...calibration, madeAtS: 900, ...wrong } as SensorCalibration;
  expect(newestUsable([bad, calibration])).toBe(calibration);
  expect(newestUsable([bad])).toBeNull();
});
