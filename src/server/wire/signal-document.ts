import Type from 'typebox';
import type { Frozen } from './frozen.ts';

/** What the signal view is told. Times are seconds since the start of the session, on this machine's clock. */

const nullableNumber = Type.Union([Type.Number(), Type.Null()]);

/** Three axes and the magnitude of each. */
export const signalGroups = ['accel', 'gyro'] as const;
export type SignalGroup = (typeof signalGroups)[number];
export const mostSignalColumns = 4096;

export const signalStreamSchema = Type.Object({
  sensorId: Type.String(),
  /** Counts the connections of the sensor in this session, from 0. */
  streamIndex: Type.Integer({ minimum: 0 }),
  placement: Type.String(),
  rateHz: Type.Number(),
  hasGyro: Type.Boolean(),
  isCalibrated: Type.Boolean(),
  accelRangeMps2: nullableNumber,
  gyroRangeRadps: nullableNumber,
  fromS: Type.Number(),
  untilS: Type.Number(),
  sampleCount: Type.Integer({ minimum: 0 }),
  gapCount: Type.Integer({ minimum: 0 }),
  /** Session time is `zeroS + slope` times the sensor's own recording time, in which the times of shots are. */
  clock: Type.Object({ zeroS: Type.Number(), slope: Type.Number(), standardErrorS: Type.Number() }),
});
export type WireSignalStream = Frozen<Type.Static<typeof signalStreamSchema>>;

/** What is known of a session's samples; while they are being read, how far that is. */
export const signalsSchema = Type.Union([
  Type.Object({ state: Type.Literal('reading'), share: Type.Number({ minimum: 0, maximum: 1 }) }),
  Type.Object({
    state: Type.Literal('ready'),
    startedS: Type.Number({ description: 'start of the session, seconds since the Unix epoch' }),
    /** When the recording was read: one that still goes on has more by now. */
    readS: Type.Number(),
    isRunning: Type.Boolean(),
    streams: Type.Array(signalStreamSchema),
  }),
]);
export type WireSignals = Frozen<Type.Static<typeof signalsSchema>>;

const part = Type.Object({
  sensorId: Type.String(),
  streamIndex: Type.Integer({ minimum: 0 }),
  /** `samples`: each sample with its place; `columns`: the least and the greatest value in each column. */
  kind: Type.Enum(['samples', 'columns']),
  channels: Type.Integer({ minimum: 0 }),
  /** Samples that are shown, gaps between them counted too; columns. */
  length: Type.Integer({ minimum: 0 }),
  sampleCount: Type.Integer({ minimum: 0 }),
  /** First number of the part among those behind the head. */
  at: Type.Integer({ minimum: 0 }),
  /** Stretches without samples, the longest ones: s of the session. */
  gaps: Type.Array(Type.Tuple([Type.Number(), Type.Number()])),
});

/**
 * Head of an answer of the route of stretches. The answer is the length of this head in bytes (unsigned, 32 bits, little endian), the
 * head as JSON, filled up with spaces to a multiple of four bytes, and then numbers (32-bit floats, little endian). Of a part of `samples`
 * these are the places of the samples (columns from the left edge), then the values, channel by channel; a place that is not a number
 * stands where samples are missing. Of a part of `columns` they are pairs of the least and the greatest value, channel by channel; not a
 * number where a column holds no sample. Channels are x, y, z and the magnitude, those of the accelerometer (m/s²) first.
 */
export const signalWindowSchema = Type.Object({
  version: Type.Literal(1),
  fromS: Type.Number(),
  columnS: Type.Number(),
  columns: Type.Integer(),
  groups: Type.Array(Type.Enum([...signalGroups])),
  parts: Type.Array(part),
});
export type WireSignalWindow = Frozen<Type.Static<typeof signalWindowSchema>>;
export type WireSignalPart = Frozen<Type.Static<typeof part>>;
