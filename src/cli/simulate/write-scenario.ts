import { mkdir, writeFile } from 'node:fs/promises';
import { SeamwiseError } from '../../foundation/errors.ts';
import type { SensorNotification } from '../../foundation/sensor-notification.ts';
import { RecordingWriter } from '../../sessions/recording/recording-writer.ts';
import { encodePractice } from '../../simulate/encoded-practice.ts';
import { type PracticeOptions, simulatePractice } from '../../simulate/practice.ts';
import type { DecoyTruth, PracticeTruth, ShotTruth } from '../../simulate/practice-truth.ts';
import { scenarioPractice } from '../../simulate/scenarios.ts';
import { csvText } from './csv-text.ts';
import { isWristScenario, writeWristScenario } from './write-wrist-scenario.ts';

export interface ScenarioFile {
  readonly scenario: string;
  readonly seed: number;
  /** Path of the recording; its ending, `.mcap` or `.csv`, says what it becomes. */
  readonly file: string;
}

/** What a written scenario holds. */
export interface WrittenScenario {
  readonly file: string;
  readonly truthFile: string;
  readonly shots: number;
  readonly decoys: number;
}

/** The truth of a practice on its way into its file, with how much of it there is. */
export interface WrittenTruth {
  readonly document: object;
  readonly shots: number;
  readonly decoys: number;
}

/** What truly happened, as it stands in the file beside a recording. */
export interface TruthFile extends PracticeTruth {
  readonly scenario: string;
}

/**
 * Plays a scenario into a recording with a file of the truth beside it. The same scenario and seed give the same bytes.
 *
 * A CSV recording cannot state the delay of the sensor's filter, so the delay is taken out of its times.
 *
 * @throws SeamwiseError `output-not-written`.
 */
export async function writeScenario({ scenario, seed, file }: ScenarioFile): Promise<WrittenScenario> {
  const truthFile = `${file.replace(/\.(mcap|csv)$/i, '')}.truth.json`;
  try {
    const truth = isWristScenario(scenario)
      ? await writeWristScenario({ scenario, seed, file })
      : await writeBallScenario({ scenario, seed, file });
    await writeFile(truthFile, truthText(truth.document));
    return { file, truthFile, shots: truth.shots, decoys: truth.decoys };
  } catch (error) {
    throw explainWriteError(file, error);
  }
}

async function writeBallScenario({ scenario, seed, file }: ScenarioFile): Promise<WrittenTruth> {
  const options = scenarioPractice(scenario, seed);
  const practice = /\.csv$/i.test(file)
    ? await writeCsv(file, options)
    : await writeMcap(file, options, scenario, seed);
  const document: TruthFile = { ...practice, scenario };
  return { document, shots: practice.shots.length, decoys: practice.decoys.length };
}

/**
 * Makes a folder unless it is there.
 *
 * @throws SeamwiseError `output-not-written`.
 */
export async function makeFolder(folder: string): Promise<void> {
  try {
    await mkdir(folder, { recursive: true });
  } catch (error) {
    throw explainWriteError(folder, error);
  }
}

function explainWriteError(place: string, error: unknown): unknown {
  if (!(error instanceof Error && 'code' in error) || error instanceof SeamwiseError) return error;
  const why = error.code === 'ENOENT' ? 'the folder is not there' : error.message;
  return new SeamwiseError(
    'output-not-written',
    `${place}: expected a place that can be written to; ${why}. Name a folder that is there and that you may write to.`,
  );
}

/** Six decimals: the last digits of sines and powers differ between versions of Node. */
function truthText(truth: object): string {
  const round = (_key: string, value: unknown): unknown =>
    typeof value === 'number' ? Number(value.toFixed(6)) : value;
  return `${JSON.stringify(truth, round, 1)}\n`;
}

async function writeCsv(file: string, options: PracticeOptions): Promise<PracticeTruth> {
  const { block, traits, truth } = simulatePractice(options);
  await writeFile(file, csvText(block, traits));
  return truth;
}

async function writeMcap(
  file: string,
  options: PracticeOptions,
  scenario: string,
  seed: number,
): Promise<PracticeTruth> {
  const { description, sensor, chunks } = encodePractice(options);
  const writer = await RecordingWriter.create(file, { simulated: 'true', scenario, seed: String(seed) });
  const shots: ShotTruth[] = [];
  const decoys: DecoyTruth[] = [];
  let timeZeroTick = 0;
  let first: SensorNotification | null = null;
  try {
    for (const chunk of chunks) {
      for (const notification of chunk.notifications) {
        if (first === null) {
          first = notification;
          await writer.describe(sensor.sensorId, description, notification.hostTimeS);
        }
        await writer.add(notification);
      }
      shots.push(...chunk.shots);
      decoys.push(...chunk.decoys);
      timeZeroTick = chunk.timeZeroTick ?? timeZeroTick;
    }
  } finally {
    await writer.close();
  }
  return { schemaVersion: 1, seed: String(options.seed), timeZeroTick, shots, decoys };
}
