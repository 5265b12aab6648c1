import { SeamwiseError } from '../../foundation/errors.ts';
import { SensorChain } from '../../live/notification-chain.ts';
import { decodeSensorDescription } from '../../protocol/sensor-description.ts';
import { storedCalibration } from '../../server/calibration/stored-calibration.ts';
import { JsonSensorCalibrations } from '../../sessions/sensor-calibrations.ts';
import { CalibrationGuide, type CalibrationResult, type GuideEvent } from '../../signal/calibration-guide.ts';
import type { Surroundings } from '../surroundings.ts';
import { calibrationText, guideText, stepText } from './calibration-text.ts';
import { deviceName, notReached, RadioDesk, type SeenDevice } from './radio-desk.ts';

export interface CalibrateWords {
  readonly turns: number;
  readonly minutes: number;
  readonly profile?: readonly string[];
  readonly json?: true;
}

/** Leads a person through the calibration of a sensor, and keeps the result. */
export async function calibrateSensor(id: string, words: CalibrateWords, surroundings: Surroundings): Promise<void> {
  const store = new JsonSensorCalibrations(surroundings.readConfig().dataFolder);
  const desk = await RadioDesk.open(surroundings, words);
  let found: { readonly sensorId: string; readonly result: CalibrationResult };
  try {
    const device = await desk.find(id);
    found = await lead(device, words, desk, surroundings);
  } finally {
    await desk.close();
  }
  const calibration = storedCalibration(found.sensorId, found.result, desk.clock.nowS());
  await store.add(calibration);
  surroundings.stdout.write(
    words.json
      ? `${JSON.stringify({ calibration, accelResidualsMps2: found.result.accel.residualsMps2, file: store.file }, null, 2)}\n`
      : `${calibrationText(calibration, found.result)}Kept in ${store.file}\n`,
  );
}

async function lead(
  device: SeenDevice,
  { turns, minutes }: CalibrateWords,
  desk: RadioDesk,
  { stderr, untilEndIsAsked }: Surroundings,
): Promise<{ sensorId: string; result: CalibrationResult }> {
  if (device.kind === null) throw notReached(device, new Error('no device profile fits it'));
  const session = await desk.connect(device);
  try {
    const prepared = await device.kind.prepare(session);
    const description = decodeSensorDescription(prepared.description);
    const chain = new SensorChain({ sensorName: prepared.sensorId, description, ballSettings: null });
    const guide = new CalibrationGuide({ hasGyro: description.gyroRateHz !== null, turns });
    let step = '';
    const say = (events: readonly GuideEvent[]): CalibrationResult | null => {
      for (const event of events) {
        const text = guideText(event);
        if (text !== null) stderr.write(`  ${text}\n`);
        if (event.kind === 'done') return event.result;
      }
      if (guide.step !== step) {
        step = guide.step;
        stderr.write(`${stepText(guide.step, turns)}\n`);
      }
      return null;
    };
    stderr.write(`${deviceName(device)} is being calibrated. Ctrl-C ends it without a result.\n`);
    say([]);
    const result = await new Promise<CalibrationResult | string>((resolve) => {
      void session.ended.then((why) => resolve(`the connection ended (${why})`));
      void desk.wait(60 * minutes).then(() => resolve(`it was not done within ${minutes} minutes`));
      void untilEndIsAsked().then(() => resolve('it was ended'));
      prepared
        .start((bytes, hostTimeS) => {
          for (const event of chain.push(bytes, hostTimeS)) {
            if (event.kind !== 'block') continue;
            const done = say(guide.push(event.block));
            if (done !== null) resolve(done);
          }
        })
        .catch((error: unknown) => resolve(error instanceof Error ? error.message : String(error)));
    });
    if (typeof result === 'string') {
      throw new SeamwiseError(
        'calibration-unfinished',
        `the calibration of ${deviceName(device)} has no result: ${result}`,
      );
    }
    return { sensorId: prepared.sensorId, result };
  } catch (error) {
    if (error instanceof SeamwiseError && error.code === 'calibration-unfinished') throw error;
    throw notReached(device, error);
  } finally {
    await session.disconnect();
  }
}
