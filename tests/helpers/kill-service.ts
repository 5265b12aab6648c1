import { type ChildProcess, fork } from 'node:child_process';
import { once } from 'node:events';
import { readdirSync } from 'node:fs';
import path from 'node:path';
import { fileURLToPath } from 'node:url';
import WebSocket from 'ws';
import { systemClock } from '../../src/devices/system-clock.ts';
import { silentLogger } from '../../src/foundation/logger.ts';
import { PracticeKeeper, recordingsFolder } from '../../src/server/practice/practice-keeper.ts';
import type { LiveDocument } from '../../src/server/wire/live-document.ts';
import { RecordingReader } from '../../src/sessions/recording/recording-reader.ts';
import { openRecordingFile } from '../../src/sessions/recording-file.ts';
import { defaultBallSettings } from '../../src/shots/shot.ts';

/** What a killed service left, against what it had told. */
export interface KilledService {
  /** Final shots that a client was told of. */
  readonly told: number;
  /** Those of them that are not in the database afterwards, or are other than told. */
  readonly lost: number;
  readonly stored: number;
  /** Most seconds of notifications of one sensor that were handed out and are not in the recording. */
  readonly missingS: number;
  /** Sessions that are still open after the next start. */
  readonly openSessions: number;
}

/** Packets of the simulated sensors span this much, s. */
const packetS = 0.025;

/** Starts a service with sensors, kills it after a while, starts it again and looks what is there. */
export async function killService(options: {
  readonly dataFolder: string;
  readonly seed: string;
  readonly sensorCount: number;
  readonly afterMs: number;
}): Promise<KilledService> {
  const { dataFolder, seed, sensorCount, afterMs } = options;
  const script = fileURLToPath(new URL('./recorded-service.ts', import.meta.url));
  const words = [dataFolder, seed, String(sensorCount)];
  const child: ChildProcess = fork(script, words, { execArgv: ['--import', 'tsx'] });
  const told = new Map<string, string>();
  let handedOut: Record<string, number> = {};
  const url = await new Promise<string>((resolve, reject) => {
    child.on('exit', (code) => reject(new Error(`the service ended with ${code} before it was killed`)));
    child.on('message', (message: { url?: string; handedOut?: Record<string, number> }) => {
      if (message.url !== undefined) resolve(message.url);
      if (message.handedOut !== undefined) handedOut = message.handedOut;
    });
  });
  const socket = new WebSocket(new URL('/api/live', url.replace('http', 'ws')));
  socket.on('error', () => {});
  socket.on('message', (data) => {
    const document = JSON.parse(String(data)) as LiveDocument;
    if (document.kind === 'shot' && document.shot.stage === 'final') {
      told.set(document.shotId, JSON.stringify(document));
    }
  });
  await new Promise((resolve) => setTimeout(resolve, afterMs));
  const gone = once(child, 'exit');
  child.kill('SIGKILL');
  await gone;
  socket.terminate();
  return lookAfter(dataFolder, told, handedOut);
}

async function lookAfter(
  dataFolder: string,
  told: ReadonlyMap<string, string>,
  handedOut: Readonly<Record<string, number>>,
): Promise<KilledService> {
  const options = {
    dataFolder,
    clock: systemClock,
    logger: silentLogger,
    simulated: false,
    settings: defaultBallSettings,
  };
  const keeper = await PracticeKeeper.open(options);
  const found = new Map(keeper.found.map((document) => [document.shotId, JSON.stringify(sorted(document))]));
  const lost = [...told].filter(([shotId, text]) => found.get(shotId) !== JSON.stringify(sorted(JSON.parse(text))));
  await keeper.recovered;
  const openSessions = (await keeper.store.sessions.openOnes()).length;
  await keeper.close();
  const folder = path.join(dataFolder, recordingsFolder);
  const newest = readdirSync(folder)
    .filter((name) => name.endsWith('.mcap'))
    .sort()
    .at(-1);
  const recorded = newest === undefined ? {} : await countRecorded(path.join(folder, newest));
  const missing = Object.entries(handedOut).map(([sensorId, count]) => count - (recorded[sensorId] ?? 0));
  return {
    told: told.size,
    lost: lost.length,
    stored: keeper.found.length,
    missingS: Math.max(0, ...missing) * packetS,
    openSessions,
  };
}

async function countRecorded(file: string): Promise<Record<string, number>> {
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

/** The same whatever the order of keys. */
function sorted(value: unknown): unknown {
  if (typeof value !== 'object' || value === null || Array.isArray(value)) return value;
  return Object.fromEntries(
    Object.entries(value)
      .sort(([a], [b]) => (a < b ? -1 : 1))
      .map(([key, inside]) => [key, sorted(inside)]),
  );
}
