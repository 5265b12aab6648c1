import { type ChildProcess, fork } from 'node:child_process';
import { once } from 'node:events';
import { existsSync, readdirSync } from 'node:fs';
import path from 'node:path';
import { fileURLToPath } from 'node:url';
import { systemClock } from '../../src/devices/system-clock.ts';
import { silentLogger } from '../../src/foundation/logger.ts';
import { PracticeKeeper, recordingsFolder } from '../../src/server/practice/practice-keeper.ts';
import type { ShotDocument } from '../../src/server/wire/live-document.ts';
import { RecordingReader } from '../../src/sessions/recording/recording-reader.ts';
import { openRecordingFile } from '../../src/sessions/recording-file.ts';
import { defaultBallSettings } from '../../src/shots/shot.ts';
import { TaggingClient, type Told } from './tagging-client.ts';

/** What a service told and handed out until it ended. */
export interface ServiceRun {
  readonly shots: ReadonlyMap<string, Told>;
  readonly tags: ReadonlyMap<string, Told>;
  readonly unstored: ReadonlySet<string>;
  /** Notifications of each sensor that had been handed out, as the service said at instants of the monotonic clock. */
  readonly handedOut: readonly Counts[];
  /** Those that a sync of the recording had seen to the disk. */
  readonly synced: readonly Counts[];
}

/** Notifications by sensor, at an instant of the monotonic clock. */
interface Counts {
  readonly atNs: bigint;
  readonly counts: Readonly<Record<string, number>>;
}

/** What a service that ended hard left, against what it had told until an instant. */
export interface LeftBehind {
  /** Final shots that a client was told of as stored. */
  readonly told: number;
  /** Those of them that are not in the database afterwards, or are other than told. */
  readonly lost: number;
  /** Outcomes that were confirmed to a client. */
  readonly tagged: number;
  readonly lostTags: number;
  readonly stored: number;
  /** Most seconds of notifications of one sensor that were handed out and are not in the recording. */
  readonly missingS: number;
  /** Notifications that a sync had seen to the disk and that are not in the recording. */
  readonly lostSynced: number;
  /** Syncs of the recording until then. */
  readonly syncs: number;
  /** Sessions that are still open after the next start. */
  readonly openSessions: number;
}

export interface RunOptions {
  readonly dataFolder: string;
  readonly seed: string;
  readonly sensorCount: number;
  readonly afterMs: number;
  /** It is not killed before a client has tagged so many shots, however slow the machine is; none by default. */
  readonly leastTags?: number;
  /** Environment of the service beside that of this process. */
  readonly environment?: Readonly<Record<string, string>>;
  /** What happens to the service, by its address; it is not killed before that is over. */
  readonly course?: (url: string) => Promise<void>;
}

/** Packets of the simulated sensors span this much, s. */
const packetS = 0.025;
const mostWaitMs = 240_000;

/** Starts a service with sensors, kills it after a while, starts it again and looks what is there. */
export async function killService(options: RunOptions): Promise<LeftBehind> {
  return lookAfter(options.dataFolder, await runAndKill(options));
}

/** Starts a service with sensors and a client that tags shots, and kills it after a while. */
export async function runAndKill(options: RunOptions): Promise<ServiceRun> {
  const { dataFolder, seed, sensorCount, afterMs, leastTags = 0, environment, course } = options;
  const script = fileURLToPath(new URL('./recorded-service.ts', import.meta.url));
  const child: ChildProcess = fork(script, [dataFolder, seed, String(sensorCount)], {
    execArgv: ['--import', 'tsx'],
    env: { ...process.env, ...environment },
  });
  const handedOut: Counts[] = [];
  const synced: Counts[] = [];
  const url = await new Promise<string>((resolve, reject) => {
    child.on('exit', (code) => reject(new Error(`the service ended with ${code} before it was killed`)));
    type Said = { readonly [name in 'handedOut' | 'synced']?: Counts['counts'] } & { url?: string; atNs?: string };
    child.on('message', ({ url, atNs = '0', ...said }: Said) => {
      if (url !== undefined) resolve(url);
      if (said.handedOut !== undefined) handedOut.push({ atNs: BigInt(atNs), counts: said.handedOut });
      if (said.synced !== undefined) synced.push({ atNs: BigInt(atNs), counts: said.synced });
    });
  });
  const client = new TaggingClient(url);
  const over = course?.(url);
  await new Promise((resolve) => setTimeout(resolve, afterMs));
  for (let waitedMs = 0; client.tags.size < leastTags && waitedMs < mostWaitMs; waitedMs += 100) {
    await new Promise((resolve) => setTimeout(resolve, 100));
  }
  await over;
  const gone = once(child, 'exit');
  child.kill('SIGKILL');
  await gone;
  client.close();
  return { shots: client.shots, tags: client.tags, unstored: client.unstored, handedOut, synced };
}

/**
 * Opens a data folder as the next start would, and holds it against what had been told.
 *
 * @param untilNs only what had been told by then counts; all of it by default.
 */
export async function lookAfter(
  dataFolder: string,
  run: ServiceRun,
  untilNs: bigint | null = null,
): Promise<LeftBehind> {
  const options = {
    dataFolder,
    clock: systemClock,
    logger: silentLogger,
    simulated: false,
    settings: defaultBallSettings,
  };
  const byThen = (told: ReadonlyMap<string, Told>) =>
    [...told].filter(([, { atNs }]) => untilNs === null || atNs <= untilNs);
  const keeper = await PracticeKeeper.open(options);
  const found = new Map(keeper.found.map((document) => [document.shotId, asTold(document)]));
  const told = byThen(run.shots);
  const lost = told.filter(([shotId, { text }]) => found.get(shotId) !== asTold(JSON.parse(text)));
  await keeper.recovered;
  const openSessions = (await keeper.store.sessions.openOnes()).length;
  const outcomes = new Map<string, string>();
  // A client that comes to a service started anew is told of the shots before, too, and tags them.
  const sessions = await keeper.store.sessions.list({ limit: 1000 });
  const [newest] = sessions;
  for (const { id } of sessions) {
    for (const { told_id, outcome } of await keeper.store.shots.all({ sessionId: id }))
      outcomes.set(told_id ?? '', outcome);
  }
  const tagged = byThen(run.tags);
  const lostTags = tagged.filter(([shotId, { text }]) => outcomes.get(shotId) !== text);
  const recording = newest?.recording ?? null;
  await keeper.close();
  const folder = path.join(dataFolder, recordingsFolder);
  const recorded = recording === null ? {} : await countRecorded(path.join(folder, recording));
  const missingOf = (all: readonly Counts[]) => {
    const counts = all.findLast(({ atNs }) => untilNs === null || atNs <= untilNs)?.counts ?? {};
    return Object.entries(counts).map(([sensorId, count]) => count - (recorded[sensorId] ?? 0));
  };
  return {
    told: told.length,
    lost: lost.length,
    tagged: tagged.length,
    lostTags: lostTags.length,
    stored: keeper.found.length,
    missingS: Math.max(0, ...missingOf(run.handedOut)) * packetS,
    lostSynced: missingOf(run.synced).reduce((sum, count) => sum + Math.max(0, count), 0),
    syncs: run.synced.filter(({ atNs }) => untilNs === null || atNs <= untilNs).length,
    openSessions,
  };
}

/** @returns names of the recordings of a data folder. */
export function recordingNames(dataFolder: string): string[] {
  const folder = path.join(dataFolder, recordingsFolder);
  return existsSync(folder) ? readdirSync(folder).filter((name) => name.endsWith('.mcap')) : [];
}

/** @returns notifications of each sensor in a recording. @throws Error when it was not closed. */
export async function countRecorded(file: string): Promise<Record<string, number>> {
  const opened = await openRecordingFile(file);
  try {
    const reader = await RecordingReader.open(opened);
    if (!reader.hasEnd) throw new Error(`${path.basename(file)} was not closed by the recovery`);
    const counts: Record<string, number> = {};
    for await (const { kind, sensorId } of reader.entries()) {
      if (kind === 'notification') counts[sensorId] = (counts[sensorId] ?? 0) + 1;
    }
    return counts;
  } finally {
    await opened.handle.close();
  }
}

/** A shot as it was told first: what became of it is looked at apart. */
function asTold({ outcome, ...document }: ShotDocument): string {
  return JSON.stringify(sorted(document));
}

/** The same whatever the order of keys. */
function sorted(value: unknown): unknown {
  if (typeof value !== 'object' || value === null || Array.isArray(value)) return value;
  return Object.fromEntries(
    Object.entries(value)
      .sort(([a], [b]) => (a < b ? -1 : 1))
      .map(([key, inside]) => [key, sorted(inside)]),
  );
}
