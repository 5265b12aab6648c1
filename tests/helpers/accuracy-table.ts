import type { ShotTruth } from '../../src/simulate/practice-truth.ts';
import type { BoundedMeasure } from './flight-information.ts';
import type { PlayedPractice } from './play-practice.ts';
import {
  addToScore,
  type Comparison,
  emptyScore,
  type NullCase,
  type Score,
  summarise,
  type Tally,
} from './score-shots.ts';
import type { ShotBound } from './session-bound.ts';
import type { WayMeasure } from './way-information.ts';

/** What one number of the table must reach. */
export interface AccuracyGoal {
  readonly name: string;
  /** Time or measure as the score names it. */
  readonly quantity: string;
  /** Largest RMS error, in the quantity's unit or, where `relative`, as a share of the truth. */
  readonly atMost: number;
  readonly relative?: boolean;
  readonly keep?: (shot: { readonly startKind: string; readonly contactKind: string }) => boolean;
}

const held = (shot: { readonly startKind: string }) => shot.startKind === 'hold';
const net = (shot: { readonly contactKind: string }) => shot.contactKind === 'net';
const hard = (shot: { readonly contactKind: string }) => ['ring', 'board', 'floor'].includes(shot.contactKind);

export const accuracyGoals: readonly AccuracyGoal[] = [
  { name: 'release, s', quantity: 'release', atMost: 0.002 },
  { name: 'pickup of dribble and catch, s', quantity: 'pickup', atMost: 0.008, keep: (shot) => !held(shot) },
  { name: 'pickup of hold, s', quantity: 'pickup', atMost: 0.04, keep: held },
  { name: 'contact with ring, board, floor, s', quantity: 'contact', atMost: 0.003, keep: hard },
  { name: 'contact with net, s', quantity: 'contact', atMost: 0.008, keep: net },
  { name: 'spin, share', quantity: 'spinRps', atMost: 0.005, relative: true },
  { name: 'axis tilt, deg', quantity: 'axisTiltDeg', atMost: 0.7 },
  { name: 'launch speed, m/s', quantity: 'launchSpeedMps', atMost: 0.08 },
  { name: 'launch angle, deg', quantity: 'launchAngleDeg', atMost: 0.6 },
  { name: 'entry angle, deg', quantity: 'entryAngleDeg', atMost: 0.7 },
  { name: 'dip depth, m', quantity: 'dipDepthM', atMost: 0.025 },
  { name: 'side path, m', quantity: 'sidePathM', atMost: 0.07 },
  { name: 'pause, s', quantity: 'pauseS', atMost: 0.025 },
];

/** Largest share of shots with a null that no definition demands, and least share of right start kinds. */
export const nullShareGoal = 0.02;
export const startKindGoal = 0.98;
/** Largest ratio of an RMS error to its bound; a goal below 1.2 bounds is replaced by 1.2 bounds. */
export const boundRatioGoal = 1.5;
const boundSlack = 1.2;

/** Scores of many practices with the bounds of their shots. */
export class AccuracyTable {
  readonly score: Score = emptyScore();
  readonly #bounds = new Map<string, ShotBound>();
  readonly #contactHeightsM = new Map<string, number[]>();
  /** Shots that were found, by seed and index, with whether the gyroscope clipped in their flight. */
  readonly clipped = new Set<string>();
  durationS = 0;
  samples = 0;
  analyseMs = 0;

  add(played: PlayedPractice): void {
    addToScore(this.score, played.truth, played.reported, played.gaps);
    for (const [i, shot] of played.truth.shots.entries()) {
      const bound = played.bounds?.[i];
      if (bound) {
        this.#bounds.set(keyOf(played.seed, shot.index), bound);
        const heightsM = this.#contactHeightsM.get(shot.contactKind) ?? [];
        this.#contactHeightsM.set(shot.contactKind, [...heightsM, bound.contactAboveRingM]);
      }
      if (played.gyroClipped[i]) this.clipped.add(keyOf(played.seed, shot.index));
    }
    this.durationS += played.durationS;
    this.samples += played.samples;
    this.analyseMs += played.analyseMs;
  }

  isClipped(c: { readonly seed: string; readonly truth: { readonly index: number } }): boolean {
    return this.clipped.has(keyOf(c.seed, c.truth.index));
  }

  /** @returns one line of the table, or null where nothing was compared or null. */
  row(goal: AccuracyGoal): AccuracyRow | null {
    const tally = this.score.quantities.get(goal.quantity);
    if (!tally) return null;
    const keep = (c: { readonly truth: Comparison['truth'] }) => goal.keep?.(c.truth) ?? true;
    const errors = tally.comparisons.filter(keep).map((c) => ({ c, size: Math.abs(c.error) / unitOf(goal, c) }));
    const nulls = tally.nullCases.filter(keep);
    const unexcused = nulls.filter((n) => !n.excused);
    const rms = rootMeanSquare(errors.map((e) => e.size));
    const compared = errors.map((e) => e.c);
    const bounds = this.#boundsOf(goal, compared, 'samePriors');
    const bound = rootMeanSquareOf(bounds);
    const boundedRms = rootMeanSquare(errors.filter((_, i) => bounds[i] !== null).map((e) => e.size));
    const plainAirBounds = this.#boundsOf(goal, compared, 'plainAir');
    const plainAirBound = rootMeanSquareOf(plainAirBounds);
    // The narrower bound moves a goal, so that wide priors cannot; and how well a contact tells the ring's height is no
    // matter of noise: only the flight's own part may move the goal of the entry angle.
    const firm = goal.quantity === 'entryAngleDeg' ? [this.entryBoundGivenHeight('plainAir')] : plainAirBounds;
    // Where a shot has no bound, the goal stays what it is.
    const effective = rootMeanSquare(firm.map((each) => (each === null ? goal.atMost : boundSlack * each)));
    return {
      goal,
      n: errors.length,
      rms,
      median: errors.map((e) => e.size).sort((a, b) => a - b)[Math.floor(errors.length / 2)] ?? Number.NaN,
      meanStandardError: rootMeanSquare(errors.map(({ c }) => c.standardError / unitOf(goal, c))),
      cover90: errors.filter((e) => e.c.inside90).length / errors.length,
      bound,
      ratio: bound === null ? null : boundedRms / bound,
      plainAirBound,
      atMost: Math.max(goal.atMost, effective || 0),
      nullShare: unexcused.length / Math.max(1, errors.length + unexcused.length),
      nulls: byReason(unexcused),
      demandedNulls: byReason(nulls.filter((n) => n.excused)),
      insideGap: tally.insideGap,
      unfounded: tally.unfounded,
      worst: errors
        .sort((a, b) => b.size - a.size)
        .slice(0, 3)
        .map(({ c, size }) => describeCase(c, size)),
    };
  }

  /** Bound of each comparison; null where it has none. */
  #boundsOf(goal: AccuracyGoal, compared: readonly Comparison[], which: BoundKind): (number | null)[] {
    return compared.map((c) => {
      const shot = this.#bounds.get(keyOf(c.seed, c.truth.index));
      const bounds = shot?.[which];
      if (!shot || !bounds || !(goal.quantity in bounds)) return null;
      const height = shot.entryDegPerM * this.ringHeightSpreadM(c.truth.contactKind);
      const bound =
        goal.quantity === 'entryAngleDeg'
          ? Math.hypot(bounds.entryFromContactDeg, height)
          : bounds[goal.quantity as BoundedMeasure | WayMeasure];
      return bound === null ? null : bound / unitOf(goal, c);
    });
  }

  /**
   * How much the ball's true height over the ring at its first contact scatters among contacts of one kind: what knowing the
   * kind alone says of the ring's height.
   */
  ringHeightSpreadM(contactKind: string): number {
    const heightsM = this.#contactHeightsM.get(contactKind) ?? [];
    const mean = heightsM.reduce((sum, h) => sum + h, 0) / heightsM.length;
    return rootMeanSquare(heightsM.map((h) => h - mean));
  }

  /** Bound of the entry angle if the ring's height above release were known exactly. */
  entryBoundGivenHeight(which: BoundKind): number | null {
    const compared = this.score.quantities.get('entryAngleDeg')?.comparisons ?? [];
    const bounds = compared.flatMap((c) => this.#bounds.get(keyOf(c.seed, c.truth.index))?.[which].entryAngleDeg ?? []);
    return bounds.length === 0 ? null : rootMeanSquare(bounds);
  }
}

/** With the analyser's priors, or with an air known to have no buoyancy and a constant drag coefficient. */
export type BoundKind = 'samePriors' | 'plainAir';

const keyOf = (seed: string, index: number) => `${seed}/${index}`;

function unitOf(goal: AccuracyGoal, c: Comparison): number {
  if (goal.relative !== true) return 1;
  return c.truth.measures[goal.quantity as 'spinRps'].value ?? Number.NaN;
}

export interface AccuracyRow {
  readonly goal: AccuracyGoal;
  readonly n: number;
  readonly rms: number;
  readonly median: number;
  /** Root mean square of what the analyser itself says. */
  readonly meanStandardError: number;
  readonly cover90: number;
  readonly bound: number | null;
  readonly plainAirBound: number | null;
  readonly ratio: number | null;
  /** The goal after the bound had its say. */
  readonly atMost: number;
  readonly nullShare: number;
  readonly nulls: Readonly<Record<string, number>>;
  readonly demandedNulls: Readonly<Record<string, number>>;
  readonly insideGap: number;
  readonly unfounded: number;
  readonly worst: readonly string[];
}

function rootMeanSquare(values: readonly number[]): number {
  if (values.length === 0) return Number.NaN;
  return Math.sqrt(values.reduce((sum, value) => sum + value * value, 0) / values.length);
}

/** Of those that are there; null where none is. */
function rootMeanSquareOf(values: readonly (number | null)[]): number | null {
  const there = values.filter((value) => value !== null);
  return there.length === 0 ? null : rootMeanSquare(there);
}

function byReason(nulls: readonly NullCase[]): Record<string, number> {
  const counts: Record<string, number> = {};
  for (const { reason } of nulls) counts[reason] = (counts[reason] ?? 0) + 1;
  return counts;
}

function describeCase(c: Comparison, size: number): string {
  const { truth, seed, error, standardError } = c;
  const told = `seed ${seed} shot ${truth.index} (${truth.setting.start}, ${truth.contactKind}, ${truth.setting.aim})`;
  return `${told} at ${truth.releaseS.toFixed(2)} s: error ${short(error)}, standard error ${short(standardError)}, counts ${short(size)}`;
}

export function short(value: number | null): string {
  return value === null ? '–' : Number.isFinite(value) ? String(Number(value.toPrecision(3))) : 'none';
}

const plainReasons = (reasons: Readonly<Record<string, number>>) =>
  Object.entries(reasons)
    .map(([reason, n]) => `${reason} ${n}`)
    .join(', ');

/** The table as text, a line a row. */
export function tableLines(rows: readonly AccuracyRow[]): string[] {
  const cells = rows.map((row) => [
    row.goal.name,
    String(row.n),
    short(row.rms),
    short(row.atMost),
    short(row.median),
    short(row.meanStandardError),
    `${(100 * row.cover90).toFixed(0)} %`,
    row.bound === null ? 'no bound computed' : `${short(row.bound)} (${short(row.ratio)}), ${short(row.plainAirBound)}`,
    [
      plainReasons(row.nulls),
      row.demandedNulls && plainReasons(row.demandedNulls) && `[${plainReasons(row.demandedNulls)}]`,
    ]
      .filter(Boolean)
      .join(' '),
  ]);
  const head = [
    '',
    'n',
    'RMS',
    'goal',
    'median',
    'own error',
    'covers',
    'bound (ratio), in plain air',
    'nulls [demanded]',
  ];
  const all = [head, ...cells];
  const widths = head.map((_, column) => Math.max(...all.map((line) => (line[column] as string).length)));
  return all.map((line) =>
    line
      .map((cell, column) => cell.padEnd(widths[column] as number))
      .join('  ')
      .trimEnd(),
  );
}

/** A row as plain figures. */
export function rowFigures(row: AccuracyRow) {
  const { goal, worst, ...figures } = row;
  return { quantity: goal.name, goal: goal.atMost, ...figures, worst };
}

/** Coverage of the 90 % intervals and mean squared z of one quantity. */
export interface CoverageFigures {
  readonly n: number;
  readonly cover90: number;
  readonly meanSquaredZ: number;
  readonly rms: number;
  readonly meanStandardError: number;
  readonly nulls: Readonly<Record<string, number>>;
  /** Worst by |z|, so that they can be played again. */
  readonly worst: readonly string[];
}

/** @param keep of which shots the numbers and nulls count. */
export function coverageOf(
  tally: Tally,
  keep: (c: { readonly truth: ShotTruth }) => boolean = () => true,
): CoverageFigures {
  const summary = summarise(tally, keep);
  const z = (c: Comparison) => Math.abs(c.error) / c.standardError;
  const worst = tally.comparisons.filter(keep).sort((a, b) => z(b) - z(a));
  return {
    n: summary.n,
    cover90: summary.cover90,
    meanSquaredZ: summary.meanSquaredZ,
    rms: summary.rms,
    meanStandardError: summary.meanStandardError,
    nulls: byReason(tally.nullCases.filter(keep)),
    worst: worst.slice(0, 3).map((c) => describeCase(c, z(c))),
  };
}
