import Type from 'typebox';
import {
  ageBands,
  consentScopes,
  hands,
  markOrigins,
  missSides,
  outcomes,
  setKinds,
} from '../../sessions/database/tables.ts';
import type { Frozen } from './frozen.ts';
import { correctionSchema } from './research-document.ts';
import type { WireShot } from './shot-document.ts';

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
export type WireSession = Frozen<Type.Static<typeof sessionSchema>>;

export const factorSchema = Type.Object({
  factor: Type.String({ minLength: 1, maxLength: 60 }),
  level: Type.String({ minLength: 1, maxLength: 60 }),
});
export type WireFactor = Frozen<Type.Static<typeof factorSchema>>;

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
export type WireSet = Frozen<Type.Static<typeof setSchema>>;

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
export type WireRotation = Frozen<Type.Static<typeof rotationSchema>>;

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
  /** Counts the connections of the sensor in the session, from 0: in the recording time of this stream are the times of the shot. */
  streamIndex: Type.Integer({ minimum: 0 }),
  /** Times that a person set beside those of the analysis. */
  corrections: Type.Array(correctionSchema),
  /** As in the live stream; what an older version of the analysis measured may lack measures that came since. */
  shot: Type.Unsafe<WireShot>({ type: 'object', additionalProperties: true }),
});
export type WireStoredShot = Frozen<Type.Static<typeof storedShotSchema>>;

/** How many shots of a session are whose and in which set. */
export const sessionShotsSchema = Type.Object({
  playerId: orNull(id),
  setId: orNull(id),
  count: Type.Integer({ minimum: 1 }),
});
export type WireSessionShots = Frozen<Type.Static<typeof sessionShotsSchema>>;

export const changeSchema = Type.Object({
  id,
  atS: instant,
  byRole: Type.String(),
  byName: Type.String(),
  action: Type.String(),
  rowCount: Type.Integer(),
  isUndone: Type.Boolean(),
});
export type WireChange = Frozen<Type.Static<typeof changeSchema>>;

export const rowChangeSchema = Type.Object({
  changeId: id,
  atS: instant,
  byRole: Type.String(),
  byName: Type.String(),
  action: Type.String(),
  before: orNull(Type.Record(Type.String(), Type.Unknown())),
  after: orNull(Type.Record(Type.String(), Type.Unknown())),
});

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
export type WirePlayer = Frozen<Type.Static<typeof playerSchema>>;

export const keptSensorSchema = Type.Object({
  id: Type.String(),
  label: Type.String(),
  placement: Type.String(),
  ownerPlayerId: orNull(id),
  firstSeenS: instant,
  lastSeenS: instant,
});
export type WireKeptSensor = Frozen<Type.Static<typeof keptSensorSchema>>;
