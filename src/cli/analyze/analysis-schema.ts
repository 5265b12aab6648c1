import Type from 'typebox';
import { nullReasons } from '../../foundation/measured.ts';
import { type MergeFlag, mergeFlags } from '../../shots/merge/merge-shots.ts';
import { armMounts, contactKinds, rejectedKinds, shotMeasureNames, shotTimes, startKinds } from '../../shots/shot.ts';

/** Version of the form of the document; raised when a field goes or changes its meaning, not when one is added. */
export const analysisSchemaVersion = 1;

/** What each measure is, unit included. */
const measureTexts = {
  pickupToReleaseS: 'time from pickup to release, s',
  liftToReleaseS: 'time from lift (lowest ball) to release, s',
  pauseS: 'longest unbroken time between pickup and release with vertical speed below 0.3 m/s, s',
  dipDepthM: 'drop of the ball from pickup to lift, m',
  sidePathM:
    "largest sideways excursion from the launch plane between pickup and release, m; positive to the shooter's left",
  flightS: 'time from release to first contact, s',
  spinRps: 'spin at release, revolutions per second',
  backspinRps: 'backspin part of the spin, revolutions per second',
  sidespinRps: 'sidespin part, revolutions per second; positive counter-clockwise seen from above',
  rifleSpinRps: 'part about the launch direction, revolutions per second; positive clockwise seen from behind',
  axisTiltDeg: "tilt of the spin axis, degrees; 0 is pure backspin, positive drifts to the shooter's left",
  launchSpeedMps: "speed of the ball's centre at release, m/s",
  launchAngleDeg: 'angle of the launch above horizontal, degrees',
  entryAngleDeg: 'angle below horizontal at ring height, degrees',
  apexM: 'highest point above release, m',
  speedMarginMps: 'launch speed above the least speed that reaches the ring from there, m/s',
  contactHardnessMps: 'impulse of the first contact per unit mass, m/s',
  sidewaysImpulseMps:
    "sideways impulse per unit mass in the last 80 ms before release, m/s; positive to the shooter's left",
  spinBeforeLiftRps: 'spin of the ball before the lift, revolutions per second',
  snapPeakDegps:
    "largest peak of the sensor's angular rate from 0.1 s before to 0.15 s after release, degrees per second",
  snapToReleaseS: 'time from that peak to release, s; positive when the peak came before release',
  forearmElevationDeg: 'line from elbow to wrist above horizontal at release, degrees',
  pathPlanarity:
    "RMS distance of the wrist's path, lift to release, from its best vertical plane, over the length of the path",
  followThroughS: 'time from release until the forearm turns faster than 60 degrees per second on its way down, s',
  headingChangeDeg: 'turn of the forearm about the vertical from take-off to landing, degrees',
} as const satisfies Record<(typeof shotMeasureNames)[number], string>;

const reasonDefinition = Type.Enum(Object.keys(nullReasons) as (keyof typeof nullReasons)[], {
  description: 'why there is no number',
});
const reason = Type.Unsafe<Type.Static<typeof reasonDefinition>>({ $ref: '#/$defs/reason' });

const nullable = <Schema extends Type.TSchema>(schema: Schema) => Type.Union([schema, Type.Null()]);
const number = (description: string) => Type.Number({ description });
const count = (description: string) => Type.Integer({ minimum: 0, description });
const numberOrNull = (description: string) => Type.Union([Type.Number(), Type.Null()], { description });

const measuredDefinition = Type.Union([
  Type.Object({
    value: Type.Number(),
    standardError: Type.Number({ minimum: 0 }),
    interval90: Type.Optional(
      Type.Array(Type.Number(), {
        minItems: 2,
        maxItems: 2,
        description: 'where the error is lopsided; otherwise value ± 1.645 standardError',
      }),
    ),
    source: Type.Optional(Type.String()),
    flags: Type.Optional(Type.Array(Type.String())),
  }),
  Type.Object({ value: Type.Null(), reason }),
]);
const measured = (description: string) =>
  Type.Unsafe<Type.Static<typeof measuredDefinition>>({ $ref: '#/$defs/measured', description });

function perName<Name extends string, Schema extends Type.TSchema>(
  names: readonly Name[],
  make: (name: Name) => Schema,
) {
  return Type.Object(Object.fromEntries(names.map((name) => [name, make(name)])) as Record<Name, Schema>);
}

/** With two sensors: a shot as one of them had it. */
const ownShot = (description: string) =>
  Type.Union([Type.Object({ sensorId: Type.String(), index: Type.Integer({ minimum: 0 }) }), Type.Null()], {
    description,
  });

const shotSchema = Type.Object({
  index: count('number of the shot in this recording, rising'),
  startKind: Type.Enum([...startKinds]),
  pickupS: numberOrNull('the hand meets the ball'),
  liftS: numberOrNull('last instant of the lowest ball before release'),
  releaseS: numberOrNull('the hand lets go'),
  contactS: numberOrNull('first contact after the flight'),
  timeErrorsS: perName(shotTimes, () => numberOrNull('standard error; null where the time is')),
  timeReasons: Type.Partial(perName(shotTimes, () => reason)),
  contactKind: Type.Enum([...contactKinds]),
  pauseAt: Type.Union([Type.Literal('low'), Type.Literal('high'), Type.Null()]),
  measures: perName(shotMeasureNames, (name) => measured(measureTexts[name])),
  ball: Type.Optional(ownShot('the shot as the sensor in the ball had it; null where it did not see it')),
  wrist: Type.Optional(ownShot('the shot as the sensor on the arm had it; null where it did not see it')),
  timeSources: Type.Optional(
    perName(shotTimes, () => nullable(Type.Enum(['ball', 'wrist'], { description: 'which sensor told this time' }))),
  ),
  flags: Type.Optional(
    Type.Array(Type.Enum(Object.keys(mergeFlags) as MergeFlag[]), {
      description: 'what the two sensors say differently of the shot',
    }),
  ),
});

const sensorSchema = nullable(
  Type.Object({
    nominalRateHz: number('stated by the sensor, or the usual step of a CSV recording'),
    accelRangeMps2: numberOrNull('end of the range; for a CSV recording as its values show it'),
    gyroRangeRadps: numberOrNull('end of the range; for a CSV recording as its values show it'),
    filterDelayS: number("group delay of the sensor's filter that was taken out"),
  }),
);

const parametersSchema = Type.Object({
  ballSize: Type.Union([Type.Literal(7), Type.Literal(6), Type.Literal(5)]),
  hoopHeightM: number('height of the ring above the floor'),
  releaseHeightM: numberOrNull("height of the ball's centre at release above the floor, where given"),
  distanceM: numberOrNull("floor distance from the feet to the point below the ring's centre, where given"),
  sensor: sensorSchema,
});

const recordingSchema = Type.Object({
  file: Type.String({ description: 'name of the file, without its folder' }),
  format: Type.Union([Type.Literal('csv'), Type.Literal('mcap')]),
  placement: Type.Enum(['ball', 'wrist']),
  mount: Type.Union([Type.Enum([...armMounts]), Type.Null()], {
    description:
      'where on the arm a sensor was worn, as stated by sensor or person; null for a ball or where nobody said it',
  }),
  simulated: nullable(Type.Boolean({ description: 'null where the recording does not say' })),
  sensorId: nullable(Type.String()),
  calibratedAt: Type.Optional(
    nullable(
      Type.String({ description: 'when the calibration of the sensor was made that was applied; null for none' }),
    ),
  ),
  hasGyro: Type.Boolean(),
  sampleCount: count('samples that could be used'),
  sampleRateHz: numberOrNull('as estimated from the recording'),
  startS: numberOrNull('time of the first sample'),
  durationS: number('from the first to the last sample, s'),
  timeZeroTick: numberOrNull("device tick at time 0; null for a CSV recording, whose times are the file's own"),
  gapCount: count('places where samples are missing'),
  clippedShare: Type.Number({ minimum: 0, maximum: 1, description: 'share of samples at the end of a range' }),
  badRows: count('rows of a CSV recording that were skipped'),
  badRowExamples: Type.Array(Type.Object({ line: count('line of the file, from 1'), reason: Type.String() })),
  ignoredColumns: Type.Array(Type.String()),
  notifications: nullable(
    Type.Object({
      received: count('notifications in the recording'),
      corrupt: count('of them not readable'),
      duplicate: count('of them repeated'),
      reordered: count('of them out of order'),
      missing: count('notifications that never came, by the numbers of those that did'),
      missingSamples: count('samples in them'),
      restarts: count('times the sensor started anew'),
    }),
  ),
  damage: nullable(
    Type.Object({
      isClosed: Type.Boolean({ description: 'false when the end of the file is missing' }),
      damagedChunks: count('stretches whose checksum was wrong'),
      brokenBytes: count('bytes that belong to no readable record'),
      places: Type.Array(Type.String()),
    }),
  ),
  endsInFlight: Type.Boolean({ description: 'the recording ends before the last flight did' }),
  warnings: Type.Array(Type.Object({ code: Type.String(), message: Type.String() })),
});

/** The one object that `analyze --json` prints. */
export const analysisSchema = Type.Object(
  {
    schemaVersion: Type.Literal(analysisSchemaVersion),
    analysis: Type.Object({
      version: Type.String({ description: 'raised whenever a result can change' }),
      parameters: parametersSchema,
    }),
    recording: recordingSchema,
    shots: Type.Array(shotSchema),
    rejected: Type.Array(
      Type.Object({
        startS: Type.Number(),
        endS: Type.Number(),
        kind: Type.Enum([...rejectedKinds]),
        reason: Type.String(),
        seenBy: Type.Optional(Type.Enum(['ball', 'wrist'], { description: 'with two sensors: which of them' })),
      }),
    ),
    arm: Type.Optional(
      Type.Object(
        { recording: recordingSchema, sensor: sensorSchema },
        {
          description:
            "with a sensor in the ball and one on the arm: that on the arm; all else, and every time of the shots, is of the ball's recording",
        },
      ),
    ),
  },
  {
    $schema: 'https://json-schema.org/draft/2020-12/schema',
    $defs: { reason: reasonDefinition, measured: measuredDefinition },
    title: 'Analysis of one recording by Seamwise',
    description: "Times are seconds of the recording's own clock (for a CSV recording its time column).",
  },
);

export type Analysis = Type.Static<typeof analysisSchema>;
export type AnalysisRecording = Analysis['recording'];
export type AnalysedShot = Analysis['shots'][number];
