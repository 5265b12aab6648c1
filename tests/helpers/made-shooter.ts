import { type BandedMeasure, type BandRow, bandedMeasures, bandTable } from '../../src/coaching/bands.ts';
import type { WatchedShot } from '../../src/coaching/fault-watch.ts';
import type { Random } from '../../src/simulate/random.ts';
import { coachedShot } from './made-coached-shot.ts';
import { drawPlayer, MadePlayer } from './made-player.ts';

/** Where the levels of a shooter stand, in the unit of the measure. */
export interface ShooterSpec {
  /** Level of a measure instead of a drawn one. */
  readonly levels?: Readonly<Partial<Record<BandedMeasure, number>>>;
  /** Added in shots from a hold, from far, and over 50 shots. */
  readonly fromHold?: Readonly<Partial<Record<BandedMeasure, number>>>;
  readonly far?: Readonly<Partial<Record<BandedMeasure, number>>>;
  readonly per50?: Readonly<Partial<Record<BandedMeasure, number>>>;
  /** Levels without a day effect and trend, as they are told: for players who stand exactly at an edge. */
  readonly steady?: boolean;
}

/** Half width of where faultless players stand, for measures with one edge or none; with two, half their distance. */
const oneSided: Readonly<Partial<Record<BandedMeasure, number>>> = {
  forearmElevationDeg: 10,
  speedMarginMps: 0.2,
  entryAngleDeg: 7,
  backspinRps: 0.6,
  pickupToReleaseS: 0.25,
  pauseS: 0.05,
  dipDepthM: 0.14,
  followThroughS: 0.42,
  pathPlanarity: 0.023,
};

/** Middle for measures that have no edges of their own. */
const middles: Readonly<Partial<Record<BandedMeasure, readonly [middle: number, half: number]>>> = {
  liftToReleaseS: [0.5, 0.1],
  launchAngleDeg: [51, 3],
};

/** Middle and half width of where faultless players stand. */
function usual(measure: BandedMeasure): readonly [middle: number, half: number] {
  const row: BandRow = bandTable[measure];
  if (row.low !== null && row.high !== null) return [(row.low + row.high) / 2, (row.high - row.low) / 2];
  const half = oneSided[measure]!;
  if (row.high !== null) return [row.high - half, half];
  return row.low !== null ? [row.low + half, half] : middles[measure]!;
}

/**
 * A shooter with all measures that rules look at. A faultless one stands within the middle 60 % of each band, with own spreads of
 * 0.6 to 1.2 of the usual ones, errors of a sensor, and everything that `drawPlayer` draws.
 */
export class MadeShooter {
  readonly #spec: ShooterSpec;
  readonly #random: Random;
  readonly #players = new Map<BandedMeasure, MadePlayer>();
  readonly #spread = new Map<BandedMeasure, number>();
  #shots = 0;

  constructor(spec: ShooterSpec, random: Random) {
    this.#spec = spec;
    this.#random = random;
    for (const measure of bandedMeasures) {
      const spread = bandTable[measure].usualSpread * random.between(0.6, 1.2);
      const [middle, half] = usual(measure);
      const level = spec.levels?.[measure] ?? middle + half * random.between(-0.6, 0.6);
      const drawn = drawPlayer(random, level / spread);
      const traits = spec.steady === true ? { ...drawn, daySd: 0, trendPer100: 0 } : drawn;
      const player = new MadePlayer(traits, random);
      player.nextDay();
      this.#players.set(measure, player);
      this.#spread.set(measure, spread);
    }
  }

  shoot({ hold = false, far = false } = {}): WatchedShot {
    const numbers: Partial<Record<BandedMeasure, readonly [number, number]>> = {};
    const { fromHold, far: whenFar, per50 } = this.#spec;
    for (const measure of bandedMeasures) {
      const error = 0.25 * bandTable[measure].usualSpread;
      const moved =
        (hold ? (fromHold?.[measure] ?? 0) : 0) +
        (far ? (whenFar?.[measure] ?? 0) : 0) +
        ((per50?.[measure] ?? 0) * this.#shots) / 50;
      const value = this.#players.get(measure)!.shoot() * this.#spread.get(measure)! + moved;
      numbers[measure] = [value + this.#random.normal(0, error), error];
    }
    const shot = coachedShot(this.#shots++, numbers, hold ? 'hold' : 'catch');
    return { shot, distanceM: far ? 6.75 : 4.2 };
  }
}
