import Type from 'typebox';
import { shotMeasureNames } from '../../shots/shot.ts';
import type { Frozen } from './frozen.ts';

const orNull = <Schema extends Type.TSchema>(schema: Schema) => Type.Union([schema, Type.Null()]);
const pair = Type.Tuple([Type.Number(), Type.Number()]);

export const compareNotes = ['different-sensors', 'different-starts', 'modelled', 'same-shots', 'cut'] as const;

const side = Type.Object({
  kind: Type.Enum(['player', 'set']),
  id: Type.String(),
  /** Shots, and how many of them have the number. */
  shotCount: Type.Integer(),
  count: Type.Integer(),
  practices: Type.Integer(),
  median: orNull(Type.Number()),
  /** Of the median, with 90 %. */
  interval90: orNull(pair),
  quartiles: orNull(pair),
  /** In the order of time, with standard errors; null where a shot has no number. */
  shots: Type.Array(
    Type.Object({ atS: Type.Number(), value: orNull(Type.Number()), standardError: orNull(Type.Number()) }),
  ),
});

/** What `GET /api/compare` answers: two players or two sets side by side, values in the unit of the measure's name. */
export const compareSchema = Type.Object({
  measure: Type.Enum([...shotMeasureNames]),
  one: side,
  two: side,
  basis: Type.Enum(['practices', 'shots']),
  /** One less two with its 95 % interval; null where there is none. */
  difference: orNull(Type.Object({ value: Type.Number(), interval95: pair })),
  answer: Type.Enum(['differ', 'open', 'too-few']),
  notes: Type.Array(Type.Enum([...compareNotes])),
});
export type CompareDocument = Frozen<Type.Static<typeof compareSchema>>;
