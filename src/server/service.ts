import { randomBytes } from 'node:crypto';
import { availableParallelism } from 'node:os';
import path from 'node:path';
import type { SensorProvider } from '../devices/sensor-provider.ts';
import { createSimulatedBall } from '../devices/simulated-practice.ts';
import { systemClock } from '../devices/system-clock.ts';
import { SeamwiseError } from '../foundation/errors.ts';
import { type Logger, silentLogger } from '../foundation/logger.ts';
import type { SensorSetup } from '../live/sensor-setup.ts';
import type { PathEvent } from '../live/sensor-streams.ts';
import type { MarkWords } from '../sessions/database/mark-records.ts';
import { JsonSensorCalibrations } from '../sessions/sensor-calibrations.ts';
import { JsonWristCalibrationStore } from '../sessions/wrist-calibration/json-wrist-calibration-store.ts';
import type { WristCalibrationStore } from '../sessions/wrist-calibration/wrist-calibration-store.ts';
import { type HostLine, toHost } from '../shots/merge/host-line.ts';
import { readTlsFiles } from './access/tls-files.ts';
import { AnalysisThreads } from './analysis/analysis-threads.ts';
import { sensorSetup } from './analysis/sensor-setups.ts';
import { buildServer } from './build-server.ts';
import { LiveWatch } from './coaching/live-watch.ts';
import { openDataFolder } from './data-folder.ts';
import { lockFolder } from './folder-lock.ts';
import { CourtUploader, type HandOverState } from './hub/court-uploader.ts';
import { LiveHub, type PublishedEvent } from './live-hub.ts';
import { SensorPair } from './pairing/sensor-pair.ts';
import { erasePlayerFrom } from './practice/erase-player.ts';
import { type KeptDocument, PracticeKeeper } from './practice/practice-keeper.ts';
import { tellChanges } from './practice/tell-changes.ts';
import { LiveSignals } from './research/live-signals.ts';
import { ResearchDesk } from './research/research-desk.ts';
import { SensorBoard } from './sensor-board.ts';
import { lanOptions, listen, networkUrl, ownUrl } from './service-network.ts';
import type { RunningService, ServiceOptions } from './service-options.ts';
import { ShotLog } from './shot-log.ts';
import { claimSpinReferences, spinReferenceFile } from './spin-references.ts';
import type { EventDocument } from './wire/live-document.ts';

const latestShotCount = 50;
/** More threads than these bring nothing for the sensors of one gym; one processor is left to what reads sensors and tells shots. */
const mostThreads = 4;
const refreshMs = 1000;
/** How often it is looked for shots whose partner of the other sensor did not come. */
const pairingMs = 250;
const checkMs = 10_000;
/** How often what is known of the sensors' clocks goes into the recording. */
const clockMs = 10_000;

/**
 * Starts the whole service: source → chains → documents → store and clients.
 *
 * @throws SeamwiseError `service-address`, `service-port`, `service-certificate`, `paired-devices-damaged`, `data-folder`, `data-folder-in-use`,
 * `database-unusable` or `database-version`.
 */
export async function startService(options: ServiceOptions): Promise<RunningService> {
  const { version, host = '127.0.0.1', port, clock = systemClock, logger = silentLogger } = options;
  if (host !== '127.0.0.1' && host !== '::1') {
    throw new SeamwiseError(
      'service-address',
      `the service listens on this machine alone: expected host 127.0.0.1 or ::1, got ${String(host)}`,
    );
  }
  const tls = options.tls ? await readTlsFiles(options.tls) : null;
  const scheme = tls === null ? 'http' : 'https';
  openDataFolder(options.dataFolder, logger);
  const source = options.source ?? createSimulatedBall({ clock, seed: options.seed ?? 1 });
  const { simulated } = source;
  const runId = randomBytes(6).toString('hex');
  const log = new ShotLog();
  let keeper: PracticeKeeper | null = null;
  let research: ResearchDesk | null = null;
  let handOver = (): Promise<HandOverState> | null => null;
  let opened = (): void => {};
  const ready = new Promise<void>((resolve) => {
    opened = resolve;
  });
  const storageFailure = () => keeper?.failure ?? null;
  const hub = new LiveHub({ log, clock, version, runId, simulated, latestShotCount, storageFailure, ready });
  const spinReferences = new JsonWristCalibrationStore(path.join(options.dataFolder, spinReferenceFile));
  const calibrations = new JsonSensorCalibrations(options.dataFolder);
  const liveSignals = new LiveSignals(() => clock.nowS());
  let lanUrl = (): string | null => null;
  const lan = options.lan ? await lanOptions(options, clock, () => lanUrl()) : null;
  const server = await buildServer({
    ...{ hub, source, spinReferences, calibrations, pageFolder: options.pageFolder, port, logger },
    practice: { keeper: () => ready.then(() => keeper), nowS: () => clock.nowS(), logger },
    research: () => research as ResearchDesk,
    liveSignals,
    handOver: async () => handOver(),
    ...(lan === null ? {} : { lan }),
    ...(tls === null ? {} : { tls }),
  });
  const boundPort = await listen(server, lan === null ? host : '::', port);
  const url = ownUrl(scheme, host, boundPort);
  if (lan !== null) lanUrl = () => networkUrl(scheme, boundPort);
  let unlockFolder = (): void => {};
  try {
    unlockFolder = await lockFolder(options.dataFolder, { url, runId });
    const { dataFolder, settings } = options;
    keeper = await PracticeKeeper.open({ dataFolder, clock, logger, simulated, settings });
    research = openResearchDesk(options, spinReferences);
  } catch (error) {
    unlockFolder();
    opened();
    await server.close();
    throw error;
  }
  log.takeFound(keeper.found);
  opened();
  const kept = keeper;
  await claimSpinReferences(spinReferences, kept.store.players).catch((error: unknown) =>
    logger.error({ error }, 'reference shots kept by name could not be given to players'),
  );
  await tellChanges(kept.store, hub, logger);
  const { store } = kept;
  const watch = new LiveWatch({ store, logger, onChange: (sessionId) => hub.tellChange('coaching', sessionId) });
  const setupOf = async (sensorId: string): Promise<SensorSetup> => {
    const setup = await sensorSetup(sensorId, {
      calibrations,
      references: spinReferences,
      players: kept.store.players,
      onTrouble: (id, why) => logger.error({ sensorId: id, why }, 'a sensor goes on without calibration or references'),
    });
    kept.takeSetup(sensorId, setup);
    liveSignals.takeSetup(sensorId, setup);
    return setup;
  };
  const uploader = options.hub
    ? new CourtUploader({
        ...{ store, hub: options.hub, recordingsFolder: kept.recordingsFolder, logger, calibrations },
        erase: (playerId) => eraseOutsidePractice(kept, options.dataFolder, playerId),
      })
    : null;
  handOver = () => uploader?.state() ?? null;
  const stopPath = followSource(
    source,
    hub,
    kept,
    { setupOf, watch, liveSignals, onKept: () => uploader?.wake() },
    options,
  );
  const checking = setInterval(() => hub.checkClients(), checkMs);
  source.open(options.wantedSensors ?? 'any');
  logger.info({ url, simulated: source.simulated, shots: log.latestShots(latestShotCount).length }, 'listening');

  const stop = async (): Promise<void> => {
    clearInterval(checking);
    await source.close();
    await stopPath();
    await server.close();
    await research?.close();
    await uploader?.close();
    await kept.close();
    unlockFolder();
    logger.info({}, 'stopped');
  };
  let stopping: Promise<void> | null = null;
  return {
    url,
    lanUrl: lanUrl(),
    close: () => {
      stopping ??= stop();
      return stopping;
    },
  };
}

function openResearchDesk(options: ServiceOptions, references: WristCalibrationStore): ResearchDesk {
  const { dataFolder, version, clock = systemClock, logger = silentLogger, importThread = null } = options;
  return new ResearchDesk({
    ...{ dataFolder, version, logger, importThread, nowS: () => clock.nowS() },
    setupOf: (store, sensorId) =>
      sensorSetup(sensorId, {
        calibrations: new JsonSensorCalibrations(dataFolder),
        references,
        players: store.players,
        onTrouble: (id, why) =>
          logger.warn({ sensorId: id, why }, 'a sensor is read without calibration or references'),
      }),
  });
}

interface FollowOptions {
  readonly setupOf: (sensorId: string) => Promise<SensorSetup>;
  readonly watch: LiveWatch;
  readonly liveSignals: LiveSignals;
  /** Told when a shot is kept. */
  readonly onKept: () => void;
}

/** Deletes a player who was erased elsewhere. @returns false while the player is in the practice that runs, which is recorded. */
async function eraseOutsidePractice(keeper: PracticeKeeper, dataFolder: string, playerId: string): Promise<boolean> {
  const { store, sessionId } = keeper;
  await keeper.recovered;
  if (sessionId !== null && (await store.shots.counts({ sessionId, playerId })).length > 0) return false;
  await erasePlayerFrom(store, dataFolder, playerId);
  return true;
}

/** Sends what the source gives through the chains to the hub. @returns waits for the end and tidies up. */
function followSource(
  source: SensorProvider,
  hub: LiveHub,
  keeper: PracticeKeeper,
  { setupOf, watch, liveSignals, onKept }: FollowOptions,
  options: ServiceOptions,
): () => Promise<void> {
  const { logger = silentLogger } = options;
  source.states.subscribe((change) => keeper.takeState(change));
  source.notifications.subscribe((notification) => keeper.takeNotification(notification));
  const path = new AnalysisThreads({
    settings: options.settings,
    threadCount: options.threadCount ?? Math.max(1, Math.min(mostThreads, availableParallelism() - 1)),
    notifications: source.notifications,
    states: source.states,
    setupOf,
  });
  source.states.subscribe((change) => liveSignals.takeState(change));
  liveSignals.attach({
    follow: (take) => path.follow(take),
    clockOf: (sensorId) => path.summary(sensorId)?.clock.host ?? null,
    rateOf: (sensorId) => path.summary(sensorId)?.sampleRateHz ?? null,
  });
  const board = new SensorBoard((sensorId) => path.summary(sensorId));
  source.states.subscribe((change) => board.takeRemedy(change));
  source.information.subscribe((information) => {
    const sensor = board.takeInformation(information);
    if (sensor) hub.setSensor(sensor);
  });
  source.providerStates.subscribe((state) => {
    const remedy = state.state === 'unavailable' ? state.remedy : null;
    hub.setSource({ kind: source.kind, state: state.state, detail: state.detail, remedy });
    if (state.state === 'unavailable' && state.reason !== 'no-page') logger.warn({ remedy }, state.detail);
  });
  let toldFailure: string | null = null;
  const refreshing = setInterval(() => {
    const sensors = board.refresh();
    for (const sensor of sensors) hub.setSensor(sensor);
    if (sensors.length === 0 || (keeper.failure === null) !== (toldFailure === null)) hub.greetAll();
    toldFailure = keeper.failure;
  }, refreshMs);
  const streamIndices = new Map<string, number>();
  const noteClocks = (): void => {
    for (const [sensorId, streamIndex] of streamIndices) {
      const clock = path.summary(sensorId)?.clock;
      if (clock) keeper.takeClock(sensorId, streamIndex, clock);
    }
  };
  const clocks = setInterval(noteClocks, clockMs);
  // One after the other: no client hears of a shot before it is kept, nor of a later one before an earlier one.
  let telling = Promise.resolve();
  const tell = async (event: PublishedEvent): Promise<void> => {
    const document = hub.prepare(event);
    const isKept = await keeper.keep(document, event);
    hub.tell(asKept(document, isKept));
    onKept();
    const { sessionId } = keeper;
    // Looked at for faults after it was told: no shot waits for that.
    if (isKept.playerId != null && sessionId !== null) void watch.take(isKept.playerId, sessionId);
  };
  const tellAll = (events: readonly PublishedEvent[]): void => {
    for (const event of events) telling = telling.then(() => tell(event));
  };
  const pair = new SensorPair((sensorId) => path.summary(sensorId)?.clock.host ?? null);
  // Which sensors there are is told in the order of the path, where shots of before a change come before it.
  const descriptions = new Map<string, Uint8Array>();
  source.states.subscribe((change) => {
    if (change.description) descriptions.set(change.sensorId, change.description);
    // Its setup is looked up first: another sensor's shots may come meanwhile.
    pair.expect(change);
  });
  const pairing = setInterval(() => tellAll(pair.advance((options.clock ?? systemClock).nowS())), pairingMs);
  const ended = new Promise<void>((resolve) => {
    path.events.subscribe({
      next(event) {
        streamIndices.set(event.sensorId, event.streamIndex);
        if (event.kind === 'analysis') tellAll(pair.take(event));
        if (event.kind === 'stream' && event.event.kind === 'taps') {
          const line = path.summary(event.sensorId)?.clock.host ?? null;
          if (line !== null) keeper.takeTaps(tapMark(event, event.event, line));
        }
        if (event.kind === 'state') {
          const description = event.state === 'streaming' ? (descriptions.get(event.sensorId) ?? null) : null;
          tellAll(pair.takeState({ ...event, description }));
        }
        const sensor = board.take(event);
        if (sensor) hub.setSensor(sensor);
        logEvent(event, logger);
      },
      error(error: unknown) {
        logger.error({ error: error instanceof Error ? error.message : String(error) }, 'the path of packets broke');
        resolve();
      },
      complete: resolve,
    });
  });
  return async () => {
    await ended;
    clearInterval(pairing);
    tellAll(pair.finish((options.clock ?? systemClock).nowS()));
    await telling;
    await watch.idle();
    clearInterval(refreshing);
    clearInterval(clocks);
    noteClocks();
  };
}

/** @returns a document as it is told, with what came of keeping it. */
function asKept(document: EventDocument, { isKept, playerId }: KeptDocument): EventDocument {
  if (document.kind !== 'shot') return document;
  if (!isKept) return { ...document, stored: false };
  return playerId === undefined ? document : { ...document, playerId, outcome: 'unknown' };
}

/** @returns the mark of three taps: the third of them, brought from the sensor's clock to this machine's. */
function tapMark(
  { sensorId, streamIndex }: PathEvent,
  { tapsS, standardErrorS }: { readonly tapsS: readonly [number, number, number]; readonly standardErrorS: number },
  line: HostLine,
): MarkWords {
  const sensorTimeS = tapsS[2];
  const { hostS, standardErrorS: lineErrorS } = toHost(line, sensorTimeS);
  const uncertaintyS = Math.hypot(standardErrorS, lineErrorS);
  return { atS: hostS, uncertaintyS, origin: 'taps', name: '', sensor: { sensorId, streamIndex, sensorTimeS } };
}

function logEvent(event: PathEvent, logger: Logger): void {
  const { sensorId } = event;
  if (event.kind === 'fault') logger.error({ sensorId, error: event.message }, 'the analysis of a sensor failed');
  if (event.kind === 'state') logger.info({ sensorId, state: event.state, detail: event.detail }, 'sensor');
  if (event.kind === 'stream' && event.event.kind === 'restart') logger.info({ sensorId }, event.event.message);
}
