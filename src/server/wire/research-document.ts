import Type from 'typebox';
import { shotPhases } from '../../sessions/database/tables.ts';
import type { Frozen } from './frozen.ts';

/** What the researcher's routes answer with. Instants are seconds since the Unix epoch. */

const orNull = <Schema extends Type.TSchema>(schema: Schema) => Type.Union([schema, Type.Null()]);

/** A time of a shot that a person set, in the recording time of the sensor that it names. */
export const correctionSchema = Type.Object({
  phase: Type.Enum([...shotPhases]),
  timeS: Type.Number(),
  /** Spacing of the samples between which it was set; how sure the person was is not known. */
  resolutionS: Type.Number(),
  sensorId: orNull(Type.String()),
  streamIndex: Type.Integer(),
  madeS: Type.Number(),
  byRole: Type.String(),
  byName: Type.String(),
});
export type WireCorrection = Frozen<Type.Static<typeof correctionSchema>>;

export const jobKinds = ['reanalysis', 'import', 'export'] as const;
export const jobStates = ['waiting', 'running', 'done', 'failed', 'stopped'] as const;

/** Work that goes on while the page shows something else. */
export const jobSchema = Type.Object({
  id: Type.String(),
  kind: Type.Enum([...jobKinds]),
  state: Type.Enum([...jobStates]),
  share: Type.Number({ minimum: 0, maximum: 1 }),
  byName: Type.String(),
  askedS: Type.Number(),
  endedS: orNull(Type.Number()),
  /** The session that it is about or that it made. */
  sessionId: orNull(Type.String()),
  /** Why it failed, or what was noticed, as sentences. */
  messages: Type.Array(Type.String()),
  /** Numbers of what came of it. */
  counts: Type.Record(Type.String(), Type.Number()),
});
export type WireJob = Frozen<Type.Static<typeof jobSchema>>;

/** A recording that was gone through again. */
export const analysisRunSchema = Type.Object({
  id: Type.String(),
  analysisVersion: Type.String(),
  madeS: Type.Number(),
  byRole: Type.String(),
  byName: Type.String(),
  again: Type.Integer(),
  changed: Type.Integer(),
  added: Type.Integer(),
  absorbed: Type.Integer(),
  notFound: Type.Integer(),
});
export type WireAnalysisRun = Frozen<Type.Static<typeof analysisRunSchema>>;

/** Where the parts of files go that are to be imported. */
export const uploadSchema = Type.Object({
  id: Type.String(),
  /** A part holds at most so many bytes. */
  partBytes: Type.Integer(),
  /** All files together hold at most so many. */
  limitBytes: Type.Integer(),
});
export type WireUpload = Frozen<Type.Static<typeof uploadSchema>>;

export const exportPreviewSchema = Type.Object({
  shots: Type.Integer(),
  sessions: Type.Integer(),
  players: Type.Integer(),
  /** Shots that stay here because their player has not agreed to an export. */
  withheld: Type.Array(Type.Object({ playerId: Type.String(), pseudonym: Type.String(), shots: Type.Integer() })),
  /** Shots that stay here because nobody is named for them. */
  unnamed: Type.Integer(),
  /** Sessions of which shots go out but no samples can: nothing was recorded, or it is not kept any longer. */
  withoutRecording: Type.Array(Type.Object({ sessionId: Type.String(), name: Type.String(), startedS: Type.Number() })),
  /** Size of the recordings that samples would be taken from. */
  recordingBytes: Type.Integer(),
});
export type WireExportPreview = Frozen<Type.Static<typeof exportPreviewSchema>>;

export const exportFilterSchema = Type.Object(
  {
    playerIds: Type.Optional(Type.Array(Type.String({ maxLength: 60 }), { maxItems: 500 })),
    sessionIds: Type.Optional(Type.Array(Type.String({ maxLength: 60 }), { maxItems: 500 })),
    fromDay: Type.Optional(Type.String({ maxLength: 10, description: 'first day, 2026-03-01' })),
    untilDay: Type.Optional(Type.String({ maxLength: 10, description: 'the day before which it ends' })),
    timeZone: Type.Optional(
      Type.String({ maxLength: 60, description: 'where these days begin; else that of the service' }),
    ),
    condition: Type.Optional(
      Type.Object(
        { factor: Type.String({ minLength: 1, maxLength: 60 }), level: Type.String({ minLength: 1, maxLength: 60 }) },
        { additionalProperties: false },
      ),
    ),
    withUnnamed: Type.Optional(Type.Boolean({ description: 'whoever shot agreed, and the asker knows that' })),
  },
  { additionalProperties: false },
);
export type WireExportFilter = Frozen<Type.Static<typeof exportFilterSchema>>;

/** What goes out beside the tables of shots, and whose instants are moved how. */
export const exportContents = {
  filter: exportFilterSchema,
  samples: Type.Optional(Type.Boolean()),
  bids: Type.Optional(Type.Boolean()),
  raw: Type.Optional(Type.Boolean()),
  shift: Type.Optional(Type.Enum(['none', 'one', 'per-player'])),
};
