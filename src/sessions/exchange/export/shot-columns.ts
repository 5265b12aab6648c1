import type { MeasuredValue } from '../../../foundation/measured.ts';
import type { Shot, ShotTime } from '../../../shots/shot.ts';
import type { StoredShot } from '../../database/shot-records.ts';
import type { TimeCorrection } from '../../database/time-correction-records.ts';
import { type ExportColumn, numberColumn, textColumn, wholeColumn } from './export-column.ts';

/** What the dictionary says of a measure, as whoever composes the program knows it. */
export interface DefinedMeasure {
  readonly name: keyof Shot['measures'];
  readonly unit: string;
  readonly definition: string;
  readonly method: string;
  readonly validRange: readonly [number, number];
}

/** One shot as it is exported. */
export interface ExportedShot {
  readonly stored: StoredShot;
  /** Names that say nothing of the person. */
  readonly player: string;
  readonly session: string;
  readonly sensor: string;
  readonly set: string;
  /** Seconds that are taken from every instant. */
  readonly shiftS: number;
  /** Start of the session, as it is in the database. */
  readonly sessionStartedS: number;
  readonly conditions: string;
  /** Times that a person set, as far as they are of the recording clock that the shot's own times are of. */
  readonly byHand: readonly Pick<TimeCorrection, 'phase' | 'time_s' | 'resolution_s'>[];
}

const times = ['pickup', 'lift', 'release', 'contact'] as const satisfies readonly ShotTime[];

/** @returns every column of the table of shots. */
export function shotExportColumns(measures: readonly DefinedMeasure[]): ExportColumn<ExportedShot>[] {
  return [
    textColumn('session', 'the practice', ({ session }) => session),
    textColumn('set', 'consecutive shots of one player under one condition; empty outside a set', ({ set }) => set),
    textColumn(
      'player',
      'who shot, under a name made for this export; empty where nobody said',
      ({ player }) => player,
    ),
    textColumn('sensor', 'which sensor measured, under a name made for this export', ({ sensor }) => sensor),
    textColumn('conditions', 'factor=level of the set, separated by ";"', ({ conditions }) => conditions),
    numberColumn(
      'at_s',
      's',
      'instant of release, seconds since 1970 less the shift of this export',
      ({ stored, shiftS }) => stored.at_s - shiftS,
    ),
    numberColumn(
      't_s',
      's',
      'instant of release, seconds since the start of the session: the same time as t_s of the other tables',
      ({ stored, sessionStartedS }) => stored.at_s - sessionStartedS,
    ),
    wholeColumn(
      'shot_index',
      'count of the shot in the stream of its sensor, from 0',
      ({ stored }) => stored.shot_index,
    ),
    textColumn(
      'start_kind',
      'how the ball came to the hand: dribble, catch, hold, unknown',
      ({ stored }) => stored.result.shot.startKind,
    ),
    textColumn(
      'contact_kind',
      'what the ball met first: ring, board, net, floor, hands, unknown',
      ({ stored }) => stored.result.shot.contactKind,
    ),
    textColumn(
      'pause_at',
      'where the longest pause was: low or high; empty without one',
      ({ stored }) => stored.result.shot.pauseAt,
    ),
    textColumn('outcome', 'make, miss or unknown, as a person said', ({ stored }) => stored.outcome),
    textColumn('miss_side', 'short, long, left or right, as a person said', ({ stored }) => stored.miss_side),
    textColumn(
      'analysis_version',
      'version of the analysis that gave the numbers',
      ({ stored }) => stored.result.analysisVersion,
    ),
    ...times.flatMap(timeColumns),
    ...measures.flatMap(measureColumns),
  ];
}

function timeColumns(time: ShotTime): ExportColumn<ExportedShot>[] {
  const common = { unit: 's', method: '', validRange: null, type: 'number' } as const;
  const shotOf = ({ stored }: ExportedShot) => stored.result.shot;
  return [
    {
      ...common,
      name: `${time}_s`,
      definition: `${time}, seconds of the sensor's own recording clock`,
      cell: (row) => shotOf(row)[`${time}S`],
    },
    {
      ...common,
      name: `${time}_standard_error_s`,
      definition: `one standard error of ${time}_s`,
      cell: (row) => shotOf(row).timeErrorsS[time],
    },
    textColumn(`${time}_reason`, `why ${time}_s is empty`, (row) => shotOf(row).timeReasons[time] ?? null),
    {
      ...common,
      name: `${time}_by_hand_s`,
      definition: `${time} as a person set it, on the clock of ${time}_s, which stays what the analysis says; empty where nobody did`,
      cell: ({ byHand }) => byHand.find(({ phase }) => phase === time)?.time_s ?? null,
    },
    {
      ...common,
      name: `${time}_by_hand_resolution_s`,
      definition: `spacing of the samples between which ${time}_by_hand_s was set; how sure the person was is not known`,
      cell: ({ byHand }) => byHand.find(({ phase }) => phase === time)?.resolution_s ?? null,
    },
  ];
}

function measureColumns(measure: DefinedMeasure): ExportColumn<ExportedShot>[] {
  const { name, unit, definition, method, validRange } = measure;
  const column = snakeCase(name);
  const stem = column.replace(/_(s|m|rps|mps|deg|degps)$/, '');
  const end = column.slice(stem.length);
  const of = ({ stored }: ExportedShot) => stored.result.shot.measures[name];
  const givenBy = (row: ExportedShot): MeasuredValue | null => {
    const measured = of(row);
    return measured && measured.value !== null ? measured : null;
  };
  const number = { type: 'number', unit, method, validRange: null } as const;
  return [
    { name: column, type: 'number', unit, definition, method, validRange, cell: (row) => givenBy(row)?.value ?? null },
    {
      ...number,
      name: `${stem}_standard_error${end}`,
      definition: `one standard error of ${column}`,
      cell: (row) => givenBy(row)?.standardError ?? null,
    },
    {
      ...number,
      name: `${stem}_low90${end}`,
      definition: `lower end of the 90 % interval of ${column}`,
      cell: (row) => ends(givenBy(row))[0],
    },
    {
      ...number,
      name: `${stem}_high90${end}`,
      definition: `upper end of the 90 % interval of ${column}`,
      cell: (row) => ends(givenBy(row))[1],
    },
    textColumn(
      `${stem}_source`,
      `which sensor or model gave ${column}, where more than one could`,
      (row) => givenBy(row)?.source ?? null,
    ),
    textColumn(
      `${stem}_flags`,
      `remarks on ${column}, separated by ";"`,
      (row) => givenBy(row)?.flags?.join(';') ?? null,
    ),
    textColumn(`${stem}_reason`, `why ${column} is empty`, (row) => {
      const measured = of(row);
      return measured && measured.value === null ? measured.reason : null;
    }),
  ];
}

/** Quantile of the normal distribution that leaves 5 % on either side. */
const z90 = 1.6448536269514722;

function ends(measured: MeasuredValue | null): readonly [number | null, number | null] {
  if (!measured) return [null, null];
  const { value, standardError, interval90 } = measured;
  return interval90 ?? [value - z90 * standardError, value + z90 * standardError];
}

/** @returns the columns of the measures alone. */
export function measureColumnsOf(measures: readonly DefinedMeasure[]): ExportColumn<ExportedShot>[] {
  return measures.flatMap(measureColumns);
}

/** @returns `launch_speed_mps` of `launchSpeedMps`. */
export function snakeCase(name: string): string {
  return name.replace(/[A-Z]/g, (letter) => `_${letter.toLowerCase()}`);
}
