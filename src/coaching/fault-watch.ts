import type { Measured } from '../foundation/measured.ts';
import { resolveParams } from '../foundation/parameters.ts';
import type { EvidenceParams, EvidenceState } from '../study/evidence.ts';
import {
  breakEvidence,
  deriveEvidence,
  effectOf,
  effectSequence,
  evidenceAgainst,
  initialEvidence,
  stepEvidence,
} from '../study/evidence.ts';
import { stageOfAge } from './age-stages.ts';
import {
  type BandedMeasure,
  type BandRow,
  type Bands,
  bandTable,
  type CoachedShot,
  evenedValue,
  shotWeight,
} from './bands.ts';
import type { FaultName } from './fault-names.ts';
import { type FaultRule, faultRules, type RulePart, ruleOf } from './fault-rules.ts';
import { isGuess, plausibility } from './plausibility.ts';
import { type WatchParams, watchParams } from './watch-params.ts';

/** What is fixed for one player in one practice. */
export interface WatchCoefficients {
  readonly params: WatchParams;
  readonly evidence: EvidenceParams;
  readonly bands: Bands;
  /** Rules that may name a fault at the player's age. */
  readonly rules: readonly FaultRule[];
  /** Evidence at which a fault is named. */
  readonly border: number;
}

interface PartState {
  readonly evidence: EvidenceState;
  readonly shots: number;
  /** Errors of the sensor, each times what its shot counts, and what they count together: the error that is common to them, if all of it is. */
  readonly weighedErrors: number;
  readonly weights: number;
  /** What the first shots count together, as many as are needed before anything is named. */
  readonly firstWeights: number;
  /** Shots of the group of a contrast. */
  readonly inGroup: number;
}

/** Plain numbers, storable as JSON: for each rule its parts, and where it was named. */
export interface WatchState {
  readonly shots: number;
  readonly parts: Readonly<Partial<Record<FaultName, readonly PartState[]>>>;
  readonly namedAtShot: Readonly<Partial<Record<FaultName, number>>>;
}

export const initialWatch: WatchState = Object.freeze({ shots: 0, parts: {}, namedAtShot: {} });

/** One shot as the watch takes it. */
export interface WatchedShot {
  readonly shot: CoachedShot;
  /** Floor distance to the ring, where it was told. */
  readonly distanceM: number | null;
  /** The player had a break before: the shot does not hang together with the one before. */
  readonly afterBreak?: boolean;
}

/** What a rule has seen of one measure. */
export interface PartFinding {
  readonly part: RulePart;
  readonly shots: number;
  /** Level, difference or change over 50 shots, with an interval that holds at every look at once; null before there is one. */
  readonly estimate: number | null;
  readonly interval95: readonly [number, number] | null;
  /** Ends beyond which it is a fault, the sensor's common error put on top. */
  readonly low: number | null;
  readonly high: number | null;
  /** Whether shots from different starts were put on one level, the player's own from each. */
  readonly evened: boolean;
  /** How many times likelier the shots are with the fault than without; 1 says nothing. */
  readonly evidence: number;
}

export interface FaultFinding {
  readonly name: FaultName;
  readonly named: boolean;
  readonly namedAtShot: number | null;
  readonly evidence: number;
  readonly border: number;
  readonly parts: readonly PartFinding[];
}

/** @param ageYears of the player, null where nobody told it. */
export function deriveWatch(
  bands: Bands,
  ageYears: number | null,
  given: { readonly [Name in keyof typeof watchParams]?: number } = {},
): WatchCoefficients {
  const params = resolveParams(watchParams, given);
  const { faults } = stageOfAge(ageYears);
  return Object.freeze({
    params,
    evidence: deriveEvidence({ effectSds: params.effectSds, serialCorrelation: params.serialCorrelation }),
    bands,
    rules: faultRules.filter(({ name }) => faults.includes(name)),
    border: params.measuresAtEdge / params.falseAlarmRate,
  });
}

/**
 * One shot further. A fault once named in a practice stays named: its evidence had reached the border, and that happens with the
 * stated chance at most where there is no fault, however often one looks.
 */
export function stepWatch(coefficients: WatchCoefficients, state: WatchState, input: WatchedShot): WatchState {
  const shots = state.shots + 1;
  const parts: Partial<Record<FaultName, readonly PartState[]>> = {};
  for (const rule of coefficients.rules) {
    const before = state.parts[rule.name];
    parts[rule.name] = partsOf(rule).map((part, i) => {
      const last = before?.[i] ?? {
        evidence: initialEvidence,
        shots: 0,
        weighedErrors: 0,
        weights: 0,
        firstWeights: 0,
        inGroup: 0,
      };
      return stepPart(coefficients, part, last, input, shots);
    });
  }
  const next: WatchState = { shots, parts, namedAtShot: state.namedAtShot };
  const namedAtShot = { ...state.namedAtShot };
  for (const { name, evidence } of judge(coefficients, next)) {
    if (evidence >= coefficients.border && namedAtShot[name] === undefined) namedAtShot[name] = shots;
  }
  return { ...next, namedAtShot };
}

/** @returns what every rule has found so far, the named ones first, by their evidence. */
export function readWatch(coefficients: WatchCoefficients, state: WatchState): readonly FaultFinding[] {
  const findings = judge(coefficients, state).map((finding) => {
    const namedAtShot = state.namedAtShot[finding.name] ?? null;
    return Object.freeze({ ...finding, named: namedAtShot !== null, namedAtShot, border: coefficients.border });
  });
  return findings.sort((a, b) => Number(b.named) - Number(a.named) || b.evidence - a.evidence);
}

/** What a rule looks at, with what has to hold where another fault speaks. */
function partsOf({ parts, evenThen }: FaultRule): readonly RulePart[] {
  return evenThen === undefined ? parts : [...parts, evenThen];
}

function stepPart(
  { params, evidence, bands }: WatchCoefficients,
  part: RulePart,
  last: PartState,
  { shot, distanceM, afterBreak }: WatchedShot,
  shotNumber: number,
): PartState {
  const rested = afterBreak === true ? { ...last, evidence: breakEvidence(last.evidence) } : last;
  const given = givenIn(part, bands, shot);
  if (given.value === null || isGuess(given)) return rested;
  if (plausibility(part.measure, given.value, given.standardError) === 'impossible') return rested;
  if (part.measure === 'pickupToReleaseS' && shot.startKind === 'hold') return rested;
  if (part.kind === 'contrast' && part.group === 'far' && distanceM === null) return rested;
  const row: BandRow = bandTable[part.measure];
  const band = bands[part.measure];
  const { low, high } = band;
  const evened = isEvened(part, bands) ? evenedValue(band, shot.startKind, given.value) : given.value;
  if (evened === null) return rested;
  // As values spread that this sensor gives: one that is usual for a poor sensor is not wild.
  const reach = params.clipSpreads * Math.hypot(row.usualSpread, given.standardError);
  const value =
    part.kind === 'level'
      ? within((low ?? high ?? 0) - reach, (high ?? low ?? 0) + reach, evened)
      : part.kind === 'contrast' && band.target !== null
        ? within(band.target - reach - 2 * part.edge, band.target + reach + 2 * part.edge, evened)
        : evened;
  const inGroup =
    part.kind === 'contrast' && (part.group === 'far' ? distanceM! >= params.farFromM : shot.startKind === 'hold');
  const covariate = part.kind === 'level' ? 1 : part.kind === 'drift' ? shotNumber / 50 : inGroup ? 1 : 0;
  const weight = shotWeight(row, given.standardError);
  return {
    evidence: stepEvidence(evidence, rested.evidence, {
      value,
      nuisance: part.kind === 'level' ? 0 : 1,
      covariate,
      weight,
    }),
    shots: rested.shots + 1,
    weighedErrors: rested.weighedErrors + weight * given.standardError,
    weights: rested.weights + weight,
    firstWeights: rested.firstWeights + (rested.shots < params.leastShots ? weight : 0),
    inGroup: rested.inGroup + (inGroup ? 1 : 0),
  };
}

function within(low: number, high: number, value: number): number {
  return Math.min(high, Math.max(low, value));
}

/** Whether shots from different starts are put on one level. A difference between starts is told so only where the player's own is known. */
function isEvened(part: RulePart, bands: Bands): boolean {
  const { levels } = bands[part.measure];
  return levels !== undefined && (part.kind !== 'contrast' || part.group !== 'from-hold' || levels.hold !== undefined);
}

/** @returns the measure that a part looks at; nothing where what is to be taken off is not known. */
function givenIn(part: RulePart, bands: Bands, { measures, startKind }: CoachedShot): Measured {
  const given = measures[part.measure];
  if (part.kind !== 'level' || part.less === undefined || given.value === null) return given;
  const other = measures[part.less];
  if (other.value === null) return other;
  const { target, high, levels } = bands[part.less];
  const own = levels?.[startKind] ?? target ?? high ?? 0;
  const value = given.value - Math.max(0, other.value - own);
  return { ...given, value, standardError: Math.hypot(given.standardError, other.standardError) };
}

interface Judged {
  readonly name: FaultName;
  readonly evidence: number;
  readonly parts: readonly PartFinding[];
}

function judge(coefficients: WatchCoefficients, state: WatchState): Judged[] {
  const { params } = coefficients;
  const judged = coefficients.rules.map((rule) => {
    const states = state.parts[rule.name];
    const found = partsOf(rule).map((part, i) => findPart(coefficients, part, states?.[i]));
    const told = found.map(({ part, evidence }, i) => (enough(params, part, states?.[i]) ? evidence : 0));
    const each = told.slice(0, rule.parts.length);
    // The least of several is evidence that all hold, the mean evidence that one does: both keep the error rate.
    const evidence =
      rule.needs === 'all' ? Math.min(...each) : each.reduce((sum, value) => sum + value, 0) / each.length;
    const even = rule.evenThen === undefined ? 0 : told[rule.parts.length]!;
    return { name: rule.name, evidence, parts: found.slice(0, rule.parts.length), even };
  });
  return judged.map(({ even, ...one }) => {
    const others = (ruleOf(one.name).unless ?? []).flatMap((name) => judged.filter((other) => other.name === name));
    const { unseenExplains = false } = ruleOf(one.name);
    const isExplained = others.some((other) => speaks(params, one.parts, other.parts, unseenExplains));
    return isExplained ? { ...one, evidence: Math.min(one.evidence, even) } : one;
  });
}

/**
 * Whether what another rule looks at, beside the same numbers, speaks for it. While it is not spoken against either, twice the shots that
 * are needed at least are waited for.
 */
function speaks(
  { leastShots, spokenAgainst }: WatchParams,
  own: readonly PartFinding[],
  others: readonly PartFinding[],
  unseenExplains: boolean,
): boolean {
  const more = others.filter(({ part }) => !own.some((one) => one.part.measure === part.measure));
  const isEarly = Math.max(...own.map(({ shots }) => shots)) < 2 * leastShots;
  return more.some(({ evidence, shots }) => (shots === 0 ? unseenExplains : evidence > (isEarly ? spokenAgainst : 1)));
}

/** Whether there are shots enough to name anything: never few, for a contrast not few in either group. */
function enough({ leastShots }: WatchParams, part: RulePart, state: PartState | undefined): boolean {
  if (state === undefined) return false;
  if (part.kind === 'drift') return state.shots >= 4 * leastShots;
  if (part.kind === 'level') return state.shots >= leastShots;
  return Math.min(state.inGroup, state.shots - state.inGroup) >= Math.ceil(leastShots / 2);
}

function findPart(
  { params, evidence, bands }: WatchCoefficients,
  part: RulePart,
  state: PartState | undefined,
): PartFinding {
  const ends = { ...endsOf(part, bands), evened: isEvened(part, bands) };
  const side = part.side;
  if (state === undefined || state.shots === 0) {
    return { part, shots: 0, estimate: null, interval95: null, ...ends, evidence: 1 };
  }
  // The part of each shot's error that is common moves the weighed mean by the weighed mean of these parts. Within one practice it moves no
  // difference.
  const common =
    part.kind === 'level' ? (1.645 * Math.sqrt(params.commonErrorShare) * state.weighedErrors) / state.weights : 0;
  const low = ends.low === null ? null : ends.low - common;
  const high = ends.high === null ? null : ends.high + common;
  const seen = asSeen(params, evidence, state);
  const above = high === null ? null : evidenceAgainst(seen, state.evidence, high).above;
  const below = low === null ? null : evidenceAgainst(seen, state.evidence, low).below;
  const told =
    side === 'above' ? above : side === 'below' ? below : above === null || below === null ? null : (above + below) / 2;
  return {
    part,
    shots: state.shots,
    estimate: effectOf(state.evidence)?.effect ?? null,
    interval95: effectSequence(seen, state.evidence),
    low,
    high,
    evened: ends.evened,
    evidence: told ?? 1,
  };
}

/**
 * Effects are looked for in spreads from shot to shot as the sensor sees them: a poor sensor's shots weigh little, and faults large enough
 * for it would else lie beyond all that is looked for. What its shots weigh is taken from the first ones, before anything can be
 * named, and from their errors alone: the evidence keeps its error rate.
 */
function asSeen({ leastShots }: WatchParams, evidence: EvidenceParams, { firstWeights, shots }: PartState) {
  const usualWeight = firstWeights / Math.min(shots, leastShots);
  return { ...evidence, effectSds: evidence.effectSds / Math.sqrt(usualWeight) };
}

function endsOf(part: RulePart, bands: Bands): { readonly low: number | null; readonly high: number | null } {
  if (part.kind === 'level') {
    const { low, high } = bands[part.measure as BandedMeasure];
    const { beyond = 0 } = part;
    return {
      low: part.side === 'above' || low === null ? null : low - beyond,
      high: part.side === 'below' || high === null ? null : high + beyond,
    };
  }
  return { low: part.side === 'above' ? null : -part.edge, high: part.side === 'below' ? null : part.edge };
}
