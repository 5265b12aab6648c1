import type { Measured } from '../foundation/measured.ts';
import type { ShotMeasureName, StartKind } from '../shots/shot.ts';
import { requireFinite } from '../study/checks.ts';
import { weightedMedian } from '../study/descriptive.ts';

/** Between `low` and `high` a measure is left alone; beyond an end a fault begins. SI or the measure's own unit. */
export interface Band {
  readonly target: number | null;
  readonly low: number | null;
  readonly high: number | null;
  readonly from: 'own-best-sets' | 'coach' | 'default';
  readonly source: string;
  /** The player's own level from each kind of start, where it hangs on the start; shots from other starts are not judged by it then. */
  readonly levels?: Readonly<Partial<Record<StartKind, number>>>;
}

/** A default band, and what a band from the player's own best sets is made with. */
export interface BandRow {
  readonly low: number | null;
  readonly high: number | null;
  /** Least distance from the player's own target to an end of the band. */
  readonly leastHalfWidth: number;
  /** Usual spread from shot to shot, only to limit wild values and to weigh doubtful ones. */
  readonly usualSpread: number;
  /** What it comes to hangs on where the ball came from: own levels are made for each kind of start. */
  readonly byStart?: true;
  readonly source: string;
}

const noSource = 'common practice, no source';

/** Defaults of every measure that a rule looks at. Contrasts and drifts have their own edges in the rules. */
export const bandTable = {
  axisTiltDeg: {
    low: -3,
    high: 3,
    leastHalfWidth: 3,
    usualSpread: 3,
    source: `${noSource}: pure backspin is the aim; values by level of play were not found`,
  },
  sidewaysImpulseMps: { low: -0.1, high: 0.1, leastHalfWidth: 0.1, usualSpread: 0.08, source: noSource },
  forearmElevationDeg: { low: 58, high: null, leastHalfWidth: 8, usualSpread: 4, source: noSource },
  speedMarginMps: {
    low: null,
    high: 0.2,
    leastHalfWidth: 0.2,
    usualSpread: 0.13,
    source:
      'release speeds of a player spread by 0.05 to 0.13 m/s (Slegers 2021, J. Sports Sci. Med. 20:508); edge: common practice',
  },
  entryAngleDeg: {
    low: 36,
    high: null,
    leastHalfWidth: 4,
    usualSpread: 2,
    source: 'a free throw of least speed comes in at 38.8° (Brancazio 1981); a clean pass of a large ball needs 32°',
  },
  backspinRps: {
    low: 1.5,
    high: null,
    leastHalfWidth: 0.4,
    usualSpread: 0.2,
    source:
      'forwards turn the ball 2.17 ± 0.2 times a second (18 seniors, casopisi.junis.ni.ac.rs, article 3908); edge: common practice',
  },
  pickupToReleaseS: {
    low: null,
    high: 1.1,
    leastHalfWidth: 0.12,
    usualSpread: 0.08,
    byStart: true,
    source:
      'youth 0.88 to 0.96 s (Vencurik 2021, IJERPH 18:934), guards 1.07 ± 0.28 s (casopisi.junis.ni.ac.rs, article 3908)',
  },
  pauseS: {
    low: null,
    high: 0.1,
    leastHalfWidth: 0.03,
    usualSpread: 0.03,
    byStart: true,
    source: `${noSource}: one rise; turning round at the bottom takes up to a tenth of a second`,
  },
  sidePathM: { low: -0.15, high: 0.15, leastHalfWidth: 0.1, usualSpread: 0.05, byStart: true, source: noSource },
  dipDepthM: { low: null, high: 0.3, leastHalfWidth: 0.1, usualSpread: 0.04, byStart: true, source: noSource },
  followThroughS: { low: 0.3, high: null, leastHalfWidth: 0.1, usualSpread: 0.1, source: noSource },
  headingChangeDeg: {
    low: -30,
    high: 30,
    leastHalfWidth: 10,
    usualSpread: 5,
    source: `${noSource}: a forearm rolls over by tens of degrees after the release, and by more or less with another spin`,
  },
  pathPlanarity: { low: null, high: 0.045, leastHalfWidth: 0.02, usualSpread: 0.01, source: noSource },
  liftToReleaseS: { low: null, high: null, leastHalfWidth: 0.08, usualSpread: 0.05, byStart: true, source: noSource },
  launchAngleDeg: {
    low: null,
    high: null,
    leastHalfWidth: 3,
    usualSpread: 1.3,
    source: 'launch angles of a player spread by 1.2° to 1.3° (Slegers 2021, J. Sports Sci. Med. 20:508)',
  },
} as const satisfies Partial<Record<ShotMeasureName, BandRow>>;

export type BandedMeasure = keyof typeof bandTable;
export type Bands = Readonly<Record<BandedMeasure, Band>>;

/** What coaching looks at in a shot. */
export interface CoachedShot {
  readonly startKind: StartKind;
  readonly measures: Readonly<Record<BandedMeasure, Measured>>;
}

export const bandedMeasures = Object.keys(bandTable) as BandedMeasure[];

/** What the coach set by hand for a measure. */
export interface CoachBand {
  readonly target?: number;
  readonly low?: number;
  readonly high?: number;
}

/** The measure in the shots of the sets that the player or the coach called the best. */
export interface BestSets {
  readonly sets: number;
  readonly shots: readonly {
    readonly value: number;
    readonly standardError: number;
    readonly startKind: StartKind;
  }[];
}

const leastBestShots = 20;
const leastBestSets = 2;
/** From fewer shots of a kind of start no level of it is made. */
const leastOfAKind = 5;
/** Makes a median absolute deviation the standard deviation of a normal distribution. */
const normalSpread = 1.4826;

/**
 * Bands of a player: what the coach set, else the player's own best sets, else the defaults.
 *
 * Own sets: target is the median, ends lie one own spread (the sensor's error taken out), and at least the table's half width, beyond
 * it, on the sides on which a fault is known. Fewer than 20 shots or two sets are too few to make a target. Shots weigh as they do in the
 * watch: those of which the sensor knew little say little. Where a measure hangs on the start, each kind of start has its own level, and
 * the spread is that about the levels.
 *
 * @throws SeamwiseError `statistic-input` for values that are no numbers.
 */
export function bandsFor(
  coach: Partial<Record<BandedMeasure, CoachBand>> = {},
  best: Partial<Record<BandedMeasure, BestSets>> = {},
): Bands {
  return Object.freeze(
    Object.fromEntries(bandedMeasures.map((measure) => [measure, bandOf(measure, coach[measure], best[measure])])),
  ) as Bands;
}

function bandOf(measure: BandedMeasure, coach: CoachBand | undefined, best: BestSets | undefined): Band {
  const row: BandRow = bandTable[measure];
  if (coach !== undefined) {
    requireFinite(`band of ${measure}`, Object.values(coach));
    const { target = null, low = row.low, high = row.high } = coach;
    return Object.freeze({ target, low, high, from: 'coach', source: 'set by the coach' });
  }
  if (best !== undefined && best.sets >= leastBestSets && best.shots.length >= leastBestShots) {
    return ownBand(measure, best);
  }
  return Object.freeze({ target: null, low: row.low, high: row.high, from: 'default', source: row.source });
}

function ownBand(measure: BandedMeasure, { sets, shots }: BestSets): Band {
  const row: BandRow = bandTable[measure];
  requireFinite(
    `best shots, ${measure}`,
    shots.map(({ value }) => value),
  );
  const middle = (of: (shot: BestSets['shots'][number]) => number, among = shots): number =>
    weightedMedian(
      among.map(of),
      among.map(({ standardError }) => shotWeight(row, standardError)),
    );
  const target = middle(({ value }) => value);
  const levels: Partial<Record<StartKind, number>> = {};
  for (const kind of row.byStart ? startsOf(shots) : []) {
    const own = shots.filter(({ startKind }) => startKind === kind);
    if (own.length >= leastOfAKind) levels[kind] = middle(({ value }) => value, own);
  }
  const isLevelled = Object.keys(levels).length > 0;
  const about = ({ startKind }: BestSets['shots'][number]): number => levels[startKind] ?? target;
  // Of the usual shot: one of which little is known must not hide the spread of all.
  const measured = normalSpread * middle((shot) => Math.abs(shot.value - about(shot)));
  const sensor = middle(({ standardError }) => standardError * standardError);
  const half = Math.max(row.leastHalfWidth, Math.sqrt(Math.max(0, measured ** 2 - sensor)));
  return Object.freeze({
    target,
    low: row.low === null ? null : target - half,
    high: row.high === null ? null : target + half,
    from: 'own-best-sets',
    source: `median of ${shots.length} shots in ${sets} best sets${isLevelled ? ', each kind of start by its own' : ''}`,
    ...(isLevelled && { levels: Object.freeze(levels) }),
  });
}

function startsOf(shots: BestSets['shots']): readonly StartKind[] {
  return [...new Set(shots.map(({ startKind }) => startKind))].filter((kind) => kind !== 'unknown');
}

/** @returns what a shot counts: all where the sensor knows it better than players repeat it, little where it knows little. */
export function shotWeight({ usualSpread }: Pick<BandRow, 'usualSpread'>, standardError: number): number {
  return usualSpread ** 2 / (usualSpread ** 2 + standardError ** 2);
}

/** @returns a value as if its start had been the usual one; null where the band knows no level of its start. */
export function evenedValue({ target, levels }: Band, startKind: StartKind, value: number): number | null {
  if (levels === undefined || target === null) return value;
  const level = levels[startKind];
  return level === undefined ? null : value - level + target;
}
