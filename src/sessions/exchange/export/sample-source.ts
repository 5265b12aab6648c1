import type { HostLine } from '../../../shots/merge/host-line.ts';
import type { Session } from '../../database/session-records.ts';

/** One stream of one sensor in a recording: from a connection to its loss. */
export interface RecordedStream {
  readonly sensorId: string;
  readonly streamIndex: number;
  readonly placement: string;
  readonly nominalRateHz: number;
  readonly measuredRateHz: number | null;
  readonly accelRangeMps2: number | null;
  readonly gyroRangeRadps: number | null;
  readonly filterDelayS: number;
  readonly hasGyro: boolean;
  readonly isCalibrated: boolean;
  /** Host time over the stream's recording time, from all of the stream; null where no host time came. */
  readonly clock: HostLine | null;
}

/** A run of samples of one stream, in columns. */
export interface SampleBatch {
  readonly stream: RecordedStream;
  readonly length: number;
  /** Host time on the fitted clock of the whole stream, s since the Unix epoch, n. */
  readonly hostS: Float64Array;
  /** Calibrated, in the sensor's axes, 3n. */
  readonly accelMps2: Float64Array;
  readonly gyroRadps: Float64Array | null;
  /** Quaternions `[w, x, y, z]` from the sensor's axes to the room, 4n; null without a gyroscope. */
  readonly sensorToRoom: Float64Array | null;
  /** Standard errors of the direction of gravity and of the heading, rad, n each. */
  readonly inclinationSdRad: Float64Array;
  readonly headingSdRad: Float64Array;
  /** An OR of `sampleFlag` values, n. */
  readonly flags: Uint8Array;
}

/** The samples of one recording. */
export interface RecordingSamples {
  readonly streams: readonly RecordedStream[];
  /** What a raw recording has to carry along to be analysed elsewhere as here: a note of kind `settings`. */
  readonly settingsNote: Readonly<Record<string, unknown>>;
  /** What of it is known of each sensor, by id. */
  readonly setups: Readonly<Record<string, unknown>>;
  /** Samples in the order of the file. May be asked for several times. */
  batches(): AsyncGenerator<SampleBatch>;
}

/** The session that a recording is of. */
export type SampledSession = Pick<Session, 'id' | 'recording' | 'settings'>;

/** Opens the recording of a session, one after the other. */
export interface SampleSource {
  /** Path of the file, once it is open, for what is copied from it byte by byte. */
  fileOf(session: SampledSession): string;
  /** @throws UnreadableRecordingError when the file cannot be read. */
  open(session: SampledSession): Promise<RecordingSamples>;
}
