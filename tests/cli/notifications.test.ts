import { readFileSync, writeFileSync } from 'node:fs';
import path from 'node:path';
import { beforeAll, describe, expect, it } from 'vitest';
import type { Analysis } from '../../src/cli/analyze/analysis-schema.ts';
import { encodeSensorDescription, type SensorDescription } from '../../src/protocol/sensor-description.ts';
import { RecordingWriter } from '../../src/sessions/recording/recording-writer.ts';
import { BallTracker } from '../../src/shots/ball/ball-tracker.ts';
import { defaultBallSettings } from '../../src/shots/shot.ts';
import { tempFolder } from '../helpers/temp-folder.ts';
import { description, madeNotifications, sensorId, writeRecording } from '../sessions/recording/made-recording.ts';
import { runCli } from './run-cli.ts';
import { validateAnalysis } from './validate-analysis.ts';

const folder = tempFolder();
const inFolder = (name: string) => path.join(folder, name);
const whole = inFolder('whole.mcap');
let content: Buffer;

beforeAll(async () => {
  content = await writeRecording(whole, madeNotifications(800));
});

async function analyseJson(...words: string[]): Promise<Analysis> {
  const { code, stdout, stderr } = await runCli(['analyze', ...words, '--json']);
  expect({ code, stderr }).toEqual({ code: 0, stderr: '' });
  const document: Analysis = JSON.parse(stdout);
  expect(validateAnalysis(document), JSON.stringify(validateAnalysis.errors)).toBe(true);
  return document;
}

/** A recording of one sensor for each description. */
async function writeSensors(name: string, descriptions: readonly SensorDescription[]): Promise<string> {
  const writer = await RecordingWriter.create(inFolder(name));
  for (const one of descriptions) {
    await writer.describe(one.sensorId, encodeSensorDescription(one), 1);
    for (const notification of madeNotifications(40, one.sensorId)) await writer.add(notification);
  }
  await writer.close();
  return inFolder(name);
}

describe('a damaged recording', () => {
  it('is analysed as far as it goes, and what was lost is told', async () => {
    const cut = inFolder('cut.mcap');
    writeFileSync(cut, content.subarray(0, Math.floor(content.length / 2)));
    const { recording } = await analyseJson(cut);
    expect(recording.sampleCount).toBeGreaterThan(1000);
    expect(recording.sampleCount).toBeLessThan(4000);
    expect(recording.damage).toMatchObject({ isClosed: false, damagedChunks: 1 });
    const { code, stdout } = await runCli(['analyze', cut]);
    expect(code).toBe(0);
    expect(stdout).toContain('The end of the file is missing');
    expect(stdout).toContain('the file ends in the middle of a chunk');
  });

  it('loses one notification to a flipped bit in it', async () => {
    const flipped = Buffer.from(content);
    const bytes = madeNotifications(800)[400]?.bytes as Uint8Array;
    const at = flipped.indexOf(bytes) + 40;
    flipped[at] = (flipped[at] as number) ^ 4;
    writeFileSync(inFolder('flipped.mcap'), flipped);
    const { recording } = await analyseJson(inFolder('flipped.mcap'));
    expect(recording.damage).toMatchObject({ isClosed: true, damagedChunks: 1 });
    expect(recording.notifications).toMatchObject({ received: 800, corrupt: 1, missing: 1, missingSamples: 5 });
    expect(recording.gapCount).toBe(1);
    expect((await runCli(['analyze', inFolder('flipped.mcap')])).stdout).toContain(
      '1 of 800 notifications could not be read.',
    );
  });

  it('whose first bytes are wrong is still read', async () => {
    const headless = Buffer.from(content);
    headless.fill(0, 0, 8);
    writeFileSync(inFolder('headless.mcap'), headless);
    expect((await analyseJson(inFolder('headless.mcap'))).recording.sampleCount).toBe(4000);
  });
});

describe('a recording of several sensors', () => {
  const other: SensorDescription = { ...description, sensorId: `ff${sensorId.slice(2)}` };

  it('needs a choice, by the start of an id', async () => {
    const two = await writeSensors('two.mcap', [description, other]);
    const { code, stderr } = await runCli(['analyze', two]);
    expect(code).toBe(2);
    for (const part of ['2 sensors', '--sensor', sensorId, other.sensorId]) expect(stderr).toContain(part);
    expect((await analyseJson(two, '--sensor', 'ff')).recording.sensorId).toBe(other.sensorId);
    expect((await analyseJson(two, '--sensor', sensorId)).recording).toMatchObject({ sensorId, sampleCount: 200 });
    const none = await runCli(['analyze', two, '--sensor', 'abc']);
    expect(none.code).toBe(1);
    expect(none.stderr).toContain('expected the sensor abc');
  });

  it('refuses the start of two ids', async () => {
    const alike = await writeSensors('alike.mcap', [
      description,
      { ...description, sensorId: `${sensorId.slice(0, 31)}0` },
    ]);
    const { code, stderr } = await runCli(['analyze', alike, '--sensor', sensorId.slice(0, 5)]);
    expect(code).toBe(2);
    expect(stderr).toContain('expected the start of one sensor');
  });
});

describe('the place of the sensor', () => {
  it.each([
    ['wrist-forearm', 'forearm', 'back-of-hand'],
    ['back-of-hand', 'back-of-hand', 'forearm'],
  ] as const)('%s is analysed as such, and nothing else is believed', async (placement, mount, other) => {
    const file = await writeSensors('wrist.mcap', [{ ...description, placement }]);
    for (const words of [[], ['--placement', 'wrist'], ['--mount', mount]]) {
      expect((await analyseJson(file, ...words)).recording).toMatchObject({ placement: 'wrist', mount });
    }
    for (const words of [
      ['--placement', 'ball'],
      ['--mount', other],
    ]) {
      const { code, stderr } = await runCli(['analyze', file, ...words]);
      expect(code).toBe(2);
      expect(stderr).toContain(placement);
    }
  });

  it('has to be said where the sensor does not say it', async () => {
    const file = await writeSensors('nowhere.mcap', [{ ...description, placement: 'unspecified' }]);
    expect(await runCli(['analyze', file])).toMatchObject({
      code: 2,
      stderr: expect.stringContaining('--placement ball'),
    });
    expect((await analyseJson(file, '--placement', 'ball')).recording.placement).toBe('ball');
    expect((await analyseJson(file, '--placement', 'wrist')).recording).toMatchObject({
      placement: 'wrist',
      mount: null,
    });
    expect((await analyseJson(file, '--placement', 'wrist', '--mount', 'forearm')).recording.mount).toBe('forearm');
  });
});

describe('a recording that gives nothing', () => {
  it('without description ends with 1', async () => {
    const writer = await RecordingWriter.create(inFolder('undescribed.mcap'));
    for (const notification of madeNotifications(30)) await writer.add(notification);
    await writer.close();
    const { code, stderr } = await runCli(['analyze', inFolder('undescribed.mcap')]);
    expect(code).toBe(1);
    expect(stderr).toContain('30 notifications without a readable description');
  });

  it('without notifications ends with 1', async () => {
    const file = inFolder('silent.mcap');
    await writeRecording(file, []);
    const { code, stderr } = await runCli(['analyze', file]);
    expect(code).toBe(1);
    expect(stderr).toContain('at least one readable notification');
  });

  it('at a rate that the analysis does not take ends with 1', async () => {
    const file = await writeSensors('slow.mcap', [{ ...description, accelRateHz: 10, gyroRateHz: 10 }]);
    const { code, stderr } = await runCli(['analyze', file]);
    expect(code).toBe(1);
    expect(stderr).toContain('expected 20 to 5000 samples a second');
    // The limits stand in the analysis itself.
    const traits = { accelRangeMps2: null, gyroRangeRadps: null, filterDelayS: 0 };
    for (const rateHz of [20, 5000])
      expect(() => new BallTracker({ ...traits, nominalRateHz: rateHz }, defaultBallSettings)).not.toThrow();
    for (const rateHz of [19.9, 5001])
      expect(() => new BallTracker({ ...traits, nominalRateHz: rateHz }, defaultBallSettings)).toThrow();
  });

  it('says --filter-delay has no place there', async () => {
    const { code, stderr } = await runCli(['analyze', whole, '--filter-delay', '2']);
    expect(code).toBe(2);
    expect(stderr).toContain('only with a CSV recording');
    expect(readFileSync(whole).equals(content)).toBe(true);
  });
});
