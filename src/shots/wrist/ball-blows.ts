import { norm } from '../../signal/vec3.ts';
import type { Impact } from './impacts.ts';
import type { Strapdown } from './strapdown.ts';

/** The hand before a release, by samples of the path. */
export interface HandBefore {
  readonly path: Strapdown;
  readonly heightM: (i: number) => number;
  /** Upward speed. */
  readonly riseMps: (i: number) => number;
  readonly speedMps: (i: number) => number;
  readonly releaseS: number;
}

/** How likely each blow is the last of the ball, and how likely none is the ball's. */
export interface LastOfBall {
  readonly likely: readonly number[];
  readonly none: number;
}

/** Harder blows are no more likely the ball's. */
export const hardestMps2 = 80;

/**
 * How a blow of the ball differs from a jerk of the hand, as log odds. Logistic regression over some two thousand blows of three simulated
 * arms that know nothing of each other: each cue was taken because it told apart the blows of the arm that was left out.
 *
 * By common sense a ball strikes harder, on a hand that does not rise, not long before release, and is not the echo of a harder blow; a
 * dribbled one comes when the ball pushed down before must be back, in the rhythm of the dribble. After a push to the floor the hand
 * is empty: it goes down fast, comes up again and stops at the top to meet the ball. After the ball was gathered the hand carries it, goes
 * down less, and aside, and then up to the release. A hand that was slow for long had the ball before.
 */
const odds = {
  usual: 2.52,
  /** By the logarithm of the size over 15 m/s², and of the size over the hardest. */
  bySize: 1.96,
  usualMps2: 15,
  byHardest: 1.23,
  /** For each m/s beyond this of a hand that rises. */
  rising: -1.71,
  risingFromMps: 0.3,
  /** For each second of the time before release below and beyond these. */
  soon: -40.6,
  soonS: 0.6,
  late: -2.7,
  lateS: 1,
  early: -8,
  earlyS: 1.3,
  /** For each m that the hand is lower later on; for each second that the lowest comes sooner or later than these. */
  byDrop: -3.1,
  lowSoon: -4.65,
  lowSoonS: 0.25,
  lowLate: -7.1,
  lowLateS: 0.6,
  /** For each m/s of the quickest rise within this time after it began. */
  byRise: -0.98,
  riseS: 0.4,
  /** By the logarithm of the hardest within this time before over its own. */
  byBefore: -1.68,
  beforeS: 1,
  leastBefore: 0.3,
  /** A harder push in time for the ball to come back from the floor, and any two blows before in the rhythm of a dribble. */
  returned: 2.34,
  returnS: [0.45, 0.75],
  returnShare: 1.5,
  rhythm: 0.75,
  rhythmS: [0.35, 0.9],
  /** For each m/s² of the hardest downward pull over this time. */
  byPull: -0.055,
  pullS: 0.05,
  pullToS: 0.3,
  /** For each m/s of the speed over the floor where the hand goes down fastest between these times after it. */
  byAside: 0.77,
  asideS: [0.03, 0.35],
  /** Where the low hand still comes to a top after it. */
  topAfter: 3.02,
  topAfterS: 0.1,
  /** By the root of the turn rate where it begins, and the logarithm of its mean over the two seconds before the lift. */
  byRate: -1.57,
  byMeanRate: 0.94,
  leastRateRadps: 0.1,
  /** For each second beyond this of the longest time in which the hand was slow. */
  bySlow: -3.7,
  slowS: 1.2,
} as const;

/** A top: a low hand comes up this far and goes down as far again, this much below its height at release and before that time. */
const top = { riseM: 0.08, belowM: 0.3, beforeS: 0.2 } as const;
/** The lift begins this soon before release; what came before it is looked at so far back. */
const before = { liftS: 1.2, liftM: 0.01, backS: 2, slowMps: 0.5 } as const;

/** What the hand did before the lift, whatever it felt. */
export interface BeforeLift {
  /** Longest time in which it was slow, s. */
  readonly slowS: number;
  readonly meanRateRadps: number;
}

/** @returns what the hand did in the two seconds before the lift. */
export function lookBeforeLift({ path, heightM, speedMps, releaseS }: HandBefore): BeforeLift {
  const end = lastSample(path, releaseS);
  let lift = end;
  for (let i = end; i > 0 && releaseS - path.timeOf(i) < before.liftS; i--) {
    if (heightM(i) < heightM(lift) - before.liftM) lift = i;
  }
  const liftS = path.timeOf(lift);
  let slowS = 0;
  let slowTo: number | null = null;
  let rate = 0;
  let count = 0;
  for (let i = lift; i >= 0 && liftS - path.timeOf(i) < before.backS; i--) {
    if (speedMps(i) < before.slowMps) {
      slowTo ??= path.timeOf(i);
      slowS = Math.max(slowS, slowTo - path.timeOf(i));
    } else slowTo = null;
    rate += norm(path.rateInSensor(i));
    count++;
  }
  return { slowS, meanRateRadps: rate / Math.max(1, count) };
}

/**
 * The pickup is the last blow of the ball: each blow is the last one if it is the ball's and none of the later ones is.
 *
 * @param blows in the order of time.
 */
export function lastOfBall(hand: HandBefore, lift: BeforeLift, blows: readonly Impact[]): LastOfBall {
  const cues = new Cues(hand, lift, blows);
  const likely: number[] = [];
  let none = 1;
  for (let k = blows.length - 1; k >= 0; k--) {
    const own = 1 / (1 + Math.exp(-cues.logOdds(k)));
    likely[k] = own * none;
    none *= 1 - own;
  }
  return { likely, none };
}

class Cues {
  private readonly hand: HandBefore;
  private readonly lift: BeforeLift;
  private readonly blows: readonly Impact[];
  private readonly hardest: number;
  private readonly lastTopS: number;

  constructor(hand: HandBefore, lift: BeforeLift, blows: readonly Impact[]) {
    this.hand = hand;
    this.lift = lift;
    this.blows = blows;
    this.hardest = blows.reduce((most, blow) => Math.max(most, sizeOf(blow)), 0);
    this.lastTopS = blows.length > 0 ? lastTop(hand) : Number.NEGATIVE_INFINITY;
  }

  logOdds(k: number): number {
    const { path, riseMps, speedMps, heightM, releaseS } = this.hand;
    const blow = this.blows[k] as Impact;
    const { start } = blow;
    const size = sizeOf(blow);
    const startS = path.timeOf(start);
    const beforeS = releaseS - startS;
    const { plunge, pullMps2, quickestMps, lowest } = this.after(blow);
    const dropM = heightM(start) - heightM(lowest);
    const lowS = path.timeOf(lowest) - startS;
    const asideMps = Math.sqrt(Math.max(0, speedMps(plunge) ** 2 - riseMps(plunge) ** 2));
    const harder = hardestBefore(path, this.blows, k);
    return (
      odds.usual +
      odds.bySize * Math.log(size / odds.usualMps2) +
      odds.byHardest * Math.log(size / this.hardest) +
      odds.rising * Math.max(0, riseMps(start) - odds.risingFromMps) +
      odds.soon * Math.max(0, odds.soonS - beforeS) +
      odds.late * Math.max(0, beforeS - odds.lateS) +
      odds.early * Math.max(0, beforeS - odds.earlyS) +
      odds.byDrop * dropM +
      odds.lowSoon * Math.max(0, odds.lowSoonS - lowS) +
      odds.lowLate * Math.max(0, lowS - odds.lowLateS) +
      odds.byRise * quickestMps +
      odds.byBefore * Math.log(Math.max(odds.leastBefore, harder / size)) +
      (this.isReturned(k) ? odds.returned : 0) +
      (this.isInRhythm(k) ? odds.rhythm : 0) +
      odds.byPull * pullMps2 +
      odds.byAside * asideMps +
      (this.lastTopS > startS + odds.topAfterS ? odds.topAfter : 0) +
      odds.byRate * Math.sqrt(norm(path.rateInSensor(start))) +
      odds.byMeanRate * Math.log(Math.max(odds.leastRateRadps, this.lift.meanRateRadps)) +
      odds.bySlow * Math.max(0, this.lift.slowS - odds.slowS)
    );
  }

  /** What the hand does after a blow. */
  private after({ start, peak }: Impact) {
    const { path, riseMps, heightM, releaseS } = this.hand;
    const startS = path.timeOf(start);
    let plunge = start;
    let lowest = start;
    let pullMps2 = 0;
    let quickestMps = riseMps(peak);
    let back = start;
    for (let i = start; i < path.block.length && path.timeOf(i) <= releaseS; i++) {
      const sinceS = path.timeOf(i) - startS;
      if (heightM(i) < heightM(lowest)) lowest = i;
      if (i >= peak && sinceS < odds.riseS) quickestMps = Math.max(quickestMps, riseMps(i));
      if (sinceS >= odds.asideS[0] && sinceS <= odds.asideS[1] && path.timeOf(i) <= releaseS - lastMomentS) {
        if (riseMps(i) < riseMps(plunge)) plunge = i;
      }
      if (sinceS > odds.pullToS) continue;
      if (i === start) while (back > 0 && path.timeOf(i) - path.timeOf(back) < odds.pullS) back--;
      else while (path.timeOf(i) - path.timeOf(back + 1) >= odds.pullS) back++;
      const spanS = path.timeOf(i) - path.timeOf(back);
      if (spanS > 0) pullMps2 = Math.min(pullMps2, (riseMps(i) - riseMps(back)) / spanS);
    }
    return { plunge, pullMps2, quickestMps, lowest };
  }

  private timeOf(k: number): number {
    return this.hand.path.timeOf((this.blows[k] as Impact).start);
  }

  /** @returns whether a blow comes when the ball of a harder one, a push to the floor, would be back. */
  private isReturned(k: number): boolean {
    const size = odds.returnShare * sizeOf(this.blows[k] as Impact);
    return this.apart(k, odds.returnS).some((j) => sizeOf(this.blows[j] as Impact) > size);
  }

  /** @returns whether two blows before a blow are as far apart as those of a dribble. */
  private isInRhythm(k: number): boolean {
    return this.apart(k, odds.rhythmS).some((j) => this.apart(j, odds.rhythmS).length > 0);
  }

  /** @returns blows that came before blow `k` by a time between two, s. */
  private apart(k: number, [leastS, mostS]: readonly [number, number]): number[] {
    const found: number[] = [];
    for (let j = k - 1; j >= 0; j--) {
      const beforeS = this.timeOf(k) - this.timeOf(j);
      if (beforeS > leastS && beforeS < mostS) found.push(j);
    }
    return found;
  }
}

/**
 * A hand that dribbles goes down with the ball and is struck as hard by it before; one that waits for a pass does neither. Log odds,
 * fitted to the pickups of the same three arms.
 */
const dribble = { perMps: 4.3, fromMps: 1, fromS: 0.6, toS: 0.15, byBefore: 4.2 } as const;

/** @returns whether the ball of blow `k` came from a dribble. */
export function wasDribbled({ path, riseMps }: HandBefore, blows: readonly Impact[], k: number): boolean {
  const blow = blows[k] as Impact;
  const startS = path.timeOf(blow.start);
  let fallMps: number = dribble.fromMps;
  for (let i = blow.start; i >= 0 && startS - path.timeOf(i) < dribble.fromS; i--) {
    if (startS - path.timeOf(i) > dribble.toS) fallMps = Math.max(fallMps, -riseMps(i));
  }
  const before = Math.log(Math.max(odds.leastBefore, hardestBefore(path, blows, k) / sizeOf(blow)));
  return dribble.perMps * (fallMps - dribble.fromMps) + dribble.byBefore * before > 0;
}

/** @returns size of the hardest blow within a second before blow `k`, 0 where there is none. */
function hardestBefore(path: Strapdown, blows: readonly Impact[], k: number): number {
  const startS = path.timeOf((blows[k] as Impact).start);
  let hardest = 0;
  for (let j = k - 1; j >= 0 && startS - path.timeOf((blows[j] as Impact).start) < odds.beforeS; j--) {
    hardest = Math.max(hardest, sizeOf(blows[j] as Impact));
  }
  return hardest;
}

/** The push into the release is no plunge. */
const lastMomentS = 0.1;

function sizeOf({ sizeMps2 }: Impact): number {
  return Math.min(hardestMps2, sizeMps2);
}

function lastSample(path: Strapdown, timeS: number): number {
  let last = path.reference;
  while (last > 0 && path.timeOf(last) > timeS) last--;
  return last;
}

/** @returns when a low hand last came up and went down again before release. */
function lastTop({ path, heightM, releaseS }: HandBefore): number {
  const last = lastSample(path, releaseS);
  const most = heightM(last) - top.belowM;
  let lastS = Number.NEGATIVE_INFINITY;
  let rising = true;
  let at = 0;
  for (let i = 1; i <= last; i++) {
    const on = rising ? heightM(i) - heightM(at) : heightM(at) - heightM(i);
    if (on > 0) at = i;
    else if (on < -top.riseM) {
      if (rising && at > 0 && heightM(at) < most && path.timeOf(at) < releaseS - top.beforeS) lastS = path.timeOf(at);
      rising = !rising;
      at = i;
    }
  }
  return lastS;
}
