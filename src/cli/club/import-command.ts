import { copyFileSync, existsSync, mkdirSync, rmSync, statSync } from 'node:fs';
import path from 'node:path';
import { type Command, Option } from 'commander';
import { SeamwiseError } from '../../foundation/errors.ts';
import { decodeSensorDescription } from '../../protocol/sensor-description.ts';
import { recordingsFolder } from '../../server/practice/practice-keeper.ts';
import type { ClubStore } from '../../sessions/database/club-store.ts';
import type { Sensor } from '../../sessions/database/player-records.ts';
import type { Reanalysis } from '../../sessions/database/shot-records.ts';
import { openRecordingFile, startsAsMcap } from '../../sessions/recording-file.ts';
import { analysisVersion, type BallSettings, type Shot } from '../../shots/shot.ts';
import { analyzeFile } from '../analyze/analyze-file.ts';
import { addBallOptions, type BallWords, toBallSettings } from '../ball-options.ts';
import { numberWithin } from '../option-values.ts';
import { Progress } from '../progress.ts';
import type { Surroundings } from '../surroundings.ts';
import { UsageError } from '../usage-error.ts';
import { commandLine, withClub } from './open-club.ts';
import { findPlayer } from './players-command.ts';

interface ImportWords extends BallWords {
  readonly placement?: 'ball' | 'wrist';
  readonly filterDelay?: number;
  readonly player?: string;
  readonly started?: string;
  readonly name?: string;
  readonly json?: true;
}

/** A sensor that has no id of its own: that of a CSV file. */
const csvSensor = { ball: 'csv-ball', wrist: 'csv-wrist' } as const;

/** Adds `import` to the program. */
export function addImportCommand(program: Command, surroundings: Surroundings): void {
  const command = program
    .command('import')
    .summary('keep a recording as a session, with its shots')
    .description(
      'Analyses a recording as "analyze" does and keeps it as a session. A .mcap recording is copied into the data folder, so that it can be analysed again; of a CSV file the shots are kept. A file is taken as a whole or not at all.',
    )
    .argument('<file>', 'recording, .csv or .mcap')
    .addOption(new Option('--placement <where>', 'where the sensor was; needed for CSV').choices(['ball', 'wrist']))
    .option('--player <player>', 'whose shots they are')
    .option(
      '--started <instant>',
      "when t_s was 0, with its zone, such as 2026-11-20T18:00+01:00; of a CSV file without it: the file's own date",
    )
    .option('--name <name>', 'name of the session');
  addBallOptions(command)
    .option(
      '--filter-delay <ms>',
      "delay of the sensor's own low-pass filter, ms; for CSV",
      numberWithin(0, 1000, 'ms', '2.5'),
    )
    .option('--json', 'print what was kept as JSON')
    .action((file: string, words: ImportWords) =>
      withClub(surroundings, async (store, dataFolder) => {
        const kept = await importFile(store, dataFolder, path.resolve(file), words, surroundings);
        surroundings.stdout.write(
          words.json
            ? `${JSON.stringify(kept, null, 2)}\n`
            : `${kept.shotCount} shots are kept as a session; "seamwise sessions show last" shows the newest.\n`,
        );
      }),
    );
}

async function importFile(
  store: ClubStore,
  dataFolder: string,
  file: string,
  words: ImportWords,
  surroundings: Surroundings,
): Promise<{ sessionId: string; shotCount: number }> {
  const settings = toBallSettings(words);
  const player = words.player === undefined ? null : await findPlayer(store, words.player);
  if (player) await store.players.requireConsent(player.id, 'record');
  const opened = await openRecordingFile(file);
  await opened.handle.close();
  const isMcap = startsAsMcap(opened.head);
  const found = isMcap ? await fromMcap(file, settings, words) : await fromCsv(file, settings, words, surroundings);
  const recording = isMcap ? copyRecording(file, dataFolder) : null;
  let sessionId: string | null = null;
  try {
    for (const sensor of found.sensors) await store.players.seeSensor(sensor);
    sessionId = await store.sessions.start(commandLine, {
      name: words.name ?? path.basename(file, path.extname(file)),
      timeZone: Intl.DateTimeFormat().resolvedOptions().timeZone || 'UTC',
      simulated: false,
      recording,
      settings,
    });
    await store.sessions.changeTimes(sessionId, found.startedS, found.endedS);
    await store.shots.storeReanalysis(sessionId, {
      analysisVersion,
      parameters: settings,
      again: [],
      added: found.shots.map((shot) => ({ ...shot, playerId: player?.id ?? null })),
    });
    return { sessionId, shotCount: found.shots.length };
  } catch (error) {
    if (sessionId !== null) await store.sessions.discard(sessionId);
    if (recording !== null) rmSync(path.join(dataFolder, recordingsFolder, recording), { force: true });
    throw error;
  }
}

interface Found {
  readonly sensors: readonly Pick<Sensor, 'id' | 'placement' | 'description'>[];
  readonly startedS: number;
  readonly endedS: number;
  readonly shots: readonly Omit<Reanalysis['added'][number], 'playerId'>[];
}

async function fromMcap(file: string, settings: BallSettings, words: ImportWords): Promise<Found> {
  for (const [option, value] of [
    ['--placement', words.placement],
    ['--filter-delay', words.filterDelay],
    ['--started', words.started],
  ] as const) {
    if (value !== undefined)
      throw new UsageError(`option '${option}': expected with CSV only; a .mcap recording says it itself`);
  }
  const { analyseRecording } = await import('../../server/reanalysis/analyse-recording.ts');
  const { shots, firstS, lastS, sensors } = await analyseRecording({ file, settings });
  return {
    shots,
    startedS: firstS ?? 0,
    endedS: lastS ?? 0,
    sensors: Object.entries(sensors).map(([id, description]) => ({
      id,
      description,
      placement: decodeSensorDescription(Buffer.from(description, 'hex')).placement,
    })),
  };
}

async function fromCsv(
  file: string,
  settings: BallSettings,
  words: ImportWords,
  surroundings: Surroundings,
): Promise<Found> {
  const zeroS = words.started === undefined ? statSync(file).mtimeMs / 1000 : instantOf(words.started);
  const progress = new Progress(surroundings.stderr);
  const analysis = await analyzeFile(file, {
    settings,
    placement: words.placement ?? null,
    mount: null,
    sensorId: null,
    filterDelayS: words.filterDelay === undefined ? null : words.filterDelay / 1000,
    onProgress: (share) => progress.show(share),
  }).finally(() => progress.stop());
  const sensorId = csvSensor[words.placement ?? 'ball'];
  const sensors = [{ id: sensorId, placement: words.placement ?? 'ball', description: '' }];
  const shots = analysis.shots.map((shot) => ({
    sensorId,
    streamIndex: 0,
    atS: zeroS + (shot.releaseS ?? shot.contactS ?? 0),
    // The schema's type says array where the shot's says pair.
    shot: { ...shot, stage: 'final' } as unknown as Shot,
  }));
  return { shots, sensors, startedS: zeroS, endedS: zeroS + analysis.recording.durationS };
}

function copyRecording(file: string, dataFolder: string): string {
  const folder = path.join(dataFolder, recordingsFolder);
  mkdirSync(folder, { recursive: true, mode: 0o700 });
  const name = `${path.basename(file, path.extname(file))}.mcap`;
  const target = path.join(folder, name);
  if (existsSync(target)) {
    throw new SeamwiseError(
      'output-not-written',
      `a recording called ${name} is kept already: rename the file to keep another one`,
    );
  }
  copyFileSync(file, target);
  return name;
}

function instantOf(text: string): number {
  const ms = Date.parse(text);
  if (Number.isNaN(ms) || !/(Z|[+-]\d{2}:?\d{2})$/.test(text)) {
    throw new UsageError(
      `option '--started' is "${text}": expected an instant with its zone, such as 2026-11-20T18:00+01:00 or 2026-11-20T17:00Z`,
    );
  }
  return ms / 1000;
}
