import Type from 'typebox';
import type { EditGroup, RowChange } from '../../sessions/database/edit-log.ts';
import type { Mark } from '../../sessions/database/mark-records.ts';
import type { Consent, Player, Sensor } from '../../sessions/database/player-records.ts';
import type { Rotation } from '../../sessions/database/rotation-records.ts';
import type { Session, SetFactor, ShotSet } from '../../sessions/database/session-records.ts';
import type { StoredShot } from '../../sessions/database/shot-records.ts';
import {
  ageBands,
  consentScopes,
  hands,
  markOrigins,
  missSides,
  outcomes,
  setKinds,
} from '../../sessions/database/tables.ts';
import type { WireShot } from '../wire/shot-document.ts';

/** What the routes of practices and players answer with. Instants are seconds since the Unix epoch. */

const orNull = <Schema extends Type.TSchema>(schema: Schema) => Type.Union([schema, Type.Null()]);
const instant = Type.Number({ description: 'seconds since the Unix epoch' });
const id = Type.String();

export const sessionSchema = Type.Object({
  id,
  name: Type.String(),
  startedS: instant,
  endedS: orNull(instant),
  timeZone: Type.String(),
  simulated: Type.Boolean(),
  starred: Type.Boolean(),
  notes: Type.String(),
  /** Null where nothing was recorded, or the recording is not kept any longer. */
  recording: orNull(Type.String()),
  recordingBytes: orNull(Type.Integer({ minimum: 0 })),
  /** When the recording was deleted, because recordings are kept for so long only. */
  recordingDeletedS: orNull(instant),
  shotCount: Type.Optional(Type.Integer({ minimum: 0 })),
  setCount: Type.Optional(Type.Integer({ minimum: 0 })),
});

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

export const factorSchema = Type.Object({
  factor: Type.String({ minLength: 1, maxLength: 60 }),
  level: Type.String({ minLength: 1, maxLength: 60 }),
});

export const setSchema = Type.Object({
  id,
  playerId: orNull(id),
  kind: Type.Enum([...setKinds]),
  name: Type.String(),
  spot: Type.String(),
  distanceM: orNull(Type.Number()),
  startedS: instant,
  endedS: orNull(instant),
  /** Counted for the whole set; null where single shots are told, or nothing. */
  total: orNull(Type.Object({ made: Type.Integer(), attempted: Type.Integer() })),
  notes: Type.String(),
  factors: Type.Array(factorSchema),
});

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

export const rotationSchema = Type.Object({
  id,
  sensorId: orNull(Type.String()),
  shotsEach: Type.Integer(),
  /** Counts the turns from 0. */
  turn: Type.Integer(),
  shotsInTurn: Type.Integer(),
  startedS: instant,
  playerIds: Type.Array(id),
  nextPlayerId: orNull(id),
});

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

export const markSchema = Type.Object({
  id,
  atS: instant,
  /** Standard error of `atS`. */
  uncertaintyS: Type.Number({ minimum: 0 }),
  clock: Type.Enum(['host', 'sensor']),
  origin: Type.Enum([...markOrigins]),
  sensorId: orNull(Type.String()),
  streamIndex: orNull(Type.Integer()),
  /** Recording time of the sensor's stream. */
  sensorTimeS: orNull(Type.Number()),
  name: Type.String(),
});

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

export const storedShotSchema = Type.Object({
  id,
  /** The name under which the live stream told of it. */
  shotId: orNull(Type.String()),
  setId: orNull(id),
  playerId: orNull(id),
  sensorId: orNull(Type.String()),
  /** Of its release. */
  atS: instant,
  outcome: Type.Enum([...outcomes]),
  missSide: orNull(Type.Enum([...missSides])),
  notes: Type.String(),
  analysisVersion: Type.String(),
  /** As in the live stream; what an older version of the analysis measured may lack measures that came since. */
  shot: Type.Unsafe<WireShot>({ type: 'object', additionalProperties: true }),
});

export function storedShotDocument(shot: StoredShot) {
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
    shot: shot.result.shot as WireShot,
  };
}

export const changeSchema = Type.Object({
  id,
  atS: instant,
  byRole: Type.String(),
  byName: Type.String(),
  action: Type.String(),
  rowCount: Type.Integer(),
  isUndone: Type.Boolean(),
});

export function changeDocument({ groupId, ...change }: EditGroup) {
  return { id: groupId, ...change };
}

export const rowChangeSchema = Type.Object({
  changeId: id,
  atS: instant,
  byRole: Type.String(),
  byName: Type.String(),
  action: Type.String(),
  before: orNull(Type.Record(Type.String(), Type.Unknown())),
  after: orNull(Type.Record(Type.String(), Type.Unknown())),
});

export function rowChangeDocument({ groupId, before, after, ...change }: RowChange) {
  return { changeId: groupId, ...change, before: before && { ...before }, after: after && { ...after } };
}

export const playerSchema = Type.Object({
  id,
  pseudonym: Type.String(),
  hand: Type.Enum([...hands]),
  ageBand: Type.Enum([...ageBands]),
  ballSize: Type.Integer(),
  hoopHeightM: Type.Number(),
  units: Type.Enum(['metric', 'us']),
  notes: Type.String(),
  consents: Type.Array(
    Type.Object({
      scope: Type.Enum([...consentScopes]),
      grantedS: instant,
      givenByRole: Type.String(),
      withdrawnS: orNull(instant),
    }),
  ),
});

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

export const keptSensorSchema = Type.Object({
  id: Type.String(),
  label: Type.String(),
  placement: Type.String(),
  ownerPlayerId: orNull(id),
  firstSeenS: instant,
  lastSeenS: instant,
});

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
