import { type DrillVerdict, proofNotes, type Verdict } from '../coaching/drill-proof.ts';
import type { Audience } from './report-input.ts';
import { numberText, type ShownMeasure, withUnit } from './shown-measure.ts';

const verdictTitles: Readonly<Record<Verdict, string>> = {
  changed: 'It changed for the better.',
  'not-changed': 'It did not change by as much as would matter.',
  worse: 'It got worse.',
  'not-enough': 'Not enough shots yet to say.',
};

/** @returns what became of a drill, in sentences: the verdict first. */
export function verdictInWords(
  verdict: DrillVerdict,
  measure: ShownMeasure,
  smallestChange: number,
  audience: Audience = 'coach',
): string[] {
  const { change, interval, baselineDays, retestDays, minimalDetectableChange95, notes } = verdict;
  // At home "not enough shots" would be heard as a wish for more of them.
  const isEarly = audience === 'parent' && verdict.verdict === 'not-enough';
  const sentences = [
    isEarly ? 'It is too early to say. Days settle it, not more shots.' : verdictTitles[verdict.verdict],
  ];
  if (change !== null && interval !== null) {
    const sign = change > 0 ? '+' : '';
    sentences.push(
      `${measure.label} moved by ${sign}${withUnit(change, measure)} (between ${numberText(interval[0], measure)} and ${withUnit(interval[1], measure)}), from ${baselineDays} days before the drill to ${retestDays} days after; ${withUnit(smallestChange, measure)} would matter.`,
    );
  }
  if (minimalDetectableChange95 !== null) {
    sentences.push(`Two single days differ by up to ${withUnit(minimalDetectableChange95, measure)} by themselves.`);
  }
  for (const note of notes) sentences.push(`${proofNotes[note][0]!.toUpperCase()}${proofNotes[note].slice(1)}.`);
  return sentences;
}
