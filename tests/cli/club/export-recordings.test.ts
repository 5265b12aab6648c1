/** Recordings of a ball and an arm sensor through import, export in every form, and import again. */
import { existsSync, readdirSync, readFileSync } from 'node:fs';
import path from 'node:path';
import { parse } from 'csv-parse/sync';
import { asyncBufferFromFile, parquetReadObjects } from 'hyparquet';
import { beforeAll, describe, expect, it } from 'vitest';
import { JsonSensorCalibrations } from '../../../src/sessions/sensor-calibrations.ts';
import type { MergedShot } from '../../../src/shots/merge/merge-shots.ts';
import { encodePairedPractice } from '../../../src/simulate/arm/wrist-encoded.ts';
import { drawWristPlan } from '../../../src/simulate/arm/wrist-plan.ts';
import { checkBids } from '../../helpers/check-bids.ts';
import { tempFolder } from '../../helpers/temp-folder.ts';
import { writePair } from '../../helpers/write-pair.ts';
import { readRecording } from '../../sessions/recording/made-recording.ts';
import { runCli } from '../run-cli.ts';

const root = tempFolder();
const [home, elsewhere] = [path.join(root, 'home'), path.join(root, 'elsewhere')];
const out = path.join(root, 'out');
let sensorIds: string[] = [];
let startS = 0;

async function done(dataFolder: string, ...words: string[]): Promise<string> {
  const { code, stdout, stderr } = await runCli(words, { readConfig: () => ({ port: 0, dataFolder, pageFolder: '' }) });
  // A slow machine shows how far it is.
  expect({ code, stderr: stderr.replaceAll(/^reading .*\n/gm, '') }).toEqual({ code: 0, stderr: '' });
  return stdout;
}

interface Told {
  readonly session: { readonly started_s: number; readonly simulated: number };
  readonly shots: readonly { readonly at_s: number; readonly result: { readonly shot: MergedShot } }[];
}

const lastSession = async (dataFolder: string): Promise<Told> =>
  JSON.parse(await done(dataFolder, 'sessions', 'show', 'last', '--json'));

const table = (name: string): Record<string, string>[] =>
  parse(readFileSync(path.join(out, `${name}.csv`)), { columns: true });

beforeAll(async () => {
  const file = path.join(root, 'practice of Secret Name.mcap');
  const plan = drawWristPlan(11, { shots: 2, decoys: 0 });
  const written = await writePair(file, encodePairedPractice({ seed: 11, plan }));
  ({ sensorIds, startS } = written);
  await done(home, 'players', 'add', 'Secret Name', '--hand', 'left', '--notes', 'secret note');
  for (const scope of ['record', 'export'])
    await done(home, 'players', 'consent', 'Secret Name', scope, '--by', 'parent');
  // Readings that are a little off are put right at the import, and have to be in the export too.
  await new JsonSensorCalibrations(home).add({
    sensorId: sensorIds[0] ?? '',
    madeAtS: startS,
    accelBiasMps2: [0.05, -0.03, 0.02],
    accelBiasStandardErrorMps2: [0.01, 0.01, 0.01],
    accelScale: [1.001, 0.999, 1],
    accelScaleStandardError: [0.001, 0.001, 0.001],
    accelCheckErrorsMps2: [],
    gyro: null,
  });
  const kept = JSON.parse(await done(home, 'import', file, '--player', 'Secret Name', '--distance', '4.6', '--json'));
  expect(kept).toMatchObject({ shotCount: 2, mergedCount: 2 });
  await done(home, 'export', out, '--samples', '--bids', '--raw', '--key', path.join(root, 'key.json'));
});

/** Every file of the export, with its bytes as text. */
function everyFile(): [string, string][] {
  const entries = readdirSync(out, { recursive: true, withFileTypes: true }).filter((entry) => entry.isFile());
  return entries.map((entry) => {
    const file = path.join(entry.parentPath, entry.name);
    return [path.relative(out, file), readFileSync(file, 'latin1')];
  });
}

it('tells nothing of the person or the sensors, not in a file name, not in a byte', () => {
  const raw = sensorIds.map((id) => Buffer.from(id, 'hex').toString('latin1'));
  const secrets = ['Secret Name', 'secret note', ...sensorIds, ...raw, String(Math.floor(startS))];
  for (const [name, text] of everyFile()) {
    for (const secret of secrets)
      expect(text.includes(secret) || name.includes(secret), `${name}: ${secret}`).toBe(false);
  }
  expect(existsSync(path.join(root, 'key.json'))).toBe(true);
});

it('writes samples on one clock, the same as CSV and Parquet, each column in the dictionary', async () => {
  const shots = table('shots');
  expect(table('sensors').map(({ placement, calibrated }) => [placement, calibrated])).toEqual(
    expect.arrayContaining([['ball', '1']]),
  );
  const names = readdirSync(path.join(out, 'samples')).filter((name) => name.endsWith('.csv'));
  expect(names).toHaveLength(2);
  for (const name of names) {
    const stem = name.replace('.csv', '');
    const rows = table(`samples/${stem}`);
    const file = await asyncBufferFromFile(path.join(out, 'samples', `${stem}.parquet`));
    const parquet = await parquetReadObjects({ file });
    expect(parquet).toHaveLength(rows.length);
    const columns = Object.keys(rows[0] ?? {});
    const told = table('dictionary').filter((line) => line.table === 'samples');
    expect(told.map((line) => line.name)).toEqual(columns);
    for (const column of columns.filter((each) => told.find((line) => line.name === each)?.type !== 'text')) {
      const sumOf = (values: unknown[]) => values.reduce<number>((sum, value) => sum + Number(value ?? 0), 0);
      expect(sumOf(rows.map((row) => row[column]))).toBe(sumOf(parquet.map((row) => row[column])));
    }
    const times = rows.map(({ t_s }) => Number(t_s));
    expect(times.every((time, at) => at === 0 || time > (times[at - 1] ?? 0))).toBe(true);
    // Each release lies among the samples of both sensors.
    for (const { t_s } of shots) expect(times.some((time) => Math.abs(time - Number(t_s)) < 0.02)).toBe(true);
    const unit = rows.filter(({ quat_w }) => quat_w !== '');
    expect(unit.length).toBeGreaterThan(rows.length / 4);
    for (const { quat_w, quat_x, quat_y, quat_z } of unit) {
      expect(Math.hypot(...[quat_w, quat_x, quat_y, quat_z].map(Number))).toBeCloseTo(1, 9);
    }
  }
});

it('writes a BIDS folder without a fault that this check knows', () => {
  expect(checkBids(path.join(out, 'bids'))).toEqual([]);
  const events = readdirSync(path.join(out, 'bids', 'sub-001', 'ses-001', 'motion')).filter((name) =>
    name.includes('_events'),
  );
  expect(events).toHaveLength(2);
});

describe('import of what was exported', () => {
  it('gives the same shots from the raw recording, calibration, settings and all', async () => {
    const [name = ''] = readdirSync(path.join(out, 'raw'));
    const raw = path.join(out, 'raw', name);
    await done(elsewhere, 'import', raw);
    const [before, after] = [await lastSession(home), await lastSession(elsewhere)];
    const shiftS = JSON.parse(readFileSync(path.join(root, 'key.json'), 'utf8')).shiftS;
    expect(before.session.started_s - after.session.started_s).toBeCloseTo(shiftS, 5);
    const numbers = ({ shots }: Told) =>
      shots.map(({ result: { shot } }) => {
        const { ball, wrist, ...rest } = shot;
        return { ...rest, ball: ball?.index, wrist: wrist?.index };
      });
    expect(numbers(after)).toEqual(numbers(before));
    const { reader } = await readRecording(raw);
    expect(reader.damage()).toMatchObject({ isClosed: true, damagedChunks: 0 });
  });

  it('gives the same shots from the tables of samples, as near as the times of a table are', async () => {
    const placements = new Map(table('sensors').map(({ sensor, placement }) => [sensor, placement]));
    const files = readdirSync(path.join(out, 'samples')).filter((name) => name.endsWith('.csv'));
    const places = files.map((name) =>
      placements.get(/sensor-\d+/.exec(name)?.[0] ?? '') === 'ball' ? 'ball' : 'wrist',
    );
    const delays = new Map(
      table('sensors').map(({ sensor, filter_delay_s }) => [sensor, 1000 * Number(filter_delay_s)]),
    );
    const words = files.flatMap((name, at) => [
      '--placement',
      places[at] ?? '',
      '--filter-delay',
      String(delays.get(/sensor-\d+/.exec(name)?.[0] ?? '')),
    ]);
    const paths = files.map((name) => path.join(out, 'samples', name));
    const again = path.join(root, 'from-tables');
    await done(again, 'import', ...paths, ...words, '--distance', '4.6', '--started', '2026-01-01T00:00Z');
    const [before, after] = [await lastSession(home), await lastSession(again)];
    expect(after.shots).toHaveLength(before.shots.length);
    for (const [at, { result }] of after.shots.entries()) {
      const was = before.shots[at]?.result.shot as MergedShot;
      const is = result.shot;
      expect(is.ball && is.wrist).toBeTruthy();
      for (const measure of ['launchSpeedMps', 'launchAngleDeg', 'backspinRps'] as const) {
        const [one, other] = [was.measures[measure], is.measures[measure]];
        if (one.value === null || other.value === null) throw new Error(`${measure} is missing`);
        // Clipping and gaps are read off a table, the clock's drift is in its times: a small part of the error.
        expect(Math.abs(one.value - other.value)).toBeLessThan(Math.hypot(one.standardError, other.standardError));
      }
    }
  });
});

it('refuses what cannot be meant', async () => {
  const run = (...words: string[]) =>
    runCli(['export', path.join(root, 'no'), ...words], {
      readConfig: () => ({ port: 0, dataFolder: home, pageFolder: '' }),
    });
  expect(await run('--set', 'x')).toMatchObject({
    code: 2,
    stderr: expect.stringContaining('expected with --session'),
  });
  expect(await run('--real-time', '--shift-per-player')).toMatchObject({ code: 2 });
  expect(await run('--from', '2026-03-02', '--until', '2026-03-01')).toMatchObject({ code: 2 });
  expect(await run('--from', '2026-02-30')).toMatchObject({ code: 2, stderr: expect.stringContaining('is no time') });
  expect(await run('--key', path.join(root, 'no', 'key.json'))).toMatchObject({
    code: 1,
    stderr: expect.stringContaining('has to be kept apart'),
  });
  expect(existsSync(path.join(root, 'no'))).toBe(false);
});
