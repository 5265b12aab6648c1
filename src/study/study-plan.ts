import { SeamwiseError } from '../foundation/errors.ts';
import { drawBlindLabels, drawBlockOrder } from './block-order.ts';
import { requireBetween, requireWhole } from './checks.ts';
import { designEffect, setsFor, shotsForEquivalence, shotsForProportions, valuesForMeans } from './sample-size.ts';
import { seededSource } from './seeded-source.ts';

/** How many shots a comparison of make shares needs, before it begins. */
export interface MakesPlan {
  readonly kind: 'makes';
  readonly p1: number;
  readonly p2: number;
  /** Independent shots a condition, not rounded: to tell the two apart, and the same with continuity correction. */
  readonly shots: number;
  readonly shotsCorrected: number;
  /** To show them the same within the margin, where one was named. */
  readonly sameWithin: { readonly margin: number; readonly shots: number } | null;
  readonly sets: number;
  readonly designEffect: number;
  readonly shotsASet: number;
}

export interface MeansPlan {
  readonly kind: 'means';
  readonly effectSds: number;
  readonly shots: number;
  readonly sets: number;
  readonly designEffect: number;
  readonly shotsASet: number;
}

export interface PlanOptions {
  readonly alpha?: number;
  readonly power?: number;
  readonly shotsASet?: number;
  /** How alike the shots of a set are, 0 to 1. */
  readonly correlationWithin?: number;
  readonly margin?: number;
}

/** @throws SeamwiseError `statistic-input` */
export function planMakes(p1: number, p2: number, options: PlanOptions = {}): MakesPlan {
  const { alpha = 0.05, power = 0.8, shotsASet = 25, correlationWithin = 0, margin } = options;
  const { plain, corrected } = shotsForProportions(p1, p2, { alpha, power });
  return {
    ...{ kind: 'makes', p1, p2, shots: plain, shotsCorrected: corrected, shotsASet },
    sameWithin:
      margin === undefined ? null : { margin, shots: shotsForEquivalence((p1 + p2) / 2, margin, { alpha, power }) },
    sets: setsFor(plain, shotsASet, correlationWithin),
    designEffect: designEffect(shotsASet, correlationWithin),
  };
}

/** @param effectSds difference in spreads from shot to shot. @throws SeamwiseError `statistic-input` */
export function planMeans(effectSds: number, options: PlanOptions = {}): MeansPlan {
  const { alpha = 0.05, power = 0.8, shotsASet = 25, correlationWithin = 0 } = options;
  const shots = valuesForMeans(effectSds, { alpha, power });
  return {
    ...{ kind: 'means', effectSds, shots, shotsASet },
    sets: setsFor(shots, shotsASet, correlationWithin),
    designEffect: designEffect(shotsASet, correlationWithin),
  };
}

/** Order and labels of a study, drawn from a seed: whoever has it draws the same again. */
export interface StudyOrder {
  /** For each day the conditions in the order in which they are shot, as places in the list of conditions. */
  readonly order: readonly (readonly number[])[];
  /** One a condition; none where the study is not blinded. */
  readonly labels: readonly string[];
}

/**
 * @param rows days, of all players together.
 * @throws SeamwiseError `statistic-input`
 */
export function drawStudyOrder(
  conditions: readonly string[],
  rows: number,
  seed: string,
  blinded: boolean,
): StudyOrder {
  requireWhole('conditions', conditions.length, 2, 12);
  requireWhole('rows', rows, 1, 10_000);
  const names = conditions.map((name) => name.trim());
  if (names.some((name) => name === '') || new Set(names).size < names.length) {
    throw new SeamwiseError(
      'statistic-input',
      `conditions ${conditions.map((name) => JSON.stringify(name.slice(0, 40))).join(', ')}: expected names that differ, none empty`,
    );
  }
  const order = drawBlockOrder(conditions.length, rows, seededSource(`${seed} order`));
  return { order, labels: blinded ? drawBlindLabels(conditions.length, seededSource(`${seed} labels`)) : [] };
}

/** The plan in sentences, the number first. */
export function planInWords(plan: MakesPlan | MeansPlan, { alpha = 0.05, power = 0.8 }: PlanOptions = {}): string[] {
  requireBetween('alpha', alpha, 0, 1);
  const rates = `(${percent(power)} power, ${percent(alpha)} two-sided; `;
  const spread =
    plan.designEffect > 1
      ? `Shots of a set are alike: that makes ${rounded(plan.shots * plan.designEffect)} shots, ${grouped(plan.sets)} sets of ${plan.shotsASet} a condition.`
      : `That is ${grouped(plan.sets)} sets of ${plan.shotsASet} a condition, if every shot is independent of the others; shots of one day seldom are, so shoot all conditions on the same days.`;
  if (plan.kind === 'means') {
    return [
      `To tell a difference of ${plan.effectSds} spreads from shot to shot you need about ${rounded(plan.shots)} shots a condition ${rates}noncentral t).`,
      spread,
    ];
  }
  const sentences = [
    `To tell ${percent(plan.p1)} from ${percent(plan.p2)} you need about ${rounded(plan.shots)} shots a condition ${rates}normal approximation; ${rounded(plan.shotsCorrected)} with continuity correction).`,
    spread,
  ];
  if (plan.sameWithin !== null) {
    const { margin, shots } = plan.sameWithin;
    sentences.push(
      `To show the two to be the same within ±${percent(margin)} takes about ${rounded(shots)} shots a condition (two one-sided tests), where they are the same.`,
    );
  } else {
    sentences.push(
      'If the question is whether the two are the same, name how much would matter (--margin): “no difference found” is no answer to that.',
    );
  }
  return sentences;
}

function percent(share: number): string {
  return `${Number((100 * share).toFixed(1))} %`;
}

/** To two figures, upward: a plan is no more exact. */
function rounded(count: number): string {
  const power = 10 ** Math.max(0, Math.floor(Math.log10(count)) - 1);
  return grouped(Math.ceil(count / power - 1e-9) * power);
}

function grouped(count: number): string {
  return String(Math.ceil(count)).replace(/\B(?=(\d{3})+$)/g, ',');
}
