import type { Shot } from '../../src/shots/shot.ts';
import type { PracticeTruth, ShotTruth } from '../../src/simulate/practice-truth.ts';

/** One comparison of a reported number with the truth. */
export interface Comparison {
  readonly error: number;
  readonly standardError: number;
  readonly inside90: boolean;
  readonly truth: ShotTruth;
}

export interface Tally {
  readonly comparisons: Comparison[];
  /** Nulls by reason, where the truth has a number. */
  readonly nulls: Map<string, number>;
  /** Numbers given where by definition there is none. */
  unfounded: number;
}

export interface Score {
  shots: number;
  found: number;
  decoys: number;
  falseShots: number;
  startRight: number;
  contactRight: number;
  readonly startConfusion: Map<string, number>;
  readonly contactConfusion: Map<string, number>;
  readonly quantities: Map<string, Tally>;
  readonly missed: ShotTruth[];
}

/** The times and measures that are compared, times with their own names. */
export const scoredTimes = ['pickup', 'lift', 'release', 'contact'] as const;

export function emptyScore(): Score {
  return {
    shots: 0,
    found: 0,
    decoys: 0,
    falseShots: 0,
    startRight: 0,
    contactRight: 0,
    startConfusion: new Map(),
    contactConfusion: new Map(),
    quantities: new Map(),
    missed: [],
  };
}

const count = (map: Map<string, number>, key: string) => map.set(key, (map.get(key) ?? 0) + 1);

function tallyOf(score: Score, name: string): Tally {
  let tally = score.quantities.get(name);
  if (!tally) {
    tally = { comparisons: [], nulls: new Map(), unfounded: 0 };
    score.quantities.set(name, tally);
  }
  return tally;
}

/** Adds one practice to a score. A shot is found when a reported one lies within 0.15 s of its release or contact. */
export function addToScore(score: Score, truth: PracticeTruth, reported: readonly Shot[]): void {
  score.shots += truth.shots.length;
  score.decoys += truth.decoys.length;
  const used = new Set<Shot>();
  for (const shot of truth.shots) {
    const match = reported.find((r) => !used.has(r) && near(r, shot));
    if (!match) {
      score.missed.push(shot);
      continue;
    }
    used.add(match);
    score.found++;
    if (match.startKind === shot.startKind) score.startRight++;
    if (match.contactKind === shot.contactKind) score.contactRight++;
    count(score.startConfusion, `${shot.startKind} → ${match.startKind}`);
    count(score.contactConfusion, `${shot.contactKind} → ${match.contactKind}`);
    compareShot(score, shot, match);
  }
  score.falseShots += reported.length - used.size;
}

function near(reported: Shot, truth: ShotTruth): boolean {
  const close = (a: number | null, b: number | null) => a !== null && b !== null && Math.abs(a - b) < 0.15;
  return close(reported.releaseS, truth.releaseS) || close(reported.contactS, truth.contactS);
}

function compareShot(score: Score, truth: ShotTruth, reported: Shot): void {
  for (const name of scoredTimes) {
    const tally = tallyOf(score, name);
    const key = `${name}S` as const;
    addNumber(
      tally,
      truth,
      truth[key],
      reported[key],
      reported.timeErrorsS[name],
      undefined,
      reported.timeReasons[name],
    );
  }
  for (const [name, measure] of Object.entries(truth.measures)) {
    const got = reported.measures[name as keyof typeof reported.measures];
    const tally = tallyOf(score, name);
    if (got.value === null) addNumber(tally, truth, measure.value, null, null, undefined, got.reason);
    else addNumber(tally, truth, measure.value, got.value, got.standardError, got.interval90, undefined);
  }
}

function addNumber(
  tally: Tally,
  shot: ShotTruth,
  truth: number | null,
  value: number | null,
  standardError: number | null,
  interval90: readonly [number, number] | undefined,
  reason: string | undefined,
): void {
  if (truth === null) {
    if (value !== null) tally.unfounded++;
    return;
  }
  if (value === null || standardError === null) {
    count(tally.nulls, reason ?? 'no reason');
    return;
  }
  const error = value - truth;
  const [low, high] = interval90 ?? [value - 1.645 * standardError, value + 1.645 * standardError];
  tally.comparisons.push({ error, standardError, inside90: truth >= low && truth <= high, truth: shot });
}

export interface Summary {
  readonly n: number;
  readonly rms: number;
  readonly median: number;
  readonly bias: number;
  readonly meanStandardError: number;
  readonly cover90: number;
  readonly meanSquaredZ: number;
  readonly nulls: Readonly<Record<string, number>>;
  readonly unfounded: number;
}

/** @returns RMS, bias, coverage and nulls of one quantity. */
export function summarise(tally: Tally, keep: (c: Comparison) => boolean = () => true): Summary {
  const list = tally.comparisons.filter(keep);
  const n = list.length;
  const mean = (f: (c: Comparison) => number) => (n === 0 ? Number.NaN : list.reduce((sum, c) => sum + f(c), 0) / n);
  const sizes = list.map((c) => Math.abs(c.error)).sort((a, b) => a - b);
  return {
    n,
    rms: Math.sqrt(mean((c) => c.error ** 2)),
    median: sizes[Math.floor(n / 2)] ?? Number.NaN,
    bias: mean((c) => c.error),
    meanStandardError: mean((c) => c.standardError),
    cover90: mean((c) => (c.inside90 ? 1 : 0)),
    meanSquaredZ: mean((c) => (c.error / c.standardError) ** 2),
    nulls: Object.fromEntries(tally.nulls),
    unfounded: tally.unfounded,
  };
}
