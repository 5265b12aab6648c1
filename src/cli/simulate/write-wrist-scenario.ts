import { writeFile } from 'node:fs/promises';
import type { SensorNotification } from '../../foundation/sensor-notification.ts';
import { RecordingWriter } from '../../sessions/recording/recording-writer.ts';
import { encodePairedPractice, encodeWristPractice } from '../../simulate/arm/wrist-encoded.ts';
import { playerTruth, simulatePairedPractice, simulateWristPractice } from '../../simulate/arm/wrist-practice.ts';
import { wristScenarioNames, wristScenarioPractice } from '../../simulate/arm/wrist-scenarios.ts';
import { csvText } from './csv-text.ts';
import type { ScenarioFile, WrittenTruth } from './write-scenario.ts';

type Practice = ReturnType<typeof wristScenarioPractice>;

export function isWristScenario(scenario: string): boolean {
  return wristScenarioNames().includes(scenario);
}

/** Plays a scenario with a wrist sensor, and with one in the ball where it has one, into a recording. */
export async function writeWristScenario({ scenario, seed, file }: ScenarioFile): Promise<WrittenTruth> {
  const practice = wristScenarioPractice(scenario, seed);
  const isPaired = practice.scenario.sensors === 'ball and wrist';
  const about = { simulated: 'true', scenario, seed: String(seed) };
  if (/\.csv$/i.test(file)) return isPaired ? writePairedCsv(file, practice) : writeWristCsv(file, practice);
  return isPaired ? writePairedMcap(file, practice, about) : writeWristMcap(file, practice, about);
}

async function writeWristCsv(file: string, practice: Practice): Promise<WrittenTruth> {
  const { block, traits, truth } = simulateWristPractice(practice);
  await writeFile(file, csvText(block, traits));
  return counted({ ...truth, scenario: practice.scenario.name }, truth);
}

/** Two sensors do not go into one table: `x.csv` becomes `x.ball.csv` and `x.wrist.csv`. */
async function writePairedCsv(file: string, practice: Practice): Promise<WrittenTruth> {
  const { ball, wrist } = simulatePairedPractice(practice);
  const stem = file.replace(/\.csv$/i, '');
  await writeFile(`${stem}.ball.csv`, csvText(ball.block, ball.traits));
  await writeFile(`${stem}.wrist.csv`, csvText(wrist.block, wrist.traits));
  const document = { schemaVersion: 1, scenario: practice.scenario.name, ball: ball.truth, wrist: wrist.truth };
  return counted(document, wrist.truth);
}

async function writeWristMcap(
  file: string,
  practice: Practice,
  about: Readonly<Record<string, string>>,
): Promise<WrittenTruth> {
  const { description, sensor, chunks } = encodeWristPractice(practice);
  const told = new Told();
  const descriptions = new Map([[sensor.sensorId, description]]);
  await record(file, about, descriptions, function* () {
    for (const chunk of chunks) {
      told.add(chunk);
      yield chunk.notifications;
    }
  });
  const truth = wristDocument(practice, told);
  return counted({ ...truth, scenario: practice.scenario.name }, truth);
}

async function writePairedMcap(
  file: string,
  practice: Practice,
  about: Readonly<Record<string, string>>,
): Promise<WrittenTruth> {
  const { descriptions, sensors, chunks } = encodePairedPractice(practice);
  const ball = new Told();
  const wrist = new Told();
  const known = new Map([
    [sensors.ball.sensorId, descriptions.ball],
    [sensors.wrist.sensorId, descriptions.wrist],
  ]);
  await record(file, about, known, function* () {
    for (const chunk of chunks) {
      ball.add(chunk.ball);
      wrist.add(chunk.wrist);
      yield chunk.notifications;
    }
  });
  const { timeZeroTick, shots, decoys } = ball;
  const document = {
    schemaVersion: 1,
    scenario: practice.scenario.name,
    ball: { schemaVersion: 1, seed: String(practice.seed), timeZeroTick, shots, decoys },
    wrist: wristDocument(practice, wrist),
  };
  return counted(document, wrist);
}

function wristDocument(practice: Practice, { timeZeroTick, shots, decoys }: Told) {
  const player = playerTruth(practice.plan.player);
  return { schemaVersion: 1, seed: String(practice.seed), timeZeroTick, player, shots, decoys };
}

/** Gathers what the chunks of one sensor tell. */
class Told {
  readonly shots: unknown[] = [];
  readonly decoys: unknown[] = [];
  timeZeroTick = 0;

  add(chunk: {
    readonly shots: readonly unknown[];
    readonly decoys: readonly unknown[];
    readonly timeZeroTick: number | null;
  }): void {
    this.shots.push(...chunk.shots);
    this.decoys.push(...chunk.decoys);
    this.timeZeroTick = chunk.timeZeroTick ?? this.timeZeroTick;
  }
}

/** Writes notifications as they come, each sensor's description before its first. */
async function record(
  file: string,
  about: Readonly<Record<string, string>>,
  descriptions: ReadonlyMap<string, Uint8Array>,
  notifications: () => Generator<readonly SensorNotification[]>,
): Promise<void> {
  const writer = await RecordingWriter.create(file, about);
  const described = new Set<string>();
  try {
    for (const batch of notifications()) {
      for (const notification of batch) {
        const { sensorId, hostTimeS } = notification;
        const description = descriptions.get(sensorId);
        if (description && !described.has(sensorId)) {
          described.add(sensorId);
          await writer.describe(sensorId, description, hostTimeS);
        }
        await writer.add(notification);
      }
    }
  } finally {
    await writer.close();
  }
}

function counted(document: object, of: { readonly shots: readonly unknown[]; readonly decoys: readonly unknown[] }) {
  return { document, shots: of.shots.length, decoys: of.decoys.length };
}
