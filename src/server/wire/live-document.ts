import Type from 'typebox';
import { hands, outcomes } from '../../sessions/database/tables.ts';
import { rejectedKinds } from '../../shots/shot.ts';
import type { Frozen } from './frozen.ts';
import { shotSchema } from './shot-document.ts';

/**
 * The documents that a client of the live stream (`GET /api/live`, a WebSocket) receives, one a message.
 *
 * `shot`, `rejected` and `change` are numbered: `seq` rises with every one, across restarts of the service too, though not
 * always by one. A client that comes back asks for `/api/live?since=<highest seq it has>` and misses none.
 * `hello`, `sensor` and `roster` describe a state and are not numbered: their `seq` is that of the last numbered document.
 */
export const wireVersion = 1;

const seq = Type.Integer({ minimum: 0 });
const version = Type.Literal(wireVersion);
const instant = Type.String({ description: 'instant in UTC, ISO 8601 with milliseconds' });

export const sensorSchema = Type.Object({
  sensorId: Type.String(),
  state: Type.Enum(['searching', 'found', 'connecting', 'streaming', 'quiet', 'lost', 'unavailable', 'ended']),
  /** Why, in a sentence, where the state alone does not say it. */
  detail: Type.Union([Type.String(), Type.Null()]),
  notificationCount: Type.Integer({ minimum: 0 }),
  /** Notifications known to be missing, from the numbers the sensor gives them. */
  lostCount: Type.Integer({ minimum: 0 }),
  /** Notifications that could not be read. */
  corruptCount: Type.Integer({ minimum: 0 }),
  /** Of the sensor's clock against this machine's; null until it is known. */
  sampleRateHz: Type.Union([Type.Number(), Type.Null()]),
  /** What to do about the state on this system, in a sentence. */
  remedy: Type.Optional(Type.String()),
  /** What it says about itself; names come from strangers. */
  information: Type.Optional(
    Type.Object({
      name: Type.Union([Type.String(), Type.Null()]),
      model: Type.Union([Type.String(), Type.Null()]),
      firmwareRevision: Type.Union([Type.String(), Type.Null()]),
      batteryPercent: Type.Union([Type.Number(), Type.Null()]),
      rssiDbm: Type.Union([Type.Number(), Type.Null()]),
    }),
  ),
});
export type WireSensor = Frozen<Type.Static<typeof sensorSchema>>;

export const shotDocumentSchema = Type.Object({
  v: version,
  seq,
  kind: Type.Literal('shot'),
  /** The same for the early and the final document of one shot; never given twice. */
  shotId: Type.String(),
  /** The run of the service that made it: an early shot of an earlier run gets no final document any more. */
  runId: Type.String(),
  sensorId: Type.String(),
  /** Counts the connections of the sensor in this run, from 0: recording time starts anew with each. */
  streamIndex: Type.Optional(Type.Integer({ minimum: 0 })),
  /** When the shot was first told of: the same in its early and its final document. */
  at: instant,
  /** Receipt of the notification that completed it, on the host's clock, seconds since the Unix epoch. */
  hostTimeS: Type.Number(),
  /** True where no real sensor stands behind it. */
  simulated: Type.Boolean(),
  /** There with a final shot that is not on the disk: the disk takes nothing, or the player has not agreed to being recorded. */
  stored: Type.Optional(Type.Literal(false)),
  /** Whose it is, with a shot that is kept; null where nobody said yet. The roster knows the name. */
  playerId: Type.Optional(Type.Union([Type.String(), Type.Null()])),
  /** What became of it. A shot is told again, with a higher number, when player or outcome are put right. */
  outcome: Type.Optional(Type.Enum([...outcomes])),
  /** On a hub: name of the court that it was shot on. */
  court: Type.Optional(Type.String()),
  shot: shotSchema,
});
export type ShotDocument = Frozen<Type.Static<typeof shotDocumentSchema>>;

export const rejectedDocumentSchema = Type.Object({
  v: version,
  seq,
  kind: Type.Literal('rejected'),
  sensorId: Type.String(),
  at: instant,
  hostTimeS: Type.Number(),
  simulated: Type.Boolean(),
  /** The early shot that this takes back, if any. */
  shotId: Type.Union([Type.String(), Type.Null()]),
  rejected: Type.Object({
    startS: Type.Number(),
    endS: Type.Number(),
    kind: Type.Enum([...rejectedKinds]),
    reason: Type.String(),
  }),
});
export type RejectedDocument = Frozen<Type.Static<typeof rejectedDocumentSchema>>;

export const changeTopics = [
  'session',
  'set',
  'round',
  'player',
  'sensor',
  'shot',
  'mark',
  'club',
  'coaching',
] as const;

/** Says that something of a practice was changed, to be read anew; it holds no word of it. The last one of a topic and session stands. */
export const changeDocumentSchema = Type.Object({
  v: version,
  seq,
  kind: Type.Literal('change'),
  at: instant,
  topic: Type.Enum([...changeTopics]),
  /** Null where it is of no session, or of several. */
  sessionId: Type.Union([Type.String(), Type.Null()]),
});
export type ChangeDocument = Frozen<Type.Static<typeof changeDocumentSchema>>;

/**
 * Who the players are, as far as this client may know: a coach all of them, others those who agreed to being shown. Others stay
 * an id without a name.
 */
export const rosterDocumentSchema = Type.Object({
  v: version,
  seq,
  kind: Type.Literal('roster'),
  players: Type.Array(
    Type.Object({
      id: Type.String(),
      name: Type.String(),
      hand: Type.Enum([...hands]),
      /** Whether the name may stand on a screen that others see. */
      display: Type.Boolean(),
    }),
  ),
});
export type RosterDocument = Frozen<Type.Static<typeof rosterDocumentSchema>>;

export const sensorDocumentSchema = Type.Object({
  v: version,
  seq,
  kind: Type.Literal('sensor'),
  sensor: sensorSchema,
});
export type SensorDocument = Frozen<Type.Static<typeof sensorDocumentSchema>>;

/** Where the notifications come from, and how that does as a whole. */
export const sourceSchema = Type.Object({
  kind: Type.Enum(['simulated', 'replayed', 'bluetooth', 'browser']),
  state: Type.Enum(['starting', 'searching', 'ready', 'unavailable', 'closed']),
  detail: Type.Union([Type.String(), Type.Null()]),
  /** What to do about it on this system, where it is unavailable. */
  remedy: Type.Union([Type.String(), Type.Null()]),
});
export type WireSource = Frozen<Type.Static<typeof sourceSchema>>;

export const helloDocumentSchema = Type.Object({
  v: version,
  seq,
  kind: Type.Literal('hello'),
  /** Of the program. */
  version: Type.String(),
  /** Another one after every start of the service. */
  runId: Type.String(),
  simulated: Type.Boolean(),
  startedAt: instant,
  sensors: Type.Array(sensorSchema),
  source: Type.Optional(sourceSchema),
  /** Why shots or notifications cannot be kept at the moment, as a sentence; left out while they can. */
  storageFailure: Type.Optional(Type.String()),
  /** Where courts hand over to this service. */
  isHub: Type.Optional(Type.Literal(true)),
  /**
   * What the shots that follow are: `latest` the last ones, for a client that named no `since` or one this service
   * never gave; `complete` all since then; `incomplete` some since then were dropped and only the last ones follow.
   */
  catchUp: Type.Enum(['latest', 'complete', 'incomplete']),
});
export type HelloDocument = Frozen<Type.Static<typeof helloDocumentSchema>>;

/** The documents that are numbered and kept. */
export const numberedDocumentSchema = Type.Union([shotDocumentSchema, rejectedDocumentSchema, changeDocumentSchema]);
/** What a sensor's chain says, as a document. */
export type EventDocument = ShotDocument | RejectedDocument;
export type NumberedDocument = EventDocument | ChangeDocument;

export const liveDocumentSchema = Type.Union([
  helloDocumentSchema,
  sensorDocumentSchema,
  shotDocumentSchema,
  rejectedDocumentSchema,
  changeDocumentSchema,
  rosterDocumentSchema,
]);
export type LiveDocument = NumberedDocument | SensorDocument | HelloDocument | RosterDocument;
