import Type from 'typebox';
import { nullReasons } from '../../foundation/measured.ts';
import { contactKinds, type ShotMeasureName, shotMeasureNames, startKinds } from '../../shots/shot.ts';
import type { Frozen } from './frozen.ts';

const reason = Type.Enum(Object.keys(nullReasons) as (keyof typeof nullReasons)[]);

const nullableNumber = Type.Union([Type.Number(), Type.Null()]);

/** A number with its doubt, or the reason why there is none. */
export const measuredSchema = Type.Union([
  Type.Object({
    value: Type.Number(),
    standardError: Type.Number({ minimum: 0 }),
    interval90: Type.Optional(Type.Tuple([Type.Number(), Type.Number()])),
    source: Type.Optional(Type.String()),
    flags: Type.Optional(Type.Array(Type.String())),
  }),
  Type.Object({ value: Type.Null(), reason }),
]);
export type WireMeasured = Frozen<Type.Static<typeof measuredSchema>>;

/** The names the page knows measures by. */
export type { ShotMeasureName };

const measuresSchema = Type.Object(
  Object.fromEntries(shotMeasureNames.map((name) => [name, measuredSchema])) as Record<
    ShotMeasureName,
    typeof measuredSchema
  >,
);

const timesSchema = <Schema extends Type.TSchema>(schema: Schema) =>
  Type.Object({ pickup: schema, lift: schema, release: schema, contact: schema });

const sensorShot = Type.Union([Type.Object({ sensorId: Type.String(), index: Type.Integer() }), Type.Null()]);

/** One measured shot. Times are seconds of the sensor's own recording clock. */
export const shotSchema = Type.Object({
  index: Type.Integer({ minimum: 0 }),
  stage: Type.Enum(['early', 'final']),
  startKind: Type.Enum([...startKinds]),
  pickupS: nullableNumber,
  liftS: nullableNumber,
  releaseS: nullableNumber,
  contactS: nullableNumber,
  timeErrorsS: timesSchema(nullableNumber),
  timeReasons: Type.Partial(timesSchema(reason)),
  contactKind: Type.Enum([...contactKinds]),
  pauseAt: Type.Union([Type.Literal('low'), Type.Literal('high'), Type.Null()]),
  measures: measuresSchema,
  /** With a ball and an arm sensor together: which of them saw the shot, and whose clock the times are of. */
  timesOf: Type.Optional(Type.Enum(['ball', 'wrist'])),
  ball: Type.Optional(sensorShot),
  wrist: Type.Optional(sensorShot),
  timeSources: Type.Optional(timesSchema(Type.Union([Type.Enum(['ball', 'wrist']), Type.Null()]))),
  /** What the two say differently of the shot as a whole. */
  flags: Type.Optional(Type.Array(Type.String())),
});
export type WireShot = Frozen<Type.Static<typeof shotSchema>>;
