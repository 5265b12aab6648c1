import path from 'node:path';
import { fileURLToPath } from 'node:url';
import { MessageChannel } from 'node:worker_threads';
import { Piscina } from 'piscina';
import type { SensorSetup } from '../../live/sensor-setup.ts';
import type { ClubStore } from '../../sessions/database/club-store.ts';
import type { Session } from '../../sessions/database/session-records.ts';
import type { Actor } from '../../sessions/database/store-context.ts';
import { analysisVersion, type BallSettings, defaultBallSettings } from '../../shots/shot.ts';
import { resultParameters } from '../analysis/sensor-setups.ts';
import type { AnalysedRecording, RecordingTask } from './analyse-recording.ts';
import { matchStoredShots } from './match-stored-shots.ts';

export interface ReanalysisOptions {
  readonly store: ClubStore;
  readonly recordingsFolder: string;
  /** The sessions to go through; those without a recording are told and left. */
  readonly sessions: readonly Session[];
  /** Go through those too that this version has gone through already. */
  readonly again: boolean;
  readonly threadCount: number;
  /** What is known of each sensor now; without it recordings are analysed as they are. */
  readonly setupOf?: (sensorId: string) => Promise<SensorSetup>;
  readonly onSession?: (result: SessionReanalysis) => void;
  /** Who asked for it, for the list of such runs. */
  readonly by?: Actor;
  /** Stops it; sessions that were gone through by then stay so, and the one that is being gone through stays as it was. */
  readonly signal?: AbortSignal;
  /** Told what share of a session's recording has been read. */
  readonly onShare?: (sessionId: string, share: number) => void;
  /** Another entry of the threads than `reanalysis-thread.ts`, with its task and result. */
  readonly threadFile?: URL;
}

/** What became of one session. */
export interface SessionReanalysis {
  readonly sessionId: string;
  readonly state: 'done' | 'done-before' | 'no-recording' | 'failed' | 'stopped';
  /** Shots found again, new ones, and those that were not found again and keep their old result. */
  readonly again: number;
  readonly added: number;
  readonly notFound: number;
  /** Records of a second sensor that are now part of the one record of their shot. */
  readonly absorbed: number;
  /** Shots found again of which a number is another than before. */
  readonly changed: number;
  /** Why it failed. */
  readonly message: string | null;
}

/**
 * Goes through recordings again, several at a time in threads, and puts the new results beside the old ones. A session is
 * stored as a whole or not at all; one that was stopped goes on with the sessions that are left.
 */
export async function reanalyseSessions(options: ReanalysisOptions): Promise<SessionReanalysis[]> {
  const { threadCount, sessions, onSession = () => {} } = options;
  const pool = new Piscina<RecordingTask, AnalysedRecording>({
    filename: fileURLToPath(options.threadFile ?? reanalysisThreadFile),
    minThreads: 1,
    maxThreads: threadCount,
    // What waits in the pool waits in memory.
    maxQueue: 'auto',
  });
  const results: SessionReanalysis[] = [];
  const waiting = [...sessions];
  const work = async (): Promise<void> => {
    for (let session = waiting.shift(); session; session = waiting.shift()) {
      if (options.signal?.aborted) return;
      const result = await reanalyseOne(session, options, pool);
      results.push(result);
      onSession(result);
    }
  };
  try {
    await Promise.all(Array.from({ length: threadCount }, work));
  } finally {
    await pool.close();
  }
  return results;
}

async function reanalyseOne(
  session: Session,
  { store, recordingsFolder, again, setupOf, by, signal, onShare }: ReanalysisOptions,
  pool: Piscina<RecordingTask, AnalysedRecording>,
): Promise<SessionReanalysis> {
  const none = { sessionId: session.id, again: 0, added: 0, absorbed: 0, notFound: 0, changed: 0, message: null };
  if (session.recording === null) return { ...none, state: 'no-recording' };
  if (!again && session.analysed_version === analysisVersion) return { ...none, state: 'done-before' };
  try {
    const settings: BallSettings = { ...defaultBallSettings, ...JSON.parse(session.settings) };
    const setups = setupOf ? await setupsOf(store, setupOf) : {};
    const file = path.join(recordingsFolder, session.recording);
    const share = onShare && shareChannel((read) => onShare(session.id, read));
    const { shots: found, sensors } = await pool
      .run(
        { file, settings, setups, ...(share && { share: share.port }) },
        { ...(share && { transferList: [share.port] }), signal: signal ?? null },
      )
      .finally(() => share?.close());
    if (signal?.aborted) return { ...none, state: 'stopped' };
    const before = await store.shots.all({ sessionId: session.id });
    const { again: pairs, added, absorbed, notFound } = matchStoredShots(before, found);
    const changed = pairs.filter(({ old, now }) => JSON.stringify(old.result.shot) !== JSON.stringify(now.shot)).length;
    await store.shots.storeReanalysis(session.id, {
      analysisVersion,
      parameters: resultParameters(
        settings,
        Object.entries(setups).filter(([id]) => id in sensors),
      ),
      again: pairs.map(({ old, now }) => ({ shotId: old.id, shot: now.shot })),
      added: added.map((now) => ({ ...now, playerId: null })),
      absorbed: absorbed.map(({ old, into }) => ({ shotId: old.id, intoShotId: into.id })),
      ...(by && { run: { by, changed, notFound: notFound.length } }),
    });
    return {
      ...none,
      state: 'done',
      again: pairs.length,
      added: added.length,
      absorbed: absorbed.length,
      notFound: notFound.length,
      changed,
    };
  } catch (error) {
    if (signal?.aborted) return { ...none, state: 'stopped' };
    return { ...none, state: 'failed', message: error instanceof Error ? error.message : String(error) };
  }
}

/** A way by which a thread tells how far it has read. */
export function shareChannel(take: (share: number) => void) {
  const { port1, port2 } = new MessageChannel();
  port1.on('message', take);
  port1.unref();
  return { port: port2, close: () => port1.close() };
}

export async function setupsOf(
  store: ClubStore,
  setupOf: (sensorId: string) => Promise<SensorSetup>,
): Promise<Record<string, SensorSetup>> {
  const sensors = await store.players.sensors();
  return Object.fromEntries(await Promise.all(sensors.map(async ({ id }) => [id, await setupOf(id)] as const)));
}

export const reanalysisThreadFile = new URL(
  import.meta.url.endsWith('.ts') ? './reanalysis-thread-from-source.mjs' : './reanalysis-thread.js',
  import.meta.url,
);
