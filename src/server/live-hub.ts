import type { Clock } from '../foundation/clock.ts';
import type { RejectedFlight, Shot, ShotEvent } from '../shots/shot.ts';
import { ClientWriter, type WriterSocket } from './client-writer.ts';
import type { ShotLog } from './shot-log.ts';
import {
  type ChangeDocument,
  type EventDocument,
  type HelloDocument,
  type NumberedDocument,
  type RejectedDocument,
  type RosterDocument,
  type SensorDocument,
  type ShotDocument,
  type WireSensor,
  type WireSource,
  wireVersion,
} from './wire/live-document.ts';
import type { WireShot } from './wire/shot-document.ts';

export interface LiveHubOptions {
  readonly log: ShotLog;
  readonly clock: Clock;
  /** Version of the program. */
  readonly version: string;
  readonly runId: string;
  readonly simulated: boolean;
  readonly latestShotCount: number;
  /** Why shots cannot be stored at the moment, or null. */
  readonly storageFailure?: () => string | null;
  /** Resolves when the shots of earlier runs are there; at once by default. */
  readonly ready?: Promise<void>;
  /** Resolves when everything is told that is stored, where others store too; instead of `ready`. */
  readonly catchUp?: () => Promise<void>;
  /** Whether courts hand over to this service. */
  readonly isHub?: boolean;
}

/** Something that a sensor's chain said. */
export interface PublishedEvent {
  readonly sensorId: string;
  /** Counts the streams of this sensor in this run of the service; shot indices start anew with each. */
  readonly streamIndex: number;
  /** Receipt of the notification that completed the event. */
  readonly hostTimeS: number;
  readonly event: ShotEvent;
  /** Host time of a shot's release, where the sensor's clock is known by then. */
  readonly releaseHostS?: number | null;
}

/** Estimates of one stream that a final shot may still take the place of. */
const mostOpenShots = 16;

/** An early shot: the analysis gives its index again when it was none after all. */
interface OpenShot {
  readonly shotId: string;
  readonly index: number;
  readonly releaseS: number | null;
  readonly at: string;
}

/** Where the chains' events become documents, and from where the clients get them. */
export class LiveHub {
  readonly #options: LiveHubOptions;
  readonly #startedAt: string;
  readonly #sensors = new Map<string, WireSensor>();
  readonly #writers = new Set<ClientWriter>();
  /** The early shot of each stream that waits for its final one. */
  /** Of each stream, oldest first: with two sensors the next shot may be in the air while the one before waits for its partner. */
  readonly #openShots = new Map<string, readonly OpenShot[]>();
  #shotCount = 0;
  /** Documents that have a number and were not told yet, and what has to wait for them: numbers are told in their order. */
  #preparedCount = 0;
  readonly #waiting: (() => void)[] = [];
  /** Null while nobody has said who the players are. */
  #roster: RosterDocument['players'] | null = null;
  #source: WireSource | null = null;

  constructor(options: LiveHubOptions) {
    this.#options = options;
    this.#startedAt = this.#instant();
  }

  get sensors(): WireSensor[] {
    return [...this.#sensors.values()];
  }

  get clientCount(): number {
    return this.#writers.size;
  }

  get startedAt(): string {
    return this.#startedAt;
  }

  get runId(): string {
    return this.#options.runId;
  }

  get simulated(): boolean {
    return this.#options.simulated;
  }

  get version(): string {
    return this.#options.version;
  }

  get log(): ShotLog {
    return this.#options.log;
  }

  /** Resolves when the shots of earlier runs are there. */
  get ready(): Promise<void> {
    return this.#options.catchUp?.() ?? this.#options.ready ?? Promise.resolve();
  }

  get storageFailure(): string | null {
    return this.#options.storageFailure?.() ?? null;
  }

  /** Makes the next numbered document of an event; it is told before another one is made. */
  prepare(published: PublishedEvent): EventDocument {
    const { event } = published;
    this.#preparedCount += 1;
    const seq = this.#options.log.takeNumber();
    return event.kind === 'shot'
      ? this.#shotDocument(seq, published, event.shot)
      : this.#rejectedDocument(seq, published, event.rejected);
  }

  /** Sends a prepared document to every client. */
  tell(document: EventDocument): void {
    this.#add(document);
    this.#preparedCount = Math.max(0, this.#preparedCount - 1);
    while (this.#preparedCount === 0) {
      const next = this.#waiting.shift();
      if (!next) return;
      next();
    }
  }

  /** Tells every client that something of a practice was changed, to be read anew. */
  tellChange(topic: ChangeDocument['topic'], sessionId: string | null): void {
    this.#whenAllIsTold(() => {
      const seq = this.#options.log.takeNumber();
      this.#add({ v: wireVersion, seq, kind: 'change', at: this.#instant(), topic, sessionId });
    });
  }

  /** Tells a shot again after its player or outcome were put right; one that is not held any more is read where it is kept. */
  tellShotAgain(shotId: string, put: Pick<ShotDocument, 'playerId' | 'outcome'>): void {
    this.#whenAllIsTold(() => {
      const before = this.#options.log.shot(shotId);
      if (before?.shot.stage !== 'final') return;
      if (before.playerId === put.playerId && before.outcome === put.outcome) return;
      this.#add({ ...before, ...put, seq: this.#options.log.takeNumber() });
    });
  }

  /** Takes who the players are and tells the clients what each may know. */
  setRoster(players: RosterDocument['players']): void {
    this.#roster = players;
    for (const writer of this.#writers) writer.rosterChanged();
  }

  /** Sends a document that was numbered elsewhere to every client; it has a higher number than those before. */
  tellNumbered(document: NumberedDocument): void {
    this.#add(document);
  }

  /** Prepares and tells an event that need not be stored. */
  publish(published: PublishedEvent): EventDocument {
    const document = this.prepare(published);
    this.tell(document);
    return document;
  }

  get source(): WireSource | null {
    return this.#source;
  }

  /** Takes the present state of where notifications come from and tells the clients. */
  setSource(source: WireSource): void {
    this.#source = source;
    this.greetAll();
  }

  /** Takes the present state of a sensor and tells the clients. */
  setSensor(sensor: WireSensor): void {
    this.#sensors.set(sensor.sensorId, sensor);
    for (const writer of this.#writers) writer.sensorChanged(sensor.sensorId);
  }

  /** Says something to every client, so that a page can tell a quiet service from a dead one. */
  greetAll(): void {
    for (const writer of this.#writers) writer.greet();
  }

  /**
   * @param since highest number that the client has, or null.
   * @param knowsNames whether it may have the names of players who have not agreed to being shown.
   */
  connect(socket: WriterSocket, since: number | null, knowsNames = false): ClientWriter {
    const writer = new ClientWriter({
      socket,
      since,
      log: this.#options.log,
      latestShotCount: this.#options.latestShotCount,
      hello: (catchUp) => JSON.stringify(this.#hello(catchUp)),
      roster: () => this.#rosterFor(knowsNames),
      sensorState: (sensorId) => {
        const sensor = this.#sensors.get(sensorId);
        if (!sensor) return null;
        const document: SensorDocument = { v: wireVersion, seq: this.#options.log.lastSeq, kind: 'sensor', sensor };
        return JSON.stringify(document);
      },
    });
    this.#writers.add(writer);
    return writer;
  }

  disconnect(writer: ClientWriter): void {
    writer.close();
    this.#writers.delete(writer);
  }

  /** Cuts off the clients that took nothing for several checks. */
  checkClients(): void {
    for (const writer of this.#writers) if (!writer.check()) this.#writers.delete(writer);
  }

  #hello(catchUp: HelloDocument['catchUp']): HelloDocument {
    const { version, runId, simulated, log } = this.#options;
    return {
      v: wireVersion,
      seq: log.lastSeq,
      kind: 'hello',
      version,
      runId,
      simulated,
      startedAt: this.#startedAt,
      sensors: this.sensors,
      ...(this.#source === null ? {} : { source: this.#source }),
      ...(this.storageFailure === null ? {} : { storageFailure: this.storageFailure }),
      ...(this.#options.isHub && { isHub: true as const }),
      catchUp,
    };
  }

  #whenAllIsTold(work: () => void): void {
    if (this.#preparedCount === 0) work();
    else this.#waiting.push(work);
  }

  #add(document: NumberedDocument): void {
    this.#options.log.add(document);
    for (const writer of this.#writers) writer.wake();
  }

  #rosterFor(knowsNames: boolean): string | null {
    if (this.#roster === null) return null;
    const players = knowsNames ? this.#roster : this.#roster.filter(({ display }) => display);
    const document: RosterDocument = { v: wireVersion, seq: this.#options.log.lastSeq, kind: 'roster', players };
    return JSON.stringify(document);
  }

  #shotDocument(seq: number, published: PublishedEvent, shot: Shot): ShotDocument {
    const { runId, simulated } = this.#options;
    const { sensorId, streamIndex, hostTimeS } = published;
    const stream = streamName(published);
    const open = this.#openShots.get(stream) ?? [];
    const early = shot.stage === 'final' ? open.find(({ index }) => index === shot.index) : undefined;
    const shotId = early?.shotId ?? `${runId}.${sensorId}.${this.#shotCount++}`;
    const at = early?.at ?? this.#instant();
    const others = open.filter(({ index }) => index !== shot.index);
    const own = shot.stage === 'early' ? [{ shotId, index: shot.index, releaseS: shot.releaseS, at }] : [];
    this.#openShots.set(stream, [...others, ...own].slice(-mostOpenShots));
    const wireShot: WireShot = shot;
    const head = { v: wireVersion, seq, kind: 'shot', shotId, runId, sensorId, streamIndex, at } as const;
    return { ...head, hostTimeS, simulated, shot: wireShot };
  }

  #rejectedDocument(seq: number, published: PublishedEvent, rejected: RejectedFlight): RejectedDocument {
    const { simulated } = this.#options;
    const { sensorId, hostTimeS } = published;
    const stream = streamName(published);
    const open = this.#openShots.get(stream) ?? [];
    const takenBack = open.find(({ releaseS }) => releaseS === null || overlaps(releaseS, rejected));
    this.#openShots.set(
      stream,
      open.filter((one) => one !== takenBack),
    );
    const shotId = takenBack?.shotId ?? null;
    return {
      v: wireVersion,
      seq,
      kind: 'rejected',
      sensorId,
      at: this.#instant(),
      hostTimeS,
      simulated,
      shotId,
      rejected: {
        startS: rejected.startS,
        endS: rejected.endS,
        kind: rejected.kind,
        reason: rejected.reason,
      },
    };
  }

  #instant(): string {
    return new Date(this.#options.clock.nowS() * 1000).toISOString();
  }
}

function streamName(published: PublishedEvent): string {
  return `${published.sensorId}.${published.streamIndex}`;
}

/** The first guess of the release may lie a little outside the flight that was judged in the end. */
function overlaps(releaseS: number, flight: RejectedFlight): boolean {
  const marginS = 0.3;
  return releaseS >= flight.startS - marginS && releaseS <= flight.endS + marginS;
}
