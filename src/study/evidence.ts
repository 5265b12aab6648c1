import { type ParametersOf, type ParameterTable, resolveParams } from '../foundation/parameters.ts';
import { logBeta } from './beta-function.ts';
import { requireBetween, requireWhole } from './checks.ts';
import { solveIncreasing } from './monotone-root.ts';
import type { Interval } from './proportion-interval.ts';
import { studentCdf } from './student-t.ts';

/**
 * Evidence that may be looked at after every value: a mixture likelihood ratio whose chance ever to reach 1/alpha is at
 * most alpha where the null holds, however long one goes on (Ville 1939; Robbins 1970, Ann. Math. Stat. 41:1397; from memory).
 *
 * Model: value_i = nuisance_i · a + covariate_i · effect + noise, noise normal with unknown spread, stationary with a stated
 * serial correlation. The likelihood ratio of effects drawn from a normal distribution about the null (width `effectSds`
 * standard deviations of a value) to the null itself; spread and nuisance by their invariant priors, which keeps the error
 * rate exact for every spread and level (Lai 1976, Ann. Stat. 4:265; Grünwald, de Heide and Koolen 2024, J. R. Stat. Soc. B
 * 86:1091). One-sided: the half of the mixture above the null.
 *
 * Deviations from the sources:
 * 1. Values are first freed of a serial correlation assumed beforehand (`serialCorrelation`): exact where it holds, on the
 *    safe side where the true one is smaller, too bold where it is larger.
 * 2. Noise with heavy tails is not normal; values are to be limited to fixed bounds before they come here.
 * Start-up: no evidence (ratio 1) until there is one value more than nuisances. Latency: none.
 */
export const evidenceParams = {
  effectSds: {
    default: 1,
    unit: '',
    min: 0.01,
    max: 20,
    meaning: 'width of the effects that are looked for, in standard deviations of a value',
    small: 'small effects are found sooner, large ones later',
    large: 'large effects are found sooner, small ones later',
    source: 'choice: faults worth naming stand about one standard deviation beyond the edge',
  },
  serialCorrelation: {
    default: 0.3,
    unit: '',
    min: 0,
    max: 0.95,
    meaning: 'correlation of neighbouring values that is allowed for',
    small: 'more power, and false alarms where values hang together more than that',
    large: 'less power',
    source: 'choice; no source for shots was found',
  },
} satisfies ParameterTable;

export type EvidenceParams = ParametersOf<typeof evidenceParams>;

/** Sums over the values so far; plain numbers, storable as JSON. n nuisance column, z covariate, u value. */
export interface EvidenceState {
  readonly count: number;
  readonly nn: number;
  readonly nz: number;
  readonly zz: number;
  readonly nu: number;
  readonly zu: number;
  readonly uu: number;
  /** The last value, unweighted, with its columns; null after a break in the order. */
  readonly last: { readonly nuisance: number; readonly covariate: number; readonly value: number } | null;
}

export const initialEvidence: EvidenceState = Object.freeze({
  count: 0,
  nn: 0,
  nz: 0,
  zz: 0,
  nu: 0,
  zu: 0,
  uu: 0,
  last: null,
});

export interface EvidenceValue {
  readonly value: number;
  /** 1 where a level of no interest is to be taken out, else 0. */
  readonly nuisance: 0 | 1;
  /** What the effect multiplies: 1 for a level. */
  readonly covariate: number;
  /** Relative weight, 1 for an ordinary value, less for one that is less sure. */
  readonly weight?: number;
}

export function deriveEvidence(
  given: { readonly [Name in keyof typeof evidenceParams]?: number } = {},
): EvidenceParams {
  return resolveParams(evidenceParams, given);
}

/** One value further. */
export function stepEvidence(params: EvidenceParams, state: EvidenceState, input: EvidenceValue): EvidenceState {
  const { nuisance, covariate, value } = input;
  const weight = Math.sqrt(input.weight ?? 1);
  const phi = params.serialCorrelation;
  const scale = weight / Math.sqrt(1 - phi * phi);
  const { last } = state;
  const n = last ? scale * (nuisance - phi * last.nuisance) : weight * nuisance;
  const z = last ? scale * (covariate - phi * last.covariate) : weight * covariate;
  const u = last ? scale * (value - phi * last.value) : weight * value;
  return {
    count: state.count + 1,
    nn: state.nn + n * n,
    nz: state.nz + n * z,
    zz: state.zz + z * z,
    nu: state.nu + n * u,
    zu: state.zu + z * u,
    uu: state.uu + u * u,
    last: { nuisance, covariate, value },
  };
}

/** After a pause (another day, another player between) the next value no longer hangs on the last. */
export function breakEvidence(state: EvidenceState): EvidenceState {
  return { ...state, last: null };
}

interface Reduced {
  readonly information: number;
  readonly slope: number;
  readonly squares: number;
  readonly df: number;
}

function reduce(state: EvidenceState): Reduced {
  const { nn, nz, zz, nu, zu, uu, count } = state;
  if (nn <= 0) return { information: zz, slope: zu, squares: uu, df: count };
  return {
    information: Math.max(0, zz - (nz * nz) / nn),
    slope: zu - (nz * nu) / nn,
    squares: Math.max(0, uu - (nu * nu) / nn),
    df: count - 1,
  };
}

/**
 * Evidence for an effect above `null0` (one-sided) and below it.
 *
 * @param null0 effect under the null, in the values' unit.
 * @returns likelihood ratios; 1 is no evidence either way, 1/alpha or more holds a chance of alpha.
 */
export function evidenceAgainst(
  params: EvidenceParams,
  state: EvidenceState,
  null0: number,
): { readonly above: number; readonly below: number; readonly twoSided: number } {
  const { information, slope, squares, df } = reduce(state);
  if (!(df >= 1) || !(information > 0)) return { above: 1, below: 1, twoSided: 1 };
  // The null moved to zero.
  const s = slope - information * null0;
  const total = Math.max(0, squares - 2 * null0 * slope + null0 * null0 * information);
  if (!(total > 0)) return { above: 1, below: 1, twoSided: 1 };
  const width = params.effectSds ** 2;
  const grown = 1 + width * information;
  const left = Math.max(total * 1e-15, total - (width * s * s) / grown);
  const twoSided = Math.exp(-0.5 * Math.log(grown) - (df / 2) * Math.log(left / total));
  const location = (width * s) / grown;
  const scale = Math.sqrt(((width / grown) * left) / df);
  const positive = studentCdf(location / scale, df);
  return { above: 2 * twoSided * positive, below: 2 * twoSided * (1 - positive), twoSided };
}

/** @returns the effect by least squares and its standard error, null before there is a spread. */
export function effectOf(state: EvidenceState): { readonly effect: number; readonly standardError: number } | null {
  const { information, slope, squares, df } = reduce(state);
  if (!(df >= 2) || !(information > 0)) return null;
  const rest = Math.max(0, squares - (slope * slope) / information);
  return { effect: slope / information, standardError: Math.sqrt(rest / (df - 1) / information) };
}

/**
 * Interval of the effect that holds at every look at once with chance 1 - alpha.
 *
 * @returns null while it is the whole line.
 */
export function effectSequence(params: EvidenceParams, state: EvidenceState, alpha = 0.05): Interval | null {
  requireBetween('alpha', alpha, 0, 1);
  const { information, slope, squares, df } = reduce(state);
  if (!(df >= 2) || !(information > 0)) return null;
  const grown = 1 + params.effectSds ** 2 * information;
  const ratio = (Math.sqrt(grown) / alpha) ** (2 / df);
  if (ratio >= grown) return null;
  const rest = Math.max(0, squares - (slope * slope) / information);
  const half = Math.sqrt(((ratio - 1) / (1 - ratio / grown)) * (rest / information));
  return [slope / information - half, slope / information + half];
}

/**
 * Interval of a chance from independent tries that holds at every look at once with chance 1 - alpha: chances whose
 * likelihood is not below alpha times the mean likelihood under a beta prior (Robbins 1970; from memory).
 */
export function proportionSequence(successes: number, tries: number, alpha = 0.05, prior: Interval = [1, 1]): Interval {
  requireWhole('tries', tries);
  requireWhole('successes', successes, 0, tries);
  requireBetween('alpha', alpha, 0, 1);
  if (tries === 0) return [0, 1];
  const failures = tries - successes;
  const mixture = logBeta(prior[0] + successes, prior[1] + failures) - logBeta(prior[0], prior[1]);
  const floor = mixture + Math.log(alpha);
  const log = (p: number) =>
    (successes > 0 ? successes * Math.log(p) : 0) + (failures > 0 ? failures * Math.log1p(-p) : 0);
  const slope = (p: number) => successes / p - failures / (1 - p);
  const best = successes / tries;
  const low = successes === 0 ? 0 : solveIncreasing(log, slope, floor, 0, best, best / 2);
  const high =
    failures === 0
      ? 1
      : 1 -
        solveIncreasing(
          (q) => log(1 - q),
          (q) => -slope(1 - q),
          floor,
          0,
          1 - best,
          (1 - best) / 2,
        );
  return [low, high];
}
