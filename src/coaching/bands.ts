import type { ShotMeasureName } from '../shots/shot.ts';
import { requireFinite } from '../study/checks.ts';
import { median, robustSpread } from '../study/descriptive.ts';

/** Between `low` and `high` a measure is left alone; beyond an end a fault begins. SI or the measure's own unit. */
export interface Band {
  readonly target: number | null;
  readonly low: number | null;
  readonly high: number | null;
  readonly from: 'own-best-sets' | 'coach' | 'default';
  readonly source: string;
}

/** A default band, and what a band from the player's own best sets is made with. */
export interface BandRow {
  readonly low: number | null;
  readonly high: number | null;
  /** Least distance from the player's own target to an end of the band. */
  readonly leastHalfWidth: number;
  /** Usual spread from shot to shot, only to limit wild values and to weigh doubtful ones. */
  readonly usualSpread: number;
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
    source:
      'youth 0.88 to 0.96 s (Vencurik 2021, IJERPH 18:934), guards 1.07 ± 0.28 s (casopisi.junis.ni.ac.rs, article 3908)',
  },
  pauseS: {
    low: null,
    high: 0.1,
    leastHalfWidth: 0.03,
    usualSpread: 0.03,
    source: `${noSource}: one rise; turning round at the bottom takes up to a tenth of a second`,
  },
  sidePathM: { low: -0.15, high: 0.15, leastHalfWidth: 0.1, usualSpread: 0.05, source: noSource },
  dipDepthM: { low: null, high: 0.3, leastHalfWidth: 0.1, usualSpread: 0.04, source: noSource },
  followThroughS: { low: 0.3, high: null, leastHalfWidth: 0.1, usualSpread: 0.1, source: noSource },
  headingChangeDeg: { low: -10, high: 10, leastHalfWidth: 10, usualSpread: 5, source: noSource },
  pathPlanarity: { low: null, high: 0.045, leastHalfWidth: 0.02, usualSpread: 0.01, source: noSource },
  liftToReleaseS: { low: null, high: null, leastHalfWidth: 0.08, usualSpread: 0.05, source: noSource },
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
  readonly values: readonly number[];
  readonly standardErrors: readonly number[];
}

const leastBestShots = 20;
const leastBestSets = 2;

/**
 * Bands of a player: what the coach set, else the player's own best sets, else the defaults.
 *
 * Own sets: target is the median, ends lie one own spread (the sensor's error taken out), and at least the table's half width, beyond
 * it, on the sides on which a fault is known. Fewer than 20 shots or two sets are too few to make a target.
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
  if (best !== undefined && best.sets >= leastBestSets && best.values.length >= leastBestShots) {
    requireFinite(`best shots, ${measure}`, best.values);
    const target = median(best.values);
    // Of the usual shot, as the spread is: one shot of which little is known must not hide the spread of all.
    const sensor = median(best.standardErrors.map((error) => error * error));
    const own = Math.sqrt(Math.max(0, robustSpread(best.values) ** 2 - sensor));
    const half = Math.max(row.leastHalfWidth, own);
    return Object.freeze({
      target,
      low: row.low === null ? null : target - half,
      high: row.high === null ? null : target + half,
      from: 'own-best-sets',
      source: `median of ${best.values.length} shots in ${best.sets} best sets`,
    });
  }
  return Object.freeze({ target: null, low: row.low, high: row.high, from: 'default', source: row.source });
}
