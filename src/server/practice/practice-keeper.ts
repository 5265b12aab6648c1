import { mkdirSync } from 'node:fs';
import path from 'node:path';
import type { SensorStateEvent } from '../../devices/notification-source.ts';
import type { Clock } from '../../foundation/clock.ts';
import { SeamwiseError } from '../../foundation/errors.ts';
import type { Logger } from '../../foundation/logger.ts';
import type { SensorNotification } from '../../foundation/sensor-notification.ts';
import type { SensorSetup } from '../../live/sensor-setup.ts';
import { decodeSensorDescription } from '../../protocol/sensor-description.ts';
import { ClubStore } from '../../sessions/database/club-store.ts';
import type { Mark, MarkWords } from '../../sessions/database/mark-records.ts';
import { sensorsOf } from '../../sessions/database/recorded-traces.ts';
import type { PlacedShot } from '../../sessions/database/shot-records.ts';
import type { Actor } from '../../sessions/database/store-context.ts';
import { syncFolder } from '../../sessions/recording/durable-file.ts';
import { analysisVersion, type BallSettings } from '../../shots/shot.ts';
import type { ClockEstimate } from '../../signal/sensor-clock-state.ts';
import { resultParameters } from '../analysis/sensor-setups.ts';
import type { PublishedEvent } from '../live-hub.ts';
import type { EventDocument, ShotDocument } from '../wire/live-document.ts';
import { letRecordingsGo } from './keep-recordings.ts';
import { PracticeRecorder } from './practice-recorder.ts';
import { recoverRecordings } from './recover-recordings.ts';
import { StoreQueue } from './store-queue.ts';

export interface PracticeKeeperOptions {
  /** An existing folder. */
  readonly dataFolder: string;
  readonly clock: Clock;
  readonly logger: Logger;
  /** Sessions of simulated sensors are marked, and their notifications are not recorded: a seed makes them again. */
  readonly simulated: boolean;
  readonly settings: BallSettings;
  /** Database that courts hand over to and other processes use too: what they left open is not closed here. */
  readonly database?: { readonly address: string; readonly clubId?: string };
}

/** Where a shot comes from. */
export type ShotSource = Pick<PublishedEvent, 'streamIndex' | 'releaseHostS'>;

/** What came of a document that was to be kept. */
export interface KeptDocument {
  /** False for a shot that is not on the disk. */
  readonly isKept: boolean;
  /** There for a shot that is: whose it is. */
  readonly playerId?: string | null;
}

/** Told shots that are read at a start. */
const foundCount = 1000;
const service: Actor = { role: 'host', name: 'service' };
export const databaseFile = 'seamwise.db';
export const recordingsFolder = 'recordings';
/** How often it is looked who may be recorded: a consent may be withdrawn, or a sensor given away, while it sends. */
const consentMs = 5000;
const sweepMs = 86_400_000;

/**
 * Keeps a practice: the session in the database, every shot before a client is told that it is kept, every notification in a
 * recording. What cannot be kept is told and never stops the practice.
 */
export class PracticeKeeper {
  readonly store: ClubStore;
  /** Shots that earlier runs told, oldest first. */
  readonly found: readonly ShotDocument[];
  /** Resolves when what a killed run left is in order, and recordings that are not kept any longer are gone. */
  readonly recovered: Promise<void>;
  readonly #options: PracticeKeeperOptions;
  readonly #queue: StoreQueue;
  readonly #timers: readonly NodeJS.Timeout[];
  readonly #setups = new Map<string, SensorSetup>();
  readonly #sensorIds = new Set<string>();
  #recorder: PracticeRecorder | null = null;
  #hasBegun = false;
  #sessionId: string | null = null;

  private constructor(options: PracticeKeeperOptions, store: ClubStore, found: readonly ShotDocument[]) {
    this.#options = options;
    this.store = store;
    this.found = found;
    this.#queue = new StoreQueue({ logger: options.logger });
    const isShared = options.database !== undefined;
    this.recovered = isShared
      ? Promise.resolve()
      : recoverRecordings(store, this.recordingsFolder, options.logger).then(() => this.#sweep());
    this.#timers = isShared
      ? []
      : [setInterval(() => void this.refreshConsents(), consentMs), setInterval(() => void this.#sweep(), sweepMs)];
    for (const timer of this.#timers) timer.unref();
  }

  /** @throws SeamwiseError `data-folder`, `database-unusable` or `database-version`. */
  static async open(options: PracticeKeeperOptions): Promise<PracticeKeeper> {
    const { dataFolder, clock } = options;
    try {
      mkdirSync(path.join(dataFolder, recordingsFolder), { recursive: true, mode: 0o700 });
    } catch (error) {
      const why = error instanceof Error ? error.message : String(error);
      throw new SeamwiseError(
        'data-folder',
        `data folder ${dataFolder} cannot be written to: ${why}. Make it writable or name another one; what is in it stays as it is.`,
      );
    }
    await syncFolder(dataFolder);
    const nowS = () => clock.nowS();
    if (options.database) return new PracticeKeeper(options, await ClubStore.open({ ...options.database, nowS }), []);
    const store = await ClubStore.open({ file: path.join(dataFolder, databaseFile), nowS, inThread: true });
    const found = (await store.shots.latestTold(foundCount)).map(
      ({ seq, head, shot, playerId, outcome }) => ({ ...head, seq, shot, playerId, outcome }) as ShotDocument,
    );
    return new PracticeKeeper(options, store, found);
  }

  get recordingsFolder(): string {
    return path.join(this.#options.dataFolder, recordingsFolder);
  }

  /** Why shots or notifications cannot be kept at the moment, as a sentence, or null. */
  get failure(): string | null {
    return this.#queue.failure ?? this.#recorder?.failure ?? null;
  }

  /** The session that runs; null before the first sensor sends, and while it cannot be stored. */
  get sessionId(): string | null {
    return this.#sessionId;
  }

  /** Takes a sensor's change of state; the first stream begins a session. */
  takeState(change: SensorStateEvent): void {
    if (change.description === null) return;
    if (!this.#hasBegun) this.#begin(change.hostTimeS);
    this.#recorder?.takeState(change);
    const { sensorId, description } = change;
    this.#sensorIds.add(sensorId);
    const sensor = {
      id: sensorId,
      placement: placementOf(description),
      description: Buffer.from(description).toString('hex'),
    };
    void this.#queue.run(() => this.store.players.seeSensor(sensor)).then(() => this.#decide(sensorId));
  }

  /** Remembers what a sensor's shots are analysed with from now on. */
  takeSetup(sensorId: string, setup: SensorSetup): void {
    this.#setups.set(sensorId, setup);
  }

  /** Takes a notification for the recording. */
  takeNotification(notification: SensorNotification): void {
    this.#recorder?.takeNotification(notification);
  }

  /** Takes what is known of a sensor's clock, for the recording. */
  takeClock(sensorId: string, streamIndex: number, clock: ClockEstimate): void {
    const { segments, ...line } = clock;
    this.#recorder?.note('clock', { sensorId, streamIndex, ...line, segment: segments.at(-1) }, this.#nowS());
  }

  /** Keeps a synchronisation mark, in recording and database. @throws SeamwiseError `no-session` or `store-value`. */
  async setMark(actor: Actor, words: MarkWords): Promise<Mark> {
    const sessionId = this.#sessionId;
    if (sessionId === null) {
      throw new SeamwiseError('no-session', 'no practice runs that could be marked: one begins when a sensor sends');
    }
    const mark = await this.store.marks.add(actor, sessionId, words);
    const { atS, uncertaintyS, origin, name, sensor } = words;
    const document = { atS, uncertaintyS, clock: mark.clock, origin, name: name ?? '', ...sensor };
    this.#recorder?.note('mark', document, atS);
    return mark;
  }

  /** Keeps three taps on a sensor as a mark; what fails is told and nothing more. */
  takeTaps(words: MarkWords): void {
    this.setMark(service, words).catch((error: unknown) => {
      const why = error instanceof Error ? error.message : String(error);
      this.#options.logger.error({ why }, 'three taps on a sensor could not be kept as a mark');
    });
  }

  /**
   * Resolves when the shot of a document is on the disk, or cannot be put there now. Other documents need not be kept.
   *
   * A shot is not kept where the disk takes nothing and it waits for its turn, or the owner of the sensor has not agreed to being
   * recorded.
   */
  async keep(document: EventDocument, { streamIndex, releaseHostS }: ShotSource): Promise<KeptDocument> {
    if (document.kind !== 'shot' || document.shot.stage !== 'final') return { isKept: true };
    if (!this.#hasBegun) return { isKept: false };
    const { shot, seq, ...head } = document;
    const { sensorId } = document;
    const atS = releaseHostS ?? document.hostTimeS - secondsBetween(shot.releaseS, shot.contactS);
    const sensorIds = sensorsOf(sensorId, shot);
    const parameters = resultParameters(this.#options.settings, this.#setups);
    let placed: PlacedShot | null = null as PlacedShot | null;
    const isDone = await this.#queue.run(async () => {
      // Begun before by the same queue.
      const place = { sessionId: this.#sessionId ?? '', sensorId, sensorIds, streamIndex, atS };
      placed = await this.store.shots.addLive(place, { shot, analysisVersion, parameters }, { seq, head });
    });
    return isDone && placed !== null ? { isKept: true, playerId: placed.playerId } : { isKept: false };
  }

  /** Looks again who may be recorded. */
  async refreshConsents(): Promise<void> {
    for (const sensorId of this.#sensorIds) await this.#decide(sensorId);
  }

  /** Ends the session and writes what is left. */
  async close(): Promise<void> {
    for (const timer of this.#timers) clearInterval(timer);
    await this.recovered;
    await this.#queue.run(async () => {});
    await this.refreshConsents();
    await this.#recorder?.close();
    await this.#queue.run(async () => {
      const id = this.#sessionId;
      if (id === null) return;
      if (this.#recorder?.isMade === false) await this.store.sessions.forgetRecording(id);
      await this.store.sessions.end(service, id);
    });
    await this.#queue.close();
    await this.store.close();
  }

  #begin(hostTimeS: number): void {
    this.#hasBegun = true;
    const { simulated, settings, logger } = this.#options;
    if (!simulated) {
      const startedAt = new Date(this.#nowS() * 1000).toISOString();
      this.#recorder = new PracticeRecorder({ folder: this.recordingsFolder, startedAt, logger });
      this.#recorder.note('settings', settings, hostTimeS);
    }
    const timeZone = Intl.DateTimeFormat().resolvedOptions().timeZone || 'UTC';
    const words = { name: '', timeZone, simulated, recording: this.#recorder?.name ?? null, settings };
    void this.#queue.run(async () => {
      this.#sessionId = await this.store.sessions.start(service, words);
    });
  }

  /** Says whether a sensor may be recorded. While nobody can know it, nothing is recorded of it and it waits. */
  async #decide(sensorId: string): Promise<void> {
    if (this.#recorder === null) return;
    try {
      this.#recorder.allow(sensorId, await this.store.players.mayRecordSensor(sensorId));
    } catch (error) {
      const why = error instanceof Error ? error.message : String(error);
      this.#options.logger.error({ sensorId, why }, 'it could not be looked whether a sensor may be recorded');
    }
  }

  async #sweep(): Promise<void> {
    try {
      await letRecordingsGo(this.store, this.recordingsFolder, this.#nowS(), this.#options.logger);
    } catch (error) {
      const why = error instanceof Error ? error.message : String(error);
      this.#options.logger.error({ why }, 'it could not be looked which recordings are kept');
    }
  }

  #nowS(): number {
    return this.#options.clock.nowS();
  }
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
