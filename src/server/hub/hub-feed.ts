import pg from 'pg';
import type { Logger } from '../../foundation/logger.ts';
import type { ClubStore } from '../../sessions/database/club-store.ts';
import type { EditedTable } from '../../sessions/database/edit-log.ts';
import { readPostgresAddress } from '../../sessions/database/postgres/postgres-address.ts';
import type { ToldPlace } from '../../sessions/hub/hub-records.ts';
import type { LiveHub } from '../live-hub.ts';
import { rosterOf, topics } from '../practice/tell-changes.ts';
import { type ChangeDocument, type NumberedDocument, type ShotDocument, wireVersion } from '../wire/live-document.ts';

export interface HubFeedOptions {
  readonly store: ClubStore;
  readonly hub: LiveHub;
  /** Where PostgreSQL tells of changes; null for a database that tells nothing, which is looked at now and then. */
  readonly address: string | null;
  readonly nowS: () => number;
  readonly logger: Logger;
}

/** A change is looked for so often though nobody told of one: a notification is lost with the connection that should bring it, ms. */
const lookMs = 1000;
const reconnectMs = 500;
/** Many courts tell of many changes: so often it is looked for them at most, ms. */
const betweenLooksMs = 40;
const pageSize = 500;
/** Documents that a page which comes back may ask for. */
const foundCount = 1000;
const channel = 'seamwise_change';

/**
 * Tells the pages of one process of a hub what is stored, whichever process stored it. The documents have the numbers that the database
 * gave the changes, in the order in which these became visible: every process tells the same under the same number, and a page may go
 * from one to the other.
 */
export class HubFeed {
  readonly #options: HubFeedOptions;
  readonly #timer: NodeJS.Timeout;
  #listener: pg.Client | null = null;
  #reconnect: NodeJS.Timeout | undefined;
  #soon: NodeJS.Timeout | undefined;
  #lookedMs = Number.NEGATIVE_INFINITY;
  #lastSeq = 0;
  #looking: Promise<void> | null = null;
  #isAskedAgain = false;
  #isClosed = false;

  private constructor(options: HubFeedOptions) {
    this.#options = options;
    this.#timer = setInterval(() => void this.#lookQuietly(), lookMs);
    this.#timer.unref();
  }

  /** Reads what was told last and begins to follow. */
  static async open(options: HubFeedOptions): Promise<HubFeed> {
    const feed = new HubFeed(options);
    const { store, hub } = options;
    const places = await store.hub.latestChanges(foundCount);
    hub.log.takeFound(await feed.#documents(places));
    feed.#lastSeq = places.at(-1)?.seq ?? 0;
    hub.setRoster(await rosterOf(store));
    await feed.#listen();
    return feed;
  }

  /** Resolves when everything is told that was stored before the call. */
  catchUp(): Promise<void> {
    if (this.#looking !== null) this.#isAskedAgain = true;
    this.#looking ??= this.#look().finally(() => {
      this.#looking = null;
    });
    return this.#looking;
  }

  async close(): Promise<void> {
    this.#isClosed = true;
    clearInterval(this.#timer);
    clearTimeout(this.#reconnect);
    clearTimeout(this.#soon);
    await this.#listener?.end().catch(() => {});
    await this.#looking?.catch(() => {});
  }

  async #look(): Promise<void> {
    const { store, hub } = this.#options;
    do {
      this.#isAskedAgain = false;
      for (;;) {
        const places = await store.hub.changes(this.#lastSeq, pageSize);
        if (places.length === 0) break;
        const documents = await this.#documents(places);
        if (places.some(({ entity }) => entity === 'player' || entity === 'player_notice')) {
          hub.setRoster(await rosterOf(store));
        }
        for (const document of documents) hub.tellNumbered(document);
        this.#lastSeq = places.at(-1)?.seq ?? this.#lastSeq;
        if (places.length < pageSize) break;
      }
    } while (this.#isAskedAgain && !this.#isClosed);
  }

  /** At once where it is quiet; else together with what comes in the next moment. */
  #lookSoon(): void {
    if (this.#soon !== undefined || this.#isClosed) return;
    const waitMs = Math.max(0, this.#lookedMs + betweenLooksMs - performance.now());
    this.#soon = setTimeout(() => {
      this.#soon = undefined;
      this.#lookedMs = performance.now();
      void this.#lookQuietly();
    }, waitMs);
  }

  async #lookQuietly(): Promise<void> {
    if (this.#isClosed) return;
    try {
      await this.catchUp();
    } catch (error) {
      // The database is away: the next look tells what is missing.
      const why = error instanceof Error ? error.message : String(error);
      if (!this.#isClosed) this.#options.logger.warn({ why }, 'it could not be looked what is new in the database');
    }
  }

  async #documents(places: readonly ToldPlace[]): Promise<NumberedDocument[]> {
    const { store } = this.#options;
    const shots = await store.hub.toldShots(
      places.filter(({ entity }) => entity === 'shot').map((each) => each.entity_id),
    );
    const documents: NumberedDocument[] = [];
    for (const place of places) {
      const shot = place.entity === 'shot' ? shots.get(place.entity_id) : undefined;
      if (shot) {
        const { head, court, ...told } = shot;
        const document = { ...(head as object), ...told, seq: place.seq, ...(court !== null && { court }) };
        documents.push(document as unknown as ShotDocument);
        continue;
      }
      const change = await this.#change(place);
      if (change !== null) documents.push(change);
    }
    return documents;
  }

  async #change({ entity, entity_id, seq }: ToldPlace): Promise<ChangeDocument | null> {
    const { store, nowS } = this.#options;
    const at = new Date(nowS() * 1000).toISOString();
    const change = (topic: ChangeDocument['topic'], sessionId: string | null): ChangeDocument => {
      return { v: wireVersion, seq, kind: 'change', at, topic, sessionId };
    };
    if (entity === 'edit') {
      const table = await store.hub.editedTable(entity_id);
      const topic = table === null ? undefined : topics[table as EditedTable];
      // What is handed over has a change of its own.
      return topic === 'club' ? change(topic, null) : null;
    }
    if (entity === 'player_notice') return change('player', null);
    if (entity === 'sensor_calibration') return null;
    return change(topics[entity], entity === 'session' ? entity_id : await store.hub.sessionOf(entity, entity_id));
  }

  async #listen(): Promise<void> {
    const { address, store, logger } = this.#options;
    if (address === null || this.#isClosed) return;
    const client = new pg.Client(readPostgresAddress(address).client);
    const again = (): void => {
      if (this.#listener !== client || this.#isClosed) return;
      this.#listener = null;
      client.end().catch(() => {});
      this.#reconnect = setTimeout(() => void this.#listen(), reconnectMs);
    };
    this.#listener = client;
    client.on('error', again);
    client.on('end', again);
    client.on('notification', ({ payload }) => {
      if (payload === store.clubId) this.#lookSoon();
    });
    try {
      await client.connect();
      await client.query(`listen ${channel}`);
      // What was stored while nobody listened.
      await this.#lookQuietly();
    } catch (error) {
      const why = error instanceof Error ? error.message : String(error);
      logger.warn({ why }, 'the database cannot be listened to now; it is looked at every second');
      again();
    }
  }
}
