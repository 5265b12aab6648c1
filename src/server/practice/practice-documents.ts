import type { EditGroup, RowChange } from '../../sessions/database/edit-log.ts';
import type { Mark } from '../../sessions/database/mark-records.ts';
import type { Consent, Player, Sensor } from '../../sessions/database/player-records.ts';
import type { Rotation } from '../../sessions/database/rotation-records.ts';
import type { Session, SetFactor, ShotSet } from '../../sessions/database/session-records.ts';
import type { StoredShot } from '../../sessions/database/shot-records.ts';
import type { TimeCorrection } from '../../sessions/database/time-correction-records.ts';
import type { WireShot } from '../wire/shot-document.ts';

/** Rows of the database as the routes give them. */

export function sessionDocument(session: Session, recordingBytes: number | null) {
  return {
    id: session.id,
    name: session.name,
    startedS: session.started_s,
    endedS: session.ended_s,
    timeZone: session.time_zone,
    simulated: session.simulated !== 0,
    starred: session.starred !== 0,
    notes: session.notes,
    recording: session.recording,
    recordingBytes,
    recordingDeletedS: session.recording_deleted_s,
  };
}

export function setDocument(set: ShotSet & { readonly factors: readonly SetFactor[] }) {
  const { total_made, total_attempted } = set;
  return {
    id: set.id,
    playerId: set.player_id,
    kind: set.kind,
    name: set.name,
    spot: set.spot,
    distanceM: set.distance_m,
    startedS: set.started_s,
    endedS: set.ended_s,
    total: total_made === null || total_attempted === null ? null : { made: total_made, attempted: total_attempted },
    notes: set.notes,
    factors: [...set.factors],
  };
}

export function rotationDocument(rotation: Rotation) {
  return {
    id: rotation.id,
    sensorId: rotation.sensor_id,
    shotsEach: rotation.shots_each,
    turn: rotation.turn,
    shotsInTurn: rotation.shots_in_turn,
    startedS: rotation.started_s,
    playerIds: [...rotation.playerIds],
    nextPlayerId: rotation.nextPlayerId,
  };
}

export function markDocument(mark: Mark) {
  return {
    id: mark.id,
    atS: mark.at_s,
    uncertaintyS: mark.uncertainty_s,
    clock: mark.clock,
    origin: mark.origin,
    sensorId: mark.sensor_id,
    streamIndex: mark.stream_index,
    sensorTimeS: mark.sensor_time_s,
    name: mark.name,
  };
}

export function storedShotDocument(shot: StoredShot, corrections: readonly TimeCorrection[]) {
  return {
    id: shot.id,
    shotId: shot.told_id,
    setId: shot.set_id,
    playerId: shot.player_id,
    sensorId: shot.sensor_id,
    atS: shot.at_s,
    outcome: shot.outcome,
    missSide: shot.miss_side,
    notes: shot.notes,
    analysisVersion: shot.result.analysisVersion,
    streamIndex: shot.stream_index,
    corrections: corrections.map(correctionDocument),
    shot: shot.result.shot as WireShot,
  };
}

export function correctionDocument(correction: TimeCorrection) {
  return {
    phase: correction.phase,
    timeS: correction.time_s,
    resolutionS: correction.resolution_s,
    sensorId: correction.sensor_id,
    streamIndex: correction.stream_index,
    madeS: correction.made_s,
    byRole: correction.by_role,
    byName: correction.by_name,
  };
}

export function changeDocument({ groupId, ...change }: EditGroup) {
  return { id: groupId, ...change };
}

export function rowChangeDocument({ groupId, before, after, ...change }: RowChange) {
  return { changeId: groupId, ...change, before: before && { ...before }, after: after && { ...after } };
}

export function playerDocument(player: Player, consents: readonly Consent[]) {
  return {
    id: player.id,
    pseudonym: player.pseudonym,
    hand: player.hand,
    ageBand: player.age_band,
    ballSize: player.ball_size,
    hoopHeightM: player.hoop_height_m,
    units: player.units,
    notes: player.notes,
    consents: consents.map(({ scope, granted_s, given_by_role, withdrawn_s }) => {
      return { scope, grantedS: granted_s, givenByRole: given_by_role, withdrawnS: withdrawn_s };
    }),
  };
}

export function keptSensorDocument(sensor: Sensor) {
  return {
    id: sensor.id,
    label: sensor.label,
    placement: sensor.placement,
    ownerPlayerId: sensor.owner_player_id,
    firstSeenS: sensor.first_seen_s,
    lastSeenS: sensor.last_seen_s,
  };
}
