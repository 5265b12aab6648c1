import type { Shot } from '../../shots/shot.ts';
import type { EditLog } from './edit-log.ts';
import { newId } from './new-id.ts';
import type { Sensor } from './player-records.ts';
import { type Actor, requireText, type StoreContext } from './store-context.ts';
import type { MarkTable } from './tables.ts';

/** A session that was recorded elsewhere, with all that was found in it. */
export interface ImportedSession {
  readonly name: string;
  readonly startedS: number;
  readonly endedS: number;
  readonly timeZone: string;
  readonly simulated: boolean;
  /** Name of the recording file in the folder of recordings, where one was copied there. */
  readonly recording: string | null;
  readonly settings: unknown;
  readonly analysisVersion: string;
  readonly parameters: unknown;
  readonly sensors: readonly Pick<Sensor, 'id' | 'placement' | 'description'>[];
  readonly shots: readonly ImportedShot[];
  readonly marks: readonly ImportedMark[];
}

export interface ImportedShot {
  readonly sensorId: string;
  readonly playerId: string | null;
  readonly streamIndex: number;
  readonly atS: number;
  readonly shot: Shot;
}

export type ImportedMark = Pick<
  MarkTable,
  'at_s' | 'uncertainty_s' | 'clock' | 'origin' | 'sensor_id' | 'stream_index' | 'sensor_time_s' | 'name'
>;

/**
 * Stores a session with its sensors, shots and marks in one transaction: all of it or nothing.
 *
 * @returns the id.
 * @throws SeamwiseError `store-value` for a name or zone that cannot be stored.
 */
export async function importSession(
  context: StoreContext,
  edits: EditLog,
  actor: Actor,
  imported: ImportedSession,
): Promise<string> {
  const { clubId, nowS } = context;
  const id = newId(nowS());
  const { analysisVersion, sensors, shots, marks } = imported;
  const parameters = JSON.stringify(imported.parameters);
  await edits.make(actor, 'import session', async (batch) => {
    const { trx } = batch;
    for (const { id: sensorId, placement, description } of sensors) {
      const seen = { last_seen_s: nowS(), description, placement };
      await trx
        .insertInto('sensor')
        .values({
          ...seen,
          id: sensorId,
          club_id: clubId,
          label: sensorId.slice(0, 8),
          owner_player_id: null,
          first_seen_s: nowS(),
        })
        .onConflict((conflict) => conflict.columns(['club_id', 'id']).doUpdateSet(seen))
        .execute();
    }
    await batch.insert('session', {
      id,
      club_id: clubId,
      name: requireText('name of the session', imported.name, { most: 120 }),
      started_s: imported.startedS,
      ended_s: imported.endedS,
      time_zone: requireText('time zone', imported.timeZone, { least: 1, most: 60 }),
      simulated: imported.simulated ? 1 : 0,
      starred: 0,
      recording: imported.recording,
      notes: '',
      settings: JSON.stringify(imported.settings),
      analysed_version: analysisVersion,
      recording_deleted_s: null,
    });
    for (const { sensorId, playerId, streamIndex, atS, shot } of shots) {
      const shotId = newId(nowS());
      await trx
        .insertInto('shot')
        .values({
          id: shotId,
          club_id: clubId,
          session_id: id,
          set_id: null,
          player_id: playerId,
          sensor_id: sensorId,
          stream_index: streamIndex,
          shot_index: shot.index,
          at_s: atS,
          outcome: 'unknown',
          miss_side: null,
          notes: '',
          told_seq: null,
          told_head: null,
          told_id: null,
        })
        .execute();
      await trx
        .insertInto('shot_result')
        .values({
          id: newId(nowS()),
          club_id: clubId,
          shot_id: shotId,
          is_current: 1,
          analysis_version: analysisVersion,
          parameters,
          created_s: nowS(),
          start_kind: shot.startKind,
          contact_kind: shot.contactKind,
          document: JSON.stringify(shot),
        })
        .execute();
    }
    for (const mark of marks) {
      await batch.insert('mark', { ...mark, id: newId(nowS()), club_id: clubId, session_id: id });
    }
  });
  return id;
}
