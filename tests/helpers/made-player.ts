import type { Random } from '../../src/simulate/random.ts';

/**
 * A player as statistics see one: a level, days that differ, shots that hang together, tails, and trends within and over days.
 * In units of the player's own spread from shot to shot. Shares nothing with the analysis.
 */
export interface PlayerTraits {
  readonly level: number;
  /** Spread of the levels of days, and correlation of neighbouring days. */
  readonly daySd: number;
  readonly dayCorrelation: number;
  /** Correlation of neighbouring shots. */
  readonly serialCorrelation: number;
  /** Share of shots that slipped, with four times the spread. */
  readonly slipShare: number;
  /** Change within a day over 100 shots, and over the days from one practice to the next. */
  readonly trendPer100: number;
  readonly trendPerDay: number;
}

/** Players of every sort: what they are drawn from is told in the figures of the proof. */
export const playerRanges = {
  daySd: [0.15, 0.5],
  dayCorrelation: [0, 0.3],
  serialCorrelation: [0, 0.35],
  slipShare: [0, 0.06],
  trendPer100: [-0.4, 0.4],
} as const;

export function drawPlayer(random: Random, level: number, trendPerDay = 0): PlayerTraits {
  const between = ([low, high]: readonly [number, number]) => random.between(low, high);
  return {
    level,
    daySd: between(playerRanges.daySd),
    dayCorrelation: between(playerRanges.dayCorrelation),
    serialCorrelation: between(playerRanges.serialCorrelation),
    slipShare: between(playerRanges.slipShare),
    trendPer100: between(playerRanges.trendPer100),
    trendPerDay,
  };
}

/** Goes from practice to practice and shoots. */
export class MadePlayer {
  readonly #traits: PlayerTraits;
  readonly #random: Random;
  #day = -1;
  #dayEffect: number;
  #state = 0;
  #shotOfDay = 0;

  constructor(traits: PlayerTraits, random: Random) {
    this.#traits = traits;
    this.#random = random;
    this.#dayEffect = random.normal(0, traits.daySd);
  }

  /** Another practice; the form of the day hangs together with the day before. */
  nextDay(): void {
    const { daySd, dayCorrelation } = this.#traits;
    this.#day++;
    if (this.#day > 0) {
      this.#dayEffect =
        dayCorrelation * this.#dayEffect + Math.sqrt(1 - dayCorrelation ** 2) * this.#random.normal(0, daySd);
    }
    this.#state = this.#random.normal();
    this.#shotOfDay = 0;
  }

  /** @param moved what a drill has done to the level. */
  shoot(moved = 0): number {
    const { level, serialCorrelation, slipShare, trendPer100, trendPerDay } = this.#traits;
    this.#state = serialCorrelation * this.#state + Math.sqrt(1 - serialCorrelation ** 2) * this.#random.normal();
    const slipped = this.#random.chance(slipShare) ? this.#random.normal(0, 4) : 0;
    const trend = (trendPer100 * this.#shotOfDay++) / 100 + trendPerDay * this.#day;
    return level + moved + this.#dayEffect + this.#state + slipped + trend;
  }

  shootMany(count: number, moved = 0): number[] {
    return Array.from({ length: count }, () => this.shoot(moved));
  }
}
