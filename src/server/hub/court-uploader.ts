import type { Logger } from '../../foundation/logger.ts';
import type { ClubStore } from '../../sessions/database/club-store.ts';
import type { HandedDocument } from '../../sessions/hub/handed-tables.ts';
import { hubItself } from '../../sessions/hub/hub-records.ts';
import type { JsonSensorCalibrations } from '../../sessions/sensor-calibrations.ts';
import { faultOf } from '../wire/hub-document.ts';
import { handRecordingsOver } from './hand-recordings-over.ts';
import { type HubAccess, HubClient, HubRefusalError } from './hub-client.ts';
import { shareCalibrations } from './share-calibrations.ts';

export interface CourtUploaderOptions {
  readonly store: ClubStore;
  readonly hub: HubAccess;
  readonly recordingsFolder: string;
  readonly logger: Logger;
  /** Calibrations of this court's sensors; without, none are handed over. */
  readonly calibrations?: JsonSensorCalibrations;
  /** Deletes a player who was erased elsewhere, files and rows. @returns false where it has to wait. */
  readonly erase: (playerId: string) => Promise<boolean>;
  /** Between two looks where nobody said that there is something, ms; default 2000. */
  readonly idleMs?: number;
  /** After a failure, ms, doubled with each further one; default 1000, at most a minute. */
  readonly retryMs?: number;
}

/** How a court does with its hub. */
export interface HandOverState {
  readonly address: string;
  readonly state: 'working' | 'away' | 'refused';
  /** What is wrong, as a sentence, or null. */
  readonly detail: string | null;
  /** Changes that the hub does not have yet. */
  readonly waiting: number;
  /** Things that the hub would not take. */
  readonly parked: number;
}

const documentsAtOnce = 60;
const mostRetryMs = 60_000;
/** A document that the hub has no room for in one request with others goes alone. */
const bodyBytes = 3_000_000;

/**
 * Hands over to the hub what is changed on this court, and takes what the others have to say. Nothing here waits for it: while the hub
 * is away, what is changed stays where it is and is told later. It goes on where it was, whatever was ended in between, since how far
 * it has come lies in the database; what is told a second time changes nothing.
 */
export class CourtUploader {
  readonly #options: CourtUploaderOptions;
  readonly #client: HubClient;
  readonly #ended: Promise<void>;
  readonly #unlisten: () => void;
  #wakeUp: () => void = () => {};
  #isAwake = false;
  #isClosed = false;
  #failures = 0;
  #calibrationFault: string | null = null;
  #state: Pick<HandOverState, 'state' | 'detail'> = { state: 'working', detail: null };

  constructor(options: CourtUploaderOptions) {
    this.#options = options;
    this.#client = new HubClient(options.hub);
    this.#unlisten = options.store.edits.listen(() => this.wake());
    this.#ended = this.#work();
  }

  /** Says that there is something to hand over. */
  wake(): void {
    this.#isAwake = true;
    this.#wakeUp();
  }

  async state(): Promise<HandOverState> {
    const { store, hub } = this.#options;
    const waiting = await store.hub.waiting(await store.hub.position('handed'));
    return { address: hub.address, ...this.#state, waiting, parked: (await store.hub.parked()).count };
  }

  async close(): Promise<void> {
    this.#isClosed = true;
    this.#unlisten();
    this.#client.close();
    this.#wakeUp();
    await this.#ended;
  }

  async #work(): Promise<void> {
    const { logger, idleMs = 2000, retryMs = 1000 } = this.#options;
    while (!this.#isClosed) {
      let pauseMs = idleMs;
      this.#isAwake = false;
      try {
        await this.#shareCalibrations();
        while (!this.#isClosed && (await this.#handOver())) {}
        while (!this.#isClosed && (await this.#take())) {}
        await this.#shareCalibrations();
        const { store, recordingsFolder } = this.#options;
        if (!this.#isClosed) await handRecordingsOver(store, this.#client, recordingsFolder, logger);
        if (this.#failures > 0) logger.info({}, 'the hub takes what this court hands over again');
        this.#failures = 0;
        this.#state = { state: 'working', detail: null };
      } catch (error) {
        if (this.#isClosed) return;
        this.#failures += 1;
        const detail = error instanceof Error ? error.message : String(error);
        const state = error instanceof HubRefusalError ? 'refused' : 'away';
        // Told once; it is tried again anyhow.
        if (this.#state.detail !== detail) logger.warn({ why: detail }, 'nothing can be handed over to the hub now');
        this.#state = { state, detail };
        // Courts that lost their hub together do not come back together.
        pauseMs = Math.min(mostRetryMs, retryMs * 2 ** Math.min(10, this.#failures - 1)) * (0.5 + Math.random() / 2);
      }
      await this.#pause(pauseMs, this.#failures > 0);
    }
  }

  /** A file of calibrations that cannot be read or written holds up nothing else. */
  async #shareCalibrations(): Promise<void> {
    const { store, calibrations, logger } = this.#options;
    if (calibrations === undefined || this.#isClosed) return;
    try {
      await shareCalibrations(store, calibrations);
      this.#calibrationFault = null;
    } catch (error) {
      const why = error instanceof Error ? error.message : String(error);
      if (this.#calibrationFault !== why) logger.error({ why }, 'calibrations of sensors are not shared with the hub');
      this.#calibrationFault = why;
    }
  }

  /** @returns whether there may be more. */
  async #handOver(): Promise<boolean> {
    const { store, logger } = this.#options;
    const after = await store.hub.position('handed');
    const { documents, upTo } = await store.hub.forHub(after, documentsAtOnce);
    if (documents.length === 0) return false;
    const results = await this.#send(documents);
    const late: HandedDocument[] = [];
    let newerSeq = 0;
    for (const [index, document] of documents.entries()) {
      const result = results[index];
      if (result?.state === 'waits') late.push(document);
      else if (result?.state === 'refused') await this.#park(document, result.reason ?? 'refused');
      else await store.hub.unpark(document);
      if (result?.state === 'older') newerSeq = Math.max(newerSeq, result.seenSeq ?? 0);
    }
    // What it hangs on was told before, and the hub has it no more: all of it again.
    for (const { entity, id } of late) await this.#sendWithNeeds(entity, id);
    if (newerSeq > (await store.hub.lastChange())) {
      logger.warn(
        {},
        'the hub knows later changes than this database, which was restored: all of it is handed over anew',
      );
      await store.hub.numberAnewAbove(newerSeq);
      await store.hub.setPosition('handed', newerSeq);
      return true;
    }
    await store.hub.setPosition('handed', upTo);
    return true;
  }

  async #sendWithNeeds(entity: HandedDocument['entity'], id: string): Promise<void> {
    const documents = await this.#options.store.hub.withNeeds(entity, id);
    const document = documents.at(-1);
    if (document === undefined) return;
    const result = (await this.#send(documents)).at(-1);
    if (result?.state === 'waits') await this.#park(document, 'the hub lacks what it belongs to');
    else if (result?.state === 'refused') await this.#park(document, result.reason ?? 'refused');
  }

  async #send(documents: readonly HandedDocument[]) {
    const results: Awaited<ReturnType<HubClient['handOver']>> = [];
    for (const part of inParts(documents)) results.push(...(await this.#sendPart(part)));
    return results;
  }

  /** One that the hub cannot even read does not hold up the others. */
  async #sendPart(documents: readonly HandedDocument[]): Promise<Awaited<ReturnType<HubClient['handOver']>>> {
    try {
      return await this.#client.handOver(documents);
    } catch (error) {
      const isOfContent = error instanceof HubRefusalError && (error.status === 400 || error.status === 413);
      if (!isOfContent) throw error;
      if (documents.length <= 1) return documents.map(() => ({ state: 'refused' as const, reason: error.message }));
    }
    const middle = documents.length >> 1;
    return [...(await this.#sendPart(documents.slice(0, middle))), ...(await this.#sendPart(documents.slice(middle)))];
  }

  async #park(document: HandedDocument, reason: string): Promise<void> {
    const { store, logger } = this.#options;
    logger.error({ entity: document.entity, id: document.id, reason }, 'the hub would not take something');
    await store.hub.park(document, reason);
  }

  /** @returns whether there may be more. */
  async #take(): Promise<boolean> {
    const { store, logger, erase } = this.#options;
    const after = await store.hub.position('told');
    const { documents, upTo } = await this.#client.told(after);
    if (documents.length === 0) return false;
    const toErase = new Set<string>();
    const eraseLater = (playerId: string) => {
      toErase.add(playerId);
      return true;
    };
    let waiting: readonly HandedDocument[] = documents;
    // A second time for what hangs on something that came behind it, and for what was to be erased first.
    for (let round = 0; round < 2 && waiting.length > 0; round++) {
      const late: HandedDocument[] = [];
      for (const document of waiting) {
        try {
          const fault = faultOf(document);
          if (fault !== null) throw new Error(fault);
          const [result] = await store.hub.take(hubItself, [document], { eraseLater });
          if (result?.state === 'waits') late.push(document);
        } catch (error) {
          const reason = error instanceof Error ? error.message : String(error);
          logger.error(
            { entity: document.entity, id: document.id, reason },
            'something that the hub tells cannot be taken',
          );
        }
      }
      for (const playerId of toErase) if (await erase(playerId)) toErase.delete(playerId);
      waiting = late;
    }
    // What has to wait is asked for again, with what comes behind it.
    const upToNow = waiting.length > 0 ? Math.min(...waiting.map(({ seq }) => seq)) - 1 : upTo;
    if (upToNow > after) await store.hub.setPosition('told', upToNow);
    return upToNow > after && waiting.length === 0;
  }

  async #pause(ms: number, isFailure: boolean): Promise<void> {
    if (this.#isClosed || (this.#isAwake && !isFailure)) return;
    await new Promise<void>((resolve) => {
      const timer = setTimeout(resolve, ms);
      // A hub that is away is not asked more often because there is more to tell it.
      this.#wakeUp = () => {
        if (isFailure && !this.#isClosed) return;
        clearTimeout(timer);
        resolve();
      };
    });
    this.#wakeUp = () => {};
  }
}

/** @returns the documents in parts that each fit into a request. */
function inParts(documents: readonly HandedDocument[]): HandedDocument[][] {
  const parts: HandedDocument[][] = [];
  let bytes = Number.POSITIVE_INFINITY;
  for (const document of documents) {
    const own = Buffer.byteLength(JSON.stringify(document));
    if (bytes + own > bodyBytes) {
      parts.push([]);
      bytes = 0;
    }
    parts.at(-1)?.push(document);
    bytes += own;
  }
  return parts;
}
