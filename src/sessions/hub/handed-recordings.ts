import { createHash } from 'node:crypto';
import { SeamwiseError } from '../../foundation/errors.ts';
import { amongIds } from '../database/among-ids.ts';
import type { StoreContext } from '../database/store-context.ts';

/** A recording as a court announces it. */
export interface AnnouncedRecording {
  readonly sessionId: string;
  readonly byteCount: number;
  readonly pieceBytes: number;
  /** SHA-256 of the whole in hexadecimal. */
  readonly checksum: string;
}

/** What the hub has of a recording. */
export interface RecordingState {
  readonly complete: boolean;
  /** Places of pieces that have not come, from 0, at most a thousand. */
  readonly missing: readonly number[];
}

const mostMissing = 1000;

/** Recordings that courts hand over: in pieces, in any order, each as often as it likes; there as a whole or not at all. */
export class HandedRecordings {
  readonly #context: StoreContext;

  constructor(context: StoreContext) {
    this.#context = context;
  }

  /**
   * Takes the announcement of a recording, or says what is missing of it. Another content than before takes its place.
   *
   * @throws SeamwiseError `store-missing` where the hub has not the session, or has it from another court.
   */
  async announce(courtId: string, announced: AnnouncedRecording): Promise<RecordingState> {
    const { db, clubId, write } = this.#context;
    const { sessionId, byteCount, pieceBytes, checksum } = announced;
    const session = await db
      .selectFrom('hub_seen')
      .innerJoin('session', 'session.id', 'hub_seen.entity_id')
      .select('session.id')
      .where('hub_seen.club_id', '=', clubId)
      .where('hub_seen.court_id', '=', courtId)
      .where('hub_seen.entity', '=', 'session')
      .where('hub_seen.entity_id', '=', sessionId)
      .executeTakeFirst();
    if (!session) {
      throw new SeamwiseError(
        'store-missing',
        'the hub has no session of this id from this court: expected the session before its recording',
      );
    }
    const known = await this.#recording(sessionId);
    const isSame =
      known && known.checksum === checksum && known.byteCount === byteCount && known.pieceBytes === pieceBytes;
    if (!isSame) {
      await write(async (trx) => {
        await trx
          .deleteFrom('hub_recording_piece')
          .where('recording_id', '=', sessionId)
          .where('club_id', '=', clubId)
          .execute();
        await trx.deleteFrom('hub_recording').where('id', '=', sessionId).where('club_id', '=', clubId).execute();
        await trx
          .insertInto('hub_recording')
          .values({
            ...{ id: sessionId, club_id: clubId, court_id: courtId, byte_count: byteCount, piece_bytes: pieceBytes },
            ...{ checksum, complete_s: null },
          })
          .execute();
      });
    }
    return this.#state(sessionId);
  }

  /**
   * Takes a piece; with the last one the whole is looked at.
   *
   * @throws SeamwiseError `store-missing` for what was not announced, `upload-refused` for a piece that is not what it should be, or when
   * the whole is not: then all of it has to be sent anew.
   */
  async takePiece(
    courtId: string,
    sessionId: string,
    { place, checksum, content }: { readonly place: number; readonly checksum: string; readonly content: Uint8Array },
  ): Promise<RecordingState> {
    const { db, clubId, nowS } = this.#context;
    const known = await this.#recording(sessionId);
    if (!known || known.courtId !== courtId) {
      throw new SeamwiseError('store-missing', 'this recording was not announced by this court: announce it first');
    }
    if (known.isComplete) return { complete: true, missing: [] };
    const expected = Math.min(known.pieceBytes, known.byteCount - place * known.pieceBytes);
    if (!(place >= 0 && expected > 0)) {
      throw new SeamwiseError('upload-refused', `piece ${place}: expected 0 to ${pieceCount(known) - 1}`);
    }
    if (content.length !== expected) {
      throw new SeamwiseError('upload-refused', `piece ${place} has ${content.length} bytes: expected ${expected}`);
    }
    if (sha256(content) !== checksum) {
      throw new SeamwiseError('upload-refused', `piece ${place} was damaged on its way: send it again`);
    }
    await db
      .insertInto('hub_recording_piece')
      .values({ recording_id: sessionId, club_id: clubId, place, content: Buffer.from(content) })
      .onConflict((conflict) =>
        conflict.columns(['recording_id', 'place']).doUpdateSet({ content: Buffer.from(content) }),
      )
      .execute();
    const state = await this.#state(sessionId);
    if (state.missing.length > 0) return state;
    const hash = createHash('sha256');
    for await (const piece of this.pieces(sessionId)) hash.update(piece);
    if (hash.digest('hex') !== known.checksum) {
      await db
        .deleteFrom('hub_recording_piece')
        .where('recording_id', '=', sessionId)
        .where('club_id', '=', clubId)
        .execute();
      throw new SeamwiseError(
        'upload-refused',
        'the recording as a whole is not what was announced: send all of it again',
      );
    }
    const recordings = db.updateTable('hub_recording').set({ complete_s: nowS() }).where('id', '=', sessionId);
    await recordings.where('club_id', '=', clubId).execute();
    return { complete: true, missing: [] };
  }

  /** @returns sessions of which the whole recording is here, oldest first. */
  async sessions(): Promise<string[]> {
    const { db, clubId } = this.#context;
    const recordings = db.selectFrom('hub_recording').select('id').where('club_id', '=', clubId);
    return (await recordings.where('complete_s', 'is not', null).orderBy('id').execute()).map(({ id }) => id);
  }

  /** @returns bytes of those recordings that are here as a whole, by their sessions. */
  async sizes(sessionIds: readonly string[]): Promise<ReadonlyMap<string, number>> {
    const { db, clubId } = this.#context;
    if (sessionIds.length === 0) return new Map();
    const recordings = db.selectFrom('hub_recording').select(['id', 'byte_count']).where('club_id', '=', clubId);
    const rows = await recordings
      .where('complete_s', 'is not', null)
      .where(amongIds(db, 'id', sessionIds))
      .execute();
    return new Map(rows.map(({ id, byte_count }) => [id, Number(byte_count)]));
  }

  /** @returns what a whole recording is to be, or null where it is not here. */
  async about(sessionId: string): Promise<{ readonly byteCount: number; readonly checksum: string } | null> {
    const known = await this.#recording(sessionId);
    return known?.isComplete ? { byteCount: known.byteCount, checksum: known.checksum } : null;
  }

  /** Gives a recording piece by piece, from its beginning. */
  async *pieces(sessionId: string): AsyncGenerator<Uint8Array> {
    const { db, clubId } = this.#context;
    for (let place = 0; ; place++) {
      const row = await db
        .selectFrom('hub_recording_piece')
        .select('content')
        .where('recording_id', '=', sessionId)
        .where('club_id', '=', clubId)
        .where('place', '=', place)
        .executeTakeFirst();
      if (!row) return;
      yield row.content;
    }
  }

  async #recording(sessionId: string) {
    const { db, clubId } = this.#context;
    const rows = db.selectFrom('hub_recording').selectAll().where('id', '=', sessionId).where('club_id', '=', clubId);
    const row = await rows.executeTakeFirst();
    return row
      ? {
          courtId: row.court_id,
          byteCount: Number(row.byte_count),
          pieceBytes: row.piece_bytes,
          checksum: row.checksum,
          isComplete: row.complete_s !== null,
        }
      : null;
  }

  async #state(sessionId: string): Promise<RecordingState> {
    const { db, clubId } = this.#context;
    const recording = await this.#recording(sessionId);
    if (recording === null || recording.isComplete) return { complete: recording !== null, missing: [] };
    const rows = await db
      .selectFrom('hub_recording_piece')
      .select('place')
      .where('recording_id', '=', sessionId)
      .where('club_id', '=', clubId)
      .execute();
    const there = new Set(rows.map(({ place }) => place));
    const missing: number[] = [];
    for (let place = 0; place < pieceCount(recording) && missing.length < mostMissing; place++) {
      if (!there.has(place)) missing.push(place);
    }
    return { complete: false, missing };
  }
}

function pieceCount({ byteCount, pieceBytes }: { readonly byteCount: number; readonly pieceBytes: number }): number {
  return Math.ceil(byteCount / pieceBytes);
}

function sha256(content: Uint8Array): string {
  return createHash('sha256').update(content).digest('hex');
}
