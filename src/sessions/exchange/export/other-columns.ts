/** Tables beside that of shots: who shot, sets, synchronisation marks, and the streams of sensors. */
import type { Mark } from '../../database/mark-records.ts';
import type { Player } from '../../database/player-records.ts';
import type { SetFactor, ShotSet } from '../../database/session-records.ts';
import { type ExportColumn, numberColumn, textColumn, wholeColumn } from './export-column.ts';
import type { RecordedStream } from './sample-source.ts';

export interface ExportedPlayer {
  readonly player: Player;
  readonly name: string;
}

export const playerColumns: readonly ExportColumn<ExportedPlayer>[] = [
  textColumn('player', 'name made for this export', ({ name }) => name),
  textColumn('hand', 'shooting hand: right or left', ({ player }) => player.hand),
  textColumn('age_band', 'age in years: under-10, 10-12, 13-15, 16-18, adult', ({ player }) => player.age_band),
  wholeColumn('ball_size', 'usual size of the ball: 7, 6 or 5', ({ player }) => player.ball_size, {
    validRange: [5, 7],
  }),
  numberColumn('hoop_height_m', 'm', 'usual height of the ring above the floor', ({ player }) => player.hoop_height_m, {
    validRange: [1.5, 4],
  }),
];

/** What the rows of one session share. */
export interface SessionRow {
  readonly session: string;
  readonly shiftS: number;
  readonly sessionStartedS: number;
}

export interface ExportedSet extends SessionRow {
  readonly set: ShotSet & { readonly factors: readonly SetFactor[] };
  readonly name: string;
  readonly player: string;
}

export const setColumns: readonly ExportColumn<ExportedSet>[] = [
  textColumn('set', 'name made for this export', ({ name }) => name),
  textColumn('session', 'the practice', ({ session }) => session),
  textColumn('player', 'whose set it is, under a name made for this export', ({ player }) => player),
  textColumn('kind', 'drill, test or free', ({ set }) => set.kind),
  textColumn('spot', 'where it was shot from, as a person wrote it', ({ set }) => set.spot),
  numberColumn(
    'distance_m',
    'm',
    "floor distance from the feet to the point below the ring's centre, as a person said",
    ({ set }) => set.distance_m,
    { validRange: [0.5, 30] },
  ),
  textColumn('conditions', 'factor=level, separated by ";"', ({ set }) => conditionsText(set.factors)),
  numberColumn(
    'start_t_s',
    's',
    'start, seconds since the start of the session',
    ({ set, sessionStartedS }) => set.started_s - sessionStartedS,
  ),
  numberColumn('end_t_s', 's', 'end, seconds since the start of the session; empty while it runs', (row) =>
    row.set.ended_s === null ? null : row.set.ended_s - row.sessionStartedS,
  ),
  wholeColumn('total_made', 'shots made, where a person gave the total of the set', ({ set }) => set.total_made),
  wholeColumn('total_attempted', 'shots taken, where a person gave the total', ({ set }) => set.total_attempted),
];

/** @returns conditions in one cell. */
export function conditionsText(factors: readonly SetFactor[]): string {
  return factors.map(({ factor, level }) => `${factor}=${level}`).join(';');
}

export interface ExportedMark extends SessionRow {
  readonly mark: Mark;
  readonly sensor: string;
}

export const markColumns: readonly ExportColumn<ExportedMark>[] = [
  textColumn('session', 'the practice', ({ session }) => session),
  numberColumn(
    'at_s',
    's',
    'the marked instant, seconds since 1970 less the shift of this export',
    (row) => row.mark.at_s - row.shiftS,
  ),
  numberColumn(
    't_s',
    's',
    'the marked instant, seconds since the start of the session',
    ({ mark, sessionStartedS }) => mark.at_s - sessionStartedS,
  ),
  numberColumn('uncertainty_s', 's', 'one standard error of the instant', ({ mark }) => mark.uncertainty_s, {
    validRange: [0, 3600],
  }),
  textColumn(
    'clock',
    "host, or sensor: whose clock the mark was taken by, before it was carried to the host's",
    ({ mark }) => mark.clock,
  ),
  textColumn(
    'origin',
    'key, api (a program), taps (three taps on a sensor) or hand (set in the recording, by eye)',
    ({ mark }) => mark.origin,
  ),
  textColumn('sensor', 'which sensor was tapped, under a name made for this export', ({ sensor }) => sensor),
  numberColumn('sensor_time_s', 's', "the taps on the sensor's own recording clock", ({ mark }) => mark.sensor_time_s),
];

export interface ExportedStream extends SessionRow {
  readonly stream: RecordedStream;
  readonly player: string;
  readonly sensor: string;
  readonly rawSensorId: string;
}

export const streamColumns: readonly ExportColumn<ExportedStream>[] = [
  textColumn('session', 'the practice', ({ session }) => session),
  textColumn('player', 'whose stretches of it are exported, under a name made for this export', ({ player }) => player),
  textColumn('sensor', 'name made for this export', ({ sensor }) => sensor),
  wholeColumn(
    'stream',
    'counts the streams of the sensor in the session: a new one after each loss of connection',
    (row) => row.stream.streamIndex,
  ),
  textColumn(
    'placement',
    'ball, wrist-forearm, back-of-hand or unspecified, as the sensor says',
    ({ stream }) => stream.placement,
  ),
  numberColumn(
    'nominal_rate_hz',
    'Hz',
    'samples a second that the sensor states',
    ({ stream }) => stream.nominalRateHz,
  ),
  numberColumn(
    'measured_rate_hz',
    'Hz',
    'samples a second by the count and ticks of the stream',
    ({ stream }) => stream.measuredRateHz,
  ),
  numberColumn('accel_range_mps2', 'm/s^2', "end of the accelerometer's range", ({ stream }) => stream.accelRangeMps2),
  numberColumn(
    'gyro_range_radps',
    'rad/s',
    "end of the gyroscope's range; empty without one",
    ({ stream }) => stream.gyroRangeRadps,
  ),
  numberColumn(
    'filter_delay_s',
    's',
    "group delay of the sensor's own filter: a sample tells of the motion this much before its t_s",
    ({ stream }) => stream.filterDelayS,
  ),
  wholeColumn('calibrated', '1 where a calibration of the sensor was applied to its readings', ({ stream }) =>
    stream.isCalibrated ? 1 : 0,
  ),
  numberColumn(
    'clock_standard_error_s',
    's',
    "one standard error with which the sensor's clock is tied to t_s, beside the least delay of the radio, which no clock here can see",
    ({ stream }) => stream.clock?.hostTimeStandardErrorS ?? null,
    { method: 'line through the earliest notifications of each stretch of seconds' },
  ),
  numberColumn(
    'clock_drift_ppm',
    'ppm',
    "how much the host's clock gains on the sensor's",
    ({ stream }) => stream.clock?.driftPpm ?? null,
  ),
  textColumn('raw_sensor_id', 'id of the sensor in the raw recording of this export', ({ rawSensorId }) => rawSensorId),
];
