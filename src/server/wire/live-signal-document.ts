import Type from 'typebox';
import type { Frozen } from './frozen.ts';

/** What the WebSocket `GET /api/live-signals` sends: the samples of all sensors as they come. */

const nullableNumber = Type.Union([Type.Number(), Type.Null()]);

export const liveSignalVersion = 1;

/** One stream of one sensor of the running practice. */
export const liveStreamSchema = Type.Object({
  /** How the messages of samples call it. */
  stream: Type.Integer({ minimum: 0 }),
  sensorId: Type.String(),
  /** Counts the connections of the sensor, from 0. */
  streamIndex: Type.Integer({ minimum: 0 }),
  placement: Type.String(),
  rateHz: Type.Number(),
  hasGyro: Type.Boolean(),
  isCalibrated: Type.Boolean(),
  accelRangeMps2: nullableNumber,
  gyroRangeRadps: nullableNumber,
  /**
   * Seconds since the Unix epoch are `zeroS + slope` times the sensor's own recording time, in which samples and the times of shots
   * are, as far as is known by now; null before anything is.
   */
  clock: Type.Union([
    Type.Object({ zeroS: Type.Number(), slope: Type.Number(), standardErrorS: Type.Number() }),
    Type.Null(),
  ]),
});
export type WireLiveStream = Frozen<Type.Static<typeof liveStreamSchema>>;

/** Comes at once, when a stream begins or ends, and every second: clocks get better known. */
export const liveStreamsSchema = Type.Object({
  v: Type.Literal(liveSignalVersion),
  kind: Type.Literal('streams'),
  nowS: Type.Number({ description: 'on the clock of the service, seconds since the Unix epoch' }),
  streams: Type.Array(liveStreamSchema),
});
export type LiveStreamsDocument = Frozen<Type.Static<typeof liveStreamsSchema>>;

/**
 * Messages of samples are bytes, little endian: `number` (unsigned, 32 bits), which rises by one with each message, so that a page that
 * could not follow sees that some were left out; the count of parts (unsigned, 32 bits); when it was sent (64-bit float, seconds since the
 * Unix epoch). Of each part: stream, count of samples, count of axes, 3 or 6 (unsigned, 32 bits each), the recording time of the first
 * sample (64-bit float), and then, in 32-bit floats, seconds from the first sample to each, x, y and z of the accelerometer (m/s²), x, y and z
 * of the gyroscope (rad/s), one column after the other; last a byte a sample, an OR of 1 (accelerometer at the end of its range), 2
 * (gyroscope at the end of its range) and 4 (samples are missing before it), filled up to a multiple of four bytes.
 */
export const liveSignalLayout = { headBytes: 16, partHeadBytes: 20 } as const;
