import { resolveParams } from '../foundation/parameters.ts';
import type { Shot } from '../shots/shot.ts';
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
import { type BandedMeasure, type BandRow, type Bands, bandTable, evenedValue, shotWeight } from './bands.ts';
import type { FaultName } from './fault-names.ts';
import { type FaultRule, faultRules, type RulePart, ruleOf } from './fault-rules.ts';
import { plausibility } from './plausibility.ts';
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
  readonly shot: Shot;
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
    parts[rule.name] = rule.parts.map((part, i) => {
      const last = before?.[i] ?? { evidence: initialEvidence, shots: 0, weighedErrors: 0, weights: 0, inGroup: 0 };
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

function stepPart(
  { params, evidence, bands }: WatchCoefficients,
  part: RulePart,
  last: PartState,
  { shot, distanceM, afterBreak }: WatchedShot,
  shotNumber: number,
): PartState {
  const rested = afterBreak === true ? { ...last, evidence: breakEvidence(last.evidence) } : last;
  const given = shot.measures[part.measure];
  if (given.value === null || given.flags?.includes('uncalibrated') === true) return rested;
  if (plausibility(part.measure, given.value, given.standardError) === 'impossible') return rested;
  if (part.measure === 'pickupToReleaseS' && shot.startKind === 'hold') return rested;
  if (part.kind === 'contrast' && part.group === 'far' && distanceM === null) return rested;
  const row: BandRow = bandTable[part.measure];
  const band = bands[part.measure];
  const { low, high } = band;
  // A difference between starts is what that contrast looks at.
  const isOfStarts = part.kind === 'contrast' && part.group === 'from-hold';
  const evened = isOfStarts ? given.value : evenedValue(band, shot.startKind, given.value);
  if (evened === null) return rested;
  // As values spread that this sensor gives: one that is usual for a poor sensor is not wild.
  const reach = params.clipSpreads * Math.hypot(row.usualSpread, given.standardError);
  const value =
    part.kind === 'level' ? Math.min((high ?? low ?? 0) + reach, Math.max((low ?? high ?? 0) - reach, evened)) : evened;
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
    inGroup: rested.inGroup + (inGroup ? 1 : 0),
  };
}

interface Judged {
  readonly name: FaultName;
  readonly evidence: number;
  readonly parts: readonly PartFinding[];
}

function judge(coefficients: WatchCoefficients, state: WatchState): Judged[] {
  const judged = coefficients.rules.map((rule) => {
    const parts = rule.parts.map((part, i) => findPart(coefficients, part, state.parts[rule.name]?.[i]));
    const each = parts.map((found, i) =>
      enough(coefficients.params, found.part, state.parts[rule.name]?.[i]) ? found.evidence : 0,
    );
    // The least of several is evidence that all hold, the mean evidence that one does: both keep the error rate.
    const evidence =
      rule.needs === 'all' ? Math.min(...each) : each.reduce((sum, value) => sum + value, 0) / each.length;
    return { name: rule.name, evidence, parts };
  });
  return judged.map((one) => {
    const { unless } = ruleOf(one.name);
    const other = unless === undefined ? undefined : judged.find(({ name }) => name === unless);
    // The other rule looks at the same numbers and at more: while what is more speaks for it, this one is silent.
    const more = other?.parts.filter(({ part }) => !one.parts.some((own) => own.part.measure === part.measure)) ?? [];
    return more.some(({ evidence, shots }) => shots > 0 && evidence > 1) ? { ...one, evidence: 0 } : one;
  });
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
  const evened = bands[part.measure].levels !== undefined && !(part.kind === 'contrast' && part.group === 'from-hold');
  const ends = { ...endsOf(part, bands), evened };
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
  const above = high === null ? null : evidenceAgainst(evidence, state.evidence, high).above;
  const below = low === null ? null : evidenceAgainst(evidence, state.evidence, low).below;
  const told =
    side === 'above' ? above : side === 'below' ? below : above === null || below === null ? null : (above + below) / 2;
  return {
    part,
    shots: state.shots,
    estimate: effectOf(state.evidence)?.effect ?? null,
    interval95: effectSequence(evidence, state.evidence),
    low,
    high,
    evened,
    evidence: told ?? 1,
  };
}

function endsOf(part: RulePart, bands: Bands): { readonly low: number | null; readonly high: number | null } {
  if (part.kind === 'level') {
    const { low, high } = bands[part.measure as BandedMeasure];
    return { low: part.side === 'above' ? null : low, high: part.side === 'below' ? null : high };
  }
  return { low: part.side === 'above' ? null : -part.edge, high: part.side === 'below' ? null : part.edge };
}
