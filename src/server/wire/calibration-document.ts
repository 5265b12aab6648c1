import Type from 'typebox';
import { firstMinuteSteps, firstMinuteTroubles } from '../../live/first-minute.ts';
import type { Frozen } from './frozen.ts';

const orNull = <Schema extends Type.TSchema>(schema: Schema) => Type.Union([schema, Type.Null()]);
const version = Type.Literal(1);
const why = Type.String({ description: 'a sentence' });
const three = Type.Tuple([Type.Number(), Type.Number(), Type.Number()]);

/** What the WebSocket `GET /api/sensors/:sensorId/first-minute` sends, as it changes. */
export const firstMinuteSchema = Type.Object({
  v: version,
  kind: Type.Literal('first-minute'),
  step: Type.Enum([...firstMinuteSteps]),
  share: Type.Number({ minimum: 0, maximum: 1, description: 'of the step' }),
  found: Type.Object({
    restErrorMps2: orNull(Type.Number()),
    gyroBiasRadps: orNull(three),
    spinRadps: orNull(Type.Number()),
    flightS: orNull(Type.Number()),
    swings: orNull(Type.Integer()),
  }),
  troubles: Type.Array(Type.Enum([...firstMinuteTroubles])),
});
export type FirstMinuteDocument = Frozen<Type.Static<typeof firstMinuteSchema>>;

const sides = ['+x', '-x', '+y', '-y', '+z', '-z'] as const;
const side = Type.Enum([...sides]);

/** What the WebSocket `GET /api/sensors/:sensorId/calibration` sends: what is to be done, and what came of the last act. */
export const calibrationSchema = Type.Object({
  v: version,
  kind: Type.Literal('calibration'),
  step: Type.Enum(['sides', 'checks', 'turns', 'done']),
  sidesMissing: Type.Array(side),
  checksLeft: Type.Integer(),
  turnsLeft: Type.Integer(),
  last: orNull(
    Type.Union([
      Type.Object({ kind: Type.Literal('position'), side }),
      Type.Object({ kind: Type.Literal('check'), errorMps2: Type.Number() }),
      Type.Object({ kind: Type.Literal('turn'), side, readDegrees: Type.Number() }),
      Type.Object({ kind: Type.Literal('refused'), why }),
    ]),
  ),
  /** With `done`: whether it lies on the disk, and if not, why. */
  kept: Type.Optional(orNull(Type.Boolean())),
  notKept: Type.Optional(why),
});
export type CalibrationDocument = Frozen<Type.Static<typeof calibrationSchema>>;

/** What either of them sends last where the sensor is not there. */
export const sensorGoneSchema = Type.Object({ v: version, kind: Type.Literal('gone'), why });
export type SensorGoneDocument = Frozen<Type.Static<typeof sensorGoneSchema>>;
