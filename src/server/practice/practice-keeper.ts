import { mkdirSync } from 'node:fs';
import path from 'node:path';
import type { SensorStateEvent } from '../../devices/notification-source.ts';
import type { Clock } from '../../foundation/clock.ts';
import type { Logger } from '../../foundation/logger.ts';
import type { SensorNotification } from '../../foundation/sensor-notification.ts';
import type { SensorSetup } from '../../live/sensor-setup.ts';
import { decodeSensorDescription } from '../../protocol/sensor-description.ts';
import { ClubStore } from '../../sessions/database/club-store.ts';
import type { Actor } from '../../sessions/database/store-context.ts';
import { RecordingWriter } from '../../sessions/recording/recording-writer.ts';
import { analysisVersion, type BallSettings } from '../../shots/shot.ts';
import { resultParameters } from '../analysis/sensor-setups.ts';
import type { PublishedEvent } from '../live-hub.ts';
import type { NumberedDocument, ShotDocument } from '../wire/live-document.ts';
import { recoverRecordings } from './recover-recordings.ts';

export interface PracticeKeeperOptions {
  /** An existing folder. */
  readonly dataFolder: string;
  readonly clock: Clock;
  readonly logger: Logger;
  /** Sessions of simulated sensors are marked, and their notifications are not recorded: a seed makes them again. */
  readonly simulated: boolean;
  readonly settings: BallSettings;
}

/** Told shots that are read at a start. */
const foundCount = 1000;
const service: Actor = { role: 'host', name: 'service' };
export const databaseFile = 'seamwise.db';
export const recordingsFolder = 'recordings';

interface OpenSession {
  readonly id: string;
  readonly recording: RecordingWriter | null;
}

/**
 * Keeps a practice: the session in the database, every shot before a client is told of it, every notification in a
 * recording. What cannot be kept is told and never stops the practice.
 */
export class PracticeKeeper {
  readonly store: ClubStore;
  /** Shots that earlier runs told, oldest first. */
  readonly found: readonly NumberedDocument[];
  readonly #options: PracticeKeeperOptions;
  /** Resolves when what a killed run left is in order. */
  readonly recovered: Promise<void>;
  #session: Promise<OpenSession | null> | null = null;
  #recording: RecordingWriter | null = null;
  /** What is to be recorded until the recording is there. */
  #early: (SensorNotification | SensorStateEvent)[] = [];
  #storeFailure: string | null = null;
  readonly #setups = new Map<string, SensorSetup>();

  private constructor(options: PracticeKeeperOptions, store: ClubStore, found: readonly NumberedDocument[]) {
    this.#options = options;
    this.store = store;
    this.found = found;
    this.recovered = recoverRecordings(store, this.#recordingsFolder, options.logger);
  }

  /** @throws SeamwiseError `database-unusable` or `database-version`. */
  static async open(options: PracticeKeeperOptions): Promise<PracticeKeeper> {
    const { dataFolder, clock } = options;
    mkdirSync(path.join(dataFolder, recordingsFolder), { recursive: true, mode: 0o700 });
    const store = await ClubStore.open({ file: path.join(dataFolder, databaseFile), nowS: () => clock.nowS() });
    const found = (await store.shots.latestTold(foundCount)).map(
      ({ seq, head, shot }) => ({ ...head, seq, shot }) as ShotDocument,
    );
    return new PracticeKeeper(options, store, found);
  }

  get #recordingsFolder(): string {
    return path.join(this.#options.dataFolder, recordingsFolder);
  }

  /** Why shots or notifications cannot be kept at the moment, or null. */
  get failure(): string | null {
    return this.#storeFailure ?? this.#recording?.trouble ?? null;
  }

  /** Takes a sensor's change of state; the first stream begins a session. */
  takeState(change: SensorStateEvent): void {
    if (change.description === null) return;
    this.#session ??= this.#startSession(change.hostTimeS);
    this.#record(change);
    const { sensorId, description } = change;
    void this.store.players
      .seeSensor({
        id: sensorId,
        placement: placementOf(description),
        description: Buffer.from(description).toString('hex'),
      })
      .catch((error: unknown) => this.#fail(error));
  }

  /** Remembers what a sensor's shots are analysed with from now on. */
  takeSetup(sensorId: string, setup: SensorSetup): void {
    this.#setups.set(sensorId, setup);
  }

  /** Takes a notification for the recording. */
  takeNotification(notification: SensorNotification): void {
    this.#record(notification);
  }

  /** Resolves when the shot of a document is on the disk, or could not be put there. Other documents need not be kept. */
  async keep(
    document: NumberedDocument,
    { streamIndex, releaseHostS }: Pick<PublishedEvent, 'streamIndex' | 'releaseHostS'>,
  ): Promise<void> {
    if (document.kind !== 'shot' || document.shot.stage !== 'final') return;
    const session = await this.#session;
    if (!session) return;
    const { shot, seq, ...head } = document;
    const place = {
      sessionId: session.id,
      setId: null,
      playerId: null,
      sensorId: document.sensorId,
      streamIndex,
      atS: releaseHostS ?? document.hostTimeS - secondsBetween(shot.releaseS, shot.contactS),
    };
    try {
      const parameters = resultParameters(this.#options.settings, this.#setups);
      const analysed = { shot, analysisVersion, parameters };
      await this.store.shots.add(place, analysed, { seq, head });
      if (this.#storeFailure !== null) this.#options.logger.info({}, 'shots are stored again');
      this.#storeFailure = null;
    } catch (error) {
      this.#fail(error);
    }
  }

  /** Ends the session and writes what is left. */
  async close(): Promise<void> {
    await this.recovered;
    const session = await this.#session;
    await session?.recording?.close();
    if (session) {
      await this.store.sessions
        .change(service, session.id, { ended: true })
        .catch((error: unknown) => this.#fail(error));
    }
    await this.store.close();
  }

  async #startSession(hostTimeS: number): Promise<OpenSession | null> {
    const { clock, simulated, settings, logger } = this.#options;
    const at = new Date(clock.nowS() * 1000).toISOString();
    const name = simulated ? null : `${at.slice(0, 19).replaceAll(':', '-')}Z.mcap`;
    let recording: RecordingWriter | null = null;
    if (name !== null) {
      try {
        recording = await RecordingWriter.create(
          path.join(this.#recordingsFolder, name),
          { startedAt: at },
          { syncEveryMs: 250, onTrouble: (trouble) => tellTrouble(logger, name, trouble) },
        );
        await recording.note('settings', settings, hostTimeS);
      } catch (error) {
        tellTrouble(logger, name, error instanceof Error ? error.message : String(error));
      }
    }
    this.#recording = recording;
    const early = this.#early;
    this.#early = [];
    if (recording) for (const item of early) this.#record(item);
    try {
      const timeZone = Intl.DateTimeFormat().resolvedOptions().timeZone || 'UTC';
      const words = { name: '', timeZone, simulated, recording: recording && name, settings };
      return { id: await this.store.sessions.start(service, words), recording };
    } catch (error) {
      this.#fail(error);
      return null;
    }
  }

  #record(item: SensorNotification | SensorStateEvent): void {
    const recording = this.#recording;
    if (recording === null) {
      if (this.#session !== null && !this.#options.simulated && this.#early.length < mostEarly) this.#early.push(item);
      return;
    }
    if ('bytes' in item) void recording.add(item);
    else if (item.description) void recording.describe(item.sensorId, item.description, item.hostTimeS);
  }

  #fail(error: unknown): void {
    const reason = error instanceof Error ? error.message : String(error);
    if (this.#storeFailure === null) {
      this.#options.logger.error(
        { why: reason },
        'shots cannot be stored and will be lost at a restart; free the disk or mend the data folder',
      );
    }
    this.#storeFailure = reason;
  }
}

/** More than what comes while a file is made. */
const mostEarly = 10_000;

function tellTrouble(logger: Logger, recording: string, trouble: string | null): void {
  if (trouble === null) logger.info({ recording }, 'notifications are recorded again');
  else
    logger.error(
      { recording, why: trouble },
      'notifications cannot be recorded; free the disk or mend the data folder',
    );
}

function placementOf(description: Uint8Array): string {
  try {
    return decodeSensorDescription(description).placement;
  } catch {
    return 'unknown';
  }
}

/** A shot is told about at its contact; it belongs to where it left the hand. */
function secondsBetween(releaseS: number | null, contactS: number | null): number {
  return releaseS !== null && contactS !== null ? contactS - releaseS : 0;
}
