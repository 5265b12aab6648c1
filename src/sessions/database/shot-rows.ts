import type { Insertable } from 'kysely';
import type { Shot } from '../../shots/shot.ts';
import { newId } from './new-id.ts';
import type { AnalysedShot, ShotPlace, ToldShot } from './shot-records.ts';
import type { StoreContext } from './store-context.ts';
import type { ShotResultTable, ShotTable } from './tables.ts';

/** @returns a new shot as it is stored. */
export function shotRow(
  { clubId }: Pick<StoreContext, 'clubId'>,
  id: string,
  place: ShotPlace,
  shot: Shot,
  told: ToldShot | null,
): Insertable<ShotTable> {
  return {
    id,
    club_id: clubId,
    session_id: place.sessionId,
    set_id: place.setId,
    player_id: place.playerId,
    sensor_id: place.sensorId,
    stream_index: place.streamIndex,
    shot_index: shot.index,
    at_s: place.atS,
    outcome: 'unknown',
    miss_side: null,
    notes: '',
    told_seq: told?.seq ?? null,
    told_head: told && JSON.stringify(told.head),
    told_id: told?.head.shotId ?? null,
  };
}

/** @returns a new result of a shot, the current one, as it is stored. */
export function resultRow(
  { clubId, nowS }: Pick<StoreContext, 'clubId' | 'nowS'>,
  shotId: string,
  { shot, analysisVersion, parameters }: AnalysedShot,
): Insertable<ShotResultTable> {
  return {
    id: newId(nowS()),
    club_id: clubId,
    shot_id: shotId,
    is_current: 1,
    analysis_version: analysisVersion,
    parameters: JSON.stringify(parameters),
    created_s: nowS(),
    start_kind: shot.startKind,
    contact_kind: shot.contactKind,
    document: JSON.stringify(shot),
  };
}
