import path from 'node:path';
import type { Clock } from '../../foundation/clock.ts';
import type { ClubStore } from '../../sessions/database/club-store.ts';
import type { ImportedMark, ImportedSession, ImportedShot } from '../../sessions/database/import-session.ts';
import type { Actor } from '../../sessions/database/store-context.ts';
import type { CsvMapping } from '../../sessions/exchange/csv-mapping.ts';
import { openRecordingFile, startsAsMcap } from '../../sessions/recording-file.ts';
import type { MergedShot } from '../../shots/merge/merge-shots.ts';
import { type ArmMount, analysisVersion, type BallSettings, type Shot } from '../../shots/shot.ts';
import { UsageError } from '../usage-error.ts';
import { findInCsvFiles } from './import-csv.ts';
import { findInRecording } from './import-recording.ts';
import { keepCopy } from './keep-copy.ts';
import { commandLine } from './open-club.ts';

/** What a person says of one CSV file. */
export interface CsvSource {
  readonly placement: 'ball' | 'wrist' | null;
  readonly mount: ArmMount | null;
  readonly mapping: CsvMapping | null;
  readonly filterDelayS: number | null;
}

export interface ImportOptions {
  readonly settings: BallSettings;
  /** Those of them that the person said. */
  readonly saidSettings: Partial<BallSettings>;
  /** One for each file. */
  readonly sources: readonly CsvSource[];
  readonly playerId: string | null;
  /** When t_s of CSV files was 0. */
  readonly startedS: number | null;
  readonly timeZone: string;
  readonly name: string | null;
  /** Options that were said and that only a CSV recording needs. */
  readonly csvWords: readonly string[];
  readonly stderr: NodeJS.WritableStream;
  /** Who asks, for the log of changes; default the command line. */
  readonly actor?: Actor;
  /** Told how far the reading is, share 0..1; default a bar on `stderr`. */
  readonly onShare?: (share: number) => void;
  readonly clock?: Clock;
}

/** Where the start of a session is known from. */
export type StartFrom = 'recording' | 'said' | 'file-date' | 'times-since-1970';

/** What was found in recordings, before it is kept. */
export interface FoundSession {
  readonly sensors: ImportedSession['sensors'];
  readonly startedS: number;
  readonly endedS: number;
  readonly startFrom: StartFrom;
  readonly simulated: boolean;
  readonly settings: BallSettings;
  readonly parameters: unknown;
  readonly shots: readonly Omit<ImportedShot, 'playerId'>[];
  readonly marks: readonly ImportedMark[];
  readonly warnings: readonly string[];
}

/** What an import kept, for whoever asked for it. */
export interface KeptImport {
  readonly sessionId: string;
  readonly shotCount: number;
  /** Shots that a sensor in the ball and one on the arm both saw. */
  readonly mergedCount: number;
  readonly startedAtS: number;
  readonly timeZone: string;
  readonly startFrom: StartFrom;
  readonly warnings: readonly string[];
}

/**
 * Analyses recordings of one practice and keeps them as one session: all of it or nothing.
 *
 * @throws UnreadableRecordingError, UsageError, or SeamwiseError `no-consent`, `store-value` or `output-not-written`.
 */
export async function importFiles(
  store: ClubStore,
  dataFolder: string,
  files: readonly string[],
  options: ImportOptions,
): Promise<KeptImport> {
  const { playerId, timeZone, name } = options;
  if (playerId !== null) await store.players.requireConsent(playerId, 'record');
  const recording = await theRecording(files);
  if (recording !== null && options.csvWords.length > 0) {
    throw new UsageError(`option '${options.csvWords[0]}': expected with CSV only; a .mcap recording says it itself`);
  }
  const found = await (recording === null
    ? findInCsvFiles(files, options)
    : findInRecording(store, dataFolder, recording, options));
  const copy = recording === null ? null : await keepCopy(store, recording, dataFolder);
  const first = files[0] ?? '';
  try {
    const { shots, warnings, startFrom, startedS, endedS, simulated, settings, parameters, sensors, marks } = found;
    const sessionId = await store.importSession(options.actor ?? commandLine, {
      name: name ?? path.basename(first, path.extname(first)).slice(0, 120),
      startedS,
      endedS,
      timeZone,
      simulated,
      recording: copy?.name ?? null,
      settings,
      analysisVersion,
      parameters,
      sensors,
      shots: shots.map((shot) => ({ ...shot, playerId })),
      marks,
    });
    const mergedCount = shots.filter(({ shot }) => isOfBoth(shot)).length;
    return { sessionId, shotCount: shots.length, mergedCount, startedAtS: startedS, timeZone, startFrom, warnings };
  } catch (error) {
    copy?.takeAway();
    throw error;
  }
}

/** @returns the .mcap recording among the files, which then has to be the only one; null where all are CSV. */
async function theRecording(files: readonly string[]): Promise<string | null> {
  const recordings: string[] = [];
  for (const file of files) {
    const opened = await openRecordingFile(file);
    await opened.handle.close();
    if (startsAsMcap(opened.head) || file.toLowerCase().endsWith('.mcap')) recordings.push(file);
  }
  const [first] = recordings;
  if (first === undefined) {
    const twice = files.find((file, at) => files.indexOf(file) !== at);
    if (twice !== undefined) throw new UsageError(`${twice} is named twice: expected each file once`);
    return null;
  }
  if (files.length === 1) return first;
  throw new UsageError(
    `${first} is one of ${files.length} files: expected one .mcap recording alone (it can hold several sensors), or CSV files alone; import others as sessions of their own`,
  );
}

function isOfBoth(shot: Shot): boolean {
  const { ball, wrist } = shot as Shot & Partial<MergedShot>;
  return Boolean(ball && wrist);
}
