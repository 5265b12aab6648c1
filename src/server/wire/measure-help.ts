import Type from 'typebox';
import { measureSensors } from '../../shots/measure-definitions.ts';
import { shotMeasureNames } from '../../shots/shot.ts';
import type { Frozen } from './frozen.ts';

/** What `GET /api/measures` answers. */
export const measureHelpSchema = Type.Object({
  measures: Type.Array(
    Type.Object({
      name: Type.Enum([...shotMeasureNames]),
      unit: Type.String({ description: 'as in exports' }),
      definition: Type.String(),
      method: Type.String(),
      limits: Type.String({ description: 'what makes the number doubtful or missing' }),
      sensors: Type.Enum([...measureSensors]),
      caution: Type.Optional(Type.String()),
    }),
  ),
});
export type MeasureHelp = Frozen<Type.Static<typeof measureHelpSchema>>['measures'][number];
