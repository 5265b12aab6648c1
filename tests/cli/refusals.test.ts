import { writeFileSync } from 'node:fs';
import path from 'node:path';
import { describe, expect, it } from 'vitest';
import { analyzeFile } from '../../src/cli/analyze/analyze-file.ts';
import { makeFolder, writeScenario } from '../../src/cli/simulate/write-scenario.ts';
import { SeamwiseError } from '../../src/foundation/errors.ts';
import { encodeSensorDescription } from '../../src/protocol/sensor-description.ts';
import { RecordingWriter } from '../../src/sessions/recording/recording-writer.ts';
import { defaultBallSettings } from '../../src/shots/shot.ts';
import { tempFolder } from '../helpers/temp-folder.ts';
import { header, restRows } from '../sessions/exchange/read-csv.ts';
import { description, madeNotifications, sensorId, writeRecording } from '../sessions/recording/made-recording.ts';

const folder = tempFolder();
const inFolder = (name: string) => path.join(folder, name);

/** What a command throws, which the program turns into a line on stderr. */
async function thrownBy(work: Promise<unknown>): Promise<SeamwiseError> {
  const error = await work.then(
    () => null,
    (thrown: unknown) => thrown,
  );
  expect(error).toBeInstanceOf(SeamwiseError);
  return error as SeamwiseError;
}

function analyse(file: string, more: { sensorId?: string; placement?: 'ball' } = {}) {
  return analyzeFile(file, {
    settings: defaultBallSettings,
    placement: more.placement ?? null,
    mount: null,
    sensorId: more.sensorId ?? null,
    filterDelayS: null,
    onProgress: () => undefined,
  });
}

function expectError(error: SeamwiseError, code: string, parts: readonly string[]): void {
  expect(error.code).toBe(code);
  for (const part of parts) expect(error.message).toContain(part);
}

describe('analyze refuses, with a code, where, what was expected, what came and what to do', () => {
  it('a recording with a description and no notification', async () => {
    const file = inFolder('silent.mcap');
    await writeRecording(file, []);
    expectError(await thrownBy(analyse(file)), 'recording-no-notification', [
      `${file}: expected a recording with at least one readable notification of a sensor`,
      'came none. ',
      'Name a recording that Seamwise wrote, or copy this one again.',
    ]);
  });

  it('a recording cut off before its first notification, and tells where the damage is', async () => {
    const whole = await writeRecording(inFolder('whole.mcap'), madeNotifications(40));
    const file = inFolder('cut.mcap');
    writeFileSync(file, whole.subarray(0, 200));
    expectError(await thrownBy(analyse(file)), 'recording-no-notification', ['came none; ', 'copy this one again']);
  });

  it('notifications without a description', async () => {
    const file = inFolder('undescribed.mcap');
    const writer = await RecordingWriter.create(file);
    for (const notification of madeNotifications(30)) await writer.add(notification);
    await writer.close();
    expectError(await thrownBy(analyse(file)), 'recording-no-description', [
      `${file}: expected a description of the sensor before its notifications`,
      'came 30 notifications without a readable description',
      'copy this one again',
    ]);
  });

  it('a sensor that the recording does not hold, and names the one it holds', async () => {
    const file = inFolder('one.mcap');
    await writeRecording(file, madeNotifications(40));
    expectError(await thrownBy(analyse(file, { sensorId: 'abc' })), 'recording-unknown-sensor', [
      `${file}: expected the sensor abc`,
      `came a recording of ${sensorId}`,
      'Name one of those with --sensor',
    ]);
  });

  it('any sensor of a recording that names none', async () => {
    const file = inFolder('nameless.mcap');
    const writer = await RecordingWriter.create(file);
    await writer.close();
    expectError(await thrownBy(analyse(file, { sensorId: 'abc' })), 'recording-unknown-sensor', [
      'expected the sensor abc',
      'came a recording that names no sensor',
    ]);
  });

  it('a sensor that is too slow', async () => {
    const file = inFolder('slow.mcap');
    const writer = await RecordingWriter.create(file);
    const slow = encodeSensorDescription({ ...description, accelRateHz: 10, gyroRateHz: 10 });
    await writer.describe(sensorId, slow, 1);
    for (const notification of madeNotifications(40)) await writer.add(notification);
    await writer.close();
    expectError(await thrownBy(analyse(file)), 'recording-rate', [
      `${file}: expected 20 to 5000 samples a second`,
      'came 10.0 a second, 0.100 s apart',
      'Set the sensor to another rate and record again.',
    ]);
  });

  it('a CSV recording whose rows lie too close together', async () => {
    const file = inFolder('close.csv');
    const rows = restRows(40).map((row, i) => row.replace(/^[^,]+/, (i * 1e-5).toFixed(5)));
    writeFileSync(file, `${header}\n${rows.join('\n')}\n`);
    expectError(await thrownBy(analyse(file, { placement: 'ball' })), 'recording-rate', [
      `${file}: expected 20 to 5000 samples a second`,
      'came 1.00e+5 a second',
    ]);
  });
});

describe('simulate refuses a place that cannot be written to', () => {
  it('in a folder that is not there', async () => {
    for (const name of ['none/x.mcap', 'none/x.csv']) {
      const file = inFolder(name);
      const error = await thrownBy(writeScenario({ scenario: 'air-ball', seed: 1, file }));
      expectError(error, 'output-not-written', [
        `${file}: expected a place that can be written to`,
        'the folder is not there',
        'Name a folder that is there and that you may write to.',
      ]);
    }
  });

  it('a folder where a file stands already', async () => {
    writeFileSync(inFolder('taken'), '');
    const error = await thrownBy(makeFolder(inFolder('taken')));
    expectError(error, 'output-not-written', [`${inFolder('taken')}: expected a place`, 'EEXIST', 'Name a folder']);
  });
});
