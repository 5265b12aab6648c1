import type { Shot } from '../../src/shots/shot.ts';
import type { PracticeTruth, ShotTruth } from '../../src/simulate/practice-truth.ts';
import { excusesNull, insideGap, type StreamGaps } from './gap-rule.ts';

/** One comparison of a reported number with the truth. */
export interface Comparison {
  readonly error: number;
  readonly standardError: number;
  readonly inside90: boolean;
  readonly truth: ShotTruth;
  /** Seed of the practice, so that a case can be played again. */
  readonly seed: string;
}

/** A null where the truth has a number. */
export interface NullCase {
  readonly reason: string;
  /** The null is demanded by a definition (an event in a gap, no contact that gives the ring's height). */
  readonly excused: boolean;
  readonly truth: ShotTruth;
  readonly seed: string;
}

export interface Tally {
  readonly comparisons: Comparison[];
  /** Nulls by reason, where the truth has a number. */
  readonly nulls: Map<string, number>;
  readonly nullCases: NullCase[];
  /** Numbers given where by definition there is none. */
  unfounded: number;
  /** Numbers given although an event they need lies deep inside a gap. */
  insideGap: number;
}

/** A shot that was not found. */
export interface MissedShot extends ShotTruth {
  readonly seed: string;
}

export interface FalseShot {
  readonly seed: string;
  /** Its release, or its contact where there is none. */
  readonly atS: number | null;
  /** What was going on then. */
  readonly during: string;
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
  readonly missed: MissedShot[];
  readonly falseList: FalseShot[];
  /** Shots whose start kind came out wrong. */
  readonly startWrong: { readonly seed: string; readonly index: number; readonly told: string }[];
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
    falseList: [],
    startWrong: [],
  };
}

const count = (map: Map<string, number>, key: string) => map.set(key, (map.get(key) ?? 0) + 1);

function tallyOf(score: Score, name: string): Tally {
  let tally = score.quantities.get(name);
  if (!tally) {
    tally = { comparisons: [], nulls: new Map(), nullCases: [], unfounded: 0, insideGap: 0 };
    score.quantities.set(name, tally);
  }
  return tally;
}

/**
 * Adds one practice to a score. A shot is found when a reported one lies within 0.15 s of its release or contact, or of its
 * pickup where the reported one has neither since both fell into gaps.
 *
 * @param gaps where samples are missing; without them no null counts as an event in a gap.
 * @returns for every true shot the reported one, or null.
 */
export function addToScore(
  score: Score,
  truth: PracticeTruth,
  reported: readonly Shot[],
  gaps: StreamGaps | null = null,
): (Shot | null)[] {
  score.shots += truth.shots.length;
  score.decoys += truth.decoys.length;
  const used = new Set<Shot>();
  const matches: (Shot | null)[] = [];
  for (const shot of truth.shots) {
    const match = reported.find((r) => !used.has(r) && near(r, shot)) ?? null;
    matches.push(match);
    if (!match) {
      score.missed.push({ ...shot, seed: truth.seed });
      continue;
    }
    used.add(match);
    score.found++;
    if (match.startKind === shot.startKind) score.startRight++;
    else score.startWrong.push({ seed: truth.seed, index: shot.index, told: `${shot.startKind} → ${match.startKind}` });
    if (match.contactKind === shot.contactKind) score.contactRight++;
    count(score.startConfusion, `${shot.startKind} → ${match.startKind}`);
    count(score.contactConfusion, `${shot.contactKind} → ${match.contactKind}`);
    compareShot({ score, seed: truth.seed, truth: shot, gaps }, match);
  }
  for (const shot of reported) {
    if (used.has(shot)) continue;
    score.falseShots++;
    score.falseList.push({ seed: truth.seed, atS: shot.releaseS ?? shot.contactS, during: actAt(truth, shot) });
  }
  return matches;
}

function near(reported: Shot, truth: ShotTruth): boolean {
  const close = (a: number | null, b: number | null) => a !== null && b !== null && Math.abs(a - b) < 0.15;
  if (reported.releaseS === null && reported.contactS === null) return close(reported.pickupS, truth.pickupS);
  return close(reported.releaseS, truth.releaseS) || close(reported.contactS, truth.contactS);
}

function actAt(truth: PracticeTruth, shot: Shot): string {
  const at = shot.releaseS ?? shot.contactS ?? Number.NaN;
  return truth.decoys.find((decoy) => at >= decoy.startS && at <= decoy.endS)?.kind ?? 'no decoy';
}

interface Pairing {
  readonly score: Score;
  readonly seed: string;
  readonly truth: ShotTruth;
  readonly gaps: StreamGaps | null;
}

interface Told {
  readonly value: number | null;
  readonly standardError: number | null;
  readonly interval90?: readonly [number, number] | undefined;
  readonly reason?: string | undefined;
}

function compareShot(pairing: Pairing, reported: Shot): void {
  const { truth } = pairing;
  for (const name of scoredTimes) {
    const told = {
      value: reported[`${name}S`],
      standardError: reported.timeErrorsS[name],
      reason: reported.timeReasons[name],
    };
    compareNumber(pairing, name, truth[`${name}S`], told);
  }
  for (const [name, measure] of Object.entries(truth.measures)) {
    const got = reported.measures[name as keyof typeof reported.measures];
    const told = got.value === null ? { value: null, standardError: null, reason: got.reason } : got;
    compareNumber(pairing, name, measure.value, told);
  }
}

function compareNumber(pairing: Pairing, name: string, truth: number | null, told: Told): void {
  const tally = tallyOf(pairing.score, name);
  const { truth: shot, seed, gaps } = pairing;
  const { value, standardError, interval90, reason = 'no reason' } = told;
  if (truth === null) {
    if (value !== null) tally.unfounded++;
    return;
  }
  if (value === null || standardError === null) {
    count(tally.nulls, reason);
    tally.nullCases.push({ reason, excused: excusesNull(name, reason, shot, gaps), truth: shot, seed });
    return;
  }
  if (gaps && insideGap(name, shot, gaps)) tally.insideGap++;
  const [low, high] = interval90 ?? [value - 1.645 * standardError, value + 1.645 * standardError];
  const inside90 = truth >= low && truth <= high;
  tally.comparisons.push({ error: value - truth, standardError, inside90, truth: shot, seed });
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
