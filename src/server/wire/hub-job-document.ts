import Type from 'typebox';
import { jobKinds, jobStates } from '../../sessions/database/job-tables.ts';
import type { Frozen } from './frozen.ts';

/** What `/api/hub/jobs` answers with. Instants are seconds since the Unix epoch, by the clock of the database. */

const orNull = <Schema extends Type.TSchema>(schema: Schema) => Type.Union([schema, Type.Null()]);

/** A piece of work that any worker of the hub may do. */
export const hubJobSchema = Type.Object({
  id: Type.String(),
  kind: Type.Enum([...jobKinds]),
  state: Type.Enum([...jobStates], {
    description: 'parked: it failed so often that somebody has to look at it; its reason says why',
  }),
  share: Type.Number({ minimum: 0, maximum: 1 }),
  byName: Type.String(),
  askedS: Type.Number(),
  endedS: orNull(Type.Number()),
  sessionId: orNull(Type.String()),
  /** The practice whose recording is gone through, as it is called now; null of an export, and of a practice that is gone. */
  session: orNull(Type.Object({ name: Type.String(), startedS: Type.Number() })),
  tries: Type.Integer({ minimum: 0 }),
  /** Who works on it, or did last. */
  worker: orNull(Type.String()),
  /** Why it failed last. */
  reason: orNull(Type.String()),
  counts: Type.Record(Type.String(), Type.Number()),
});
export type WireHubJob = Frozen<Type.Static<typeof hubJobSchema>>;

export const hubJobsSchema = Type.Object({
  /** How many there are in each state. */
  counts: Type.Object({
    waiting: Type.Integer(),
    running: Type.Integer(),
    done: Type.Integer(),
    parked: Type.Integer(),
    stopped: Type.Integer(),
  }),
  /** Those that run first, then what was put aside, what waits, and what has ended, each newest first. */
  jobs: Type.Array(hubJobSchema),
});
export type WireHubJobs = Frozen<Type.Static<typeof hubJobsSchema>>;
