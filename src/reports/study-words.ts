import { type StudyComparison, type StudyResult, studyNotes } from '../study/analyze-study.ts';
import { isInsufficient } from '../study/checks.ts';
import { shotsForEquivalence } from '../study/sample-size.ts';
import type { StudyQuantity } from '../study/study-units.ts';
import { plainNumber } from './plain-number.ts';
import type { ReportUnits } from './report-input.ts';
import { isShownMeasure, type ShownMeasure, shownMeasure, unitText } from './shown-measure.ts';

/** How the sentences of a study show a quantity: makes in points of a hundred, a measure in the reader's unit. */
export interface ShownQuantity {
  readonly label: string;
  readonly scale: number;
  readonly decimals: number;
  /** With the space that belongs before it. */
  readonly unit: string;
}

export function shownQuantity(quantity: StudyQuantity, units: ReportUnits): ShownQuantity {
  if (quantity.kind === 'makes') return { label: 'Makes', scale: 100, decimals: 1, unit: ' points' };
  if (!isShownMeasure(quantity.name)) return { label: quantity.name, scale: 1, decimals: 3, unit: '' };
  const measure: ShownMeasure = shownMeasure(quantity.name, units);
  return { label: measure.label, scale: measure.scale, decimals: measure.decimals + 1, unit: unitText(measure) };
}

/** What a study says, plainly, each comparison first. */
export function studyInWords(
  { comparisons, makes, streaks }: StudyResult,
  { units, margins }: { readonly units: ReportUnits; readonly margins: Readonly<Record<string, number>> },
): string[] {
  const sentences = comparisons.map((comparison) => comparisonInWords(comparison, units, margins, makes));
  if (!isInsufficient(streaks)) {
    sentences.push(
      streaks.pTwoSided <= 0.05
        ? `Makes came in streaks, or against them, by more than chance: ${points(streaks.corrected)} after three makes against three misses, the bias of finite runs taken out (p ${pText(streaks.pTwoSided)}).`
        : `No streaks beyond chance: ${points(streaks.corrected)} after three makes against three misses, the bias of finite runs taken out (p ${pText(streaks.pTwoSided)}).`,
    );
  }
  return sentences;
}

/** What a study says to somebody who does not coach: the answers, without what they were tested by. */
export function studyInPlainWords(
  { comparisons }: StudyResult,
  { units, margins }: { readonly units: ReportUnits; readonly margins: Readonly<Record<string, number>> },
): string[] {
  return byQuantity(comparisons).flatMap((ofOne) => {
    // Many sentences that each say that nothing can be told yet would hide those that say something.
    const isAllOpen = ofOne.length > 1 && ofOne.every(({ answer }) => answer === 'open');
    if (!isAllOpen) return ofOne.map((comparison) => plainSentence(comparison, units, margins));
    const conditions = [...new Set(ofOne.flatMap(({ one, two }) => [one, two]))].map(quoted);
    const { label } = shownQuantity(ofOne[0]!.quantity, units);
    return [`${label}: whether it differs between ${listed(conditions)} nobody can tell yet.`];
  });
}

/** @returns comparisons of one quantity together, in the order in which they came. */
export function byQuantity(comparisons: readonly StudyComparison[]): StudyComparison[][] {
  const found = new Map<string, StudyComparison[]>();
  for (const comparison of comparisons) {
    const key = comparison.quantity.kind === 'makes' ? 'makes' : comparison.quantity.name;
    found.set(key, [...(found.get(key) ?? []), comparison]);
  }
  return [...found.values()];
}

/** @returns `a, b and c`. */
function listed(words: readonly string[]): string {
  return `${words.slice(0, -1).join(', ')} and ${words.at(-1)}`;
}

function plainSentence(
  { quantity, one: first, two: second, difference, answer }: StudyComparison,
  units: ReportUnits,
  margins: Readonly<Record<string, number>>,
): string {
  const [one, two] = [quoted(first), quoted(second)];
  const shown = shownQuantity(quantity, units);
  const isMakes = quantity.kind === 'makes';
  if (isInsufficient(difference)) return `${shown.label}, ${one} or ${two}: too little was shot to say anything.`;
  const unit = isMakes ? ' of 100 shots' : shown.unit;
  const plain = (value: number) => plainNumber(shown.scale * value, isMakes ? 0 : shown.decimals);
  const [low, high] = difference.interval;
  const margin = margins[isMakes ? 'makes' : quantity.name];
  if (answer === 'same') return `${shown.label}: ${one} and ${two} are the same, within ${plain(margin ?? 0)}${unit}.`;
  if (answer === 'open') {
    return `${shown.label}, ${one} or ${two}: nobody can tell yet. The difference may be anything between ${plain(low)} and ${plain(high)}${unit}.`;
  }
  const [more, less] = difference.difference > 0 ? [one, two] : [two, one];
  const size = Math.abs(difference.difference);
  const [from, to] = difference.difference > 0 ? [low, high] : [-high, -low];
  const what = isMakes ? `more go in with ${more} than with ${less}` : `more with ${more} than with ${less}`;
  const little = answer === 'differ-within-margin' ? ', too little to matter' : '';
  const about = isMakes ? `about ${plain(size)} more of 100 shots` : `about ${plain(size)}${unit}`;
  return `${shown.label}: ${what}, ${about} (${plain(from)} to ${plain(to)})${little}.`;
}

/** What a study cannot answer with the sets that it has. */
export function studyLimitsInWords({ notes, streaks }: StudyResult): string[] {
  const limits = notes.map((note) => `${studyNotes[note][0]!.toUpperCase()}${studyNotes[note].slice(1)}.`);
  return isInsufficient(streaks) ? [...limits, `Streaks: ${streaks.reason}.`] : limits;
}

function comparisonInWords(
  comparison: StudyComparison,
  units: ReportUnits,
  margins: Readonly<Record<string, number>>,
  makes: StudyResult['makes'],
): string {
  const { quantity, difference, answer, adjustedP, equivalence, units: count, design } = comparison;
  const shown = shownQuantity(quantity, units);
  const [one, two] = [quoted(comparison.one), quoted(comparison.two)];
  const name = `${shown.label}, ${one} against ${two}`;
  if (isInsufficient(difference)) return `${name}: nothing can be said, ${difference.reason}.`;
  const margin = margins[quantity.kind === 'makes' ? 'makes' : quantity.name];
  const told = numbered(difference.difference, shown, true);
  const [low, high] = difference.interval;
  const range = `between ${numbered(low, shown)} and ${numbered(high, shown)}${shown.unit}`;
  const from = `${count} ${design === 'within-days' ? 'days on which both were shot' : 'days'}`;
  const p = adjustedP === null ? '' : `, p ${pText(adjustedP)} after all comparisons`;
  const within = margin === undefined ? '' : `${numbered(margin, shown)}${shown.unit}`;
  switch (answer) {
    case 'differ':
      return `${name}: they differ. With ${one} it is ${told}${shown.unit} (${range}; ${from}${p}).`;
    case 'differ-within-margin':
      return `${name}: they differ, by less than the ${within} that would matter: ${told}${shown.unit} (${range}; ${from}${p}).`;
    case 'same':
      return `${name}: the same within ±${within}. The difference is ${told}${shown.unit} (90 %: ${numbered(equivalence!.interval[0], shown)} to ${numbered(equivalence!.interval[1], shown)}; ${from}).`;
    case 'open': {
      const counted = makes.filter(({ condition }) => condition === comparison.one || condition === comparison.two);
      const share =
        counted.reduce((sum, each) => sum + each.makes, 0) / counted.reduce((sum, each) => sum + each.attempts, 0);
      const needed =
        quantity.kind === 'makes' && margin !== undefined && share > 0 && share < 1
          ? ` To show them the same within ±${within} takes about ${grouped(shotsForEquivalence(share, margin))} shots a condition, more where days differ.`
          : '';
      return `${name}: open. It may be anything ${range} (${from}${p}); that is not “the same”.${needed}`;
    }
  }
}

/** A condition is called whatever people called it, with commas and words of its own: where it begins and ends has to be seen. */
export function quoted(condition: string): string {
  return `“${condition}”`;
}

export function numbered(value: number, { scale, decimals }: ShownQuantity, sign = false): string {
  const text = plainNumber(scale * value, decimals);
  return sign && value > 0 && Number(text) !== 0 ? `+${text}` : text;
}

function points(share: number): string {
  return `${share > 0 ? '+' : ''}${plainNumber(100 * share, 1)} points`;
}

/** @returns p as it is told: never 0. */
export function pText(p: number): string {
  return p < 0.001 ? '< 0.001' : `= ${p.toFixed(3)}`;
}

/** Rounded up to two figures: a plan is no more exact. */
function grouped(count: number): string {
  const power = 10 ** Math.max(0, Math.floor(Math.log10(count)) - 1);
  return new Intl.NumberFormat('en').format(Math.ceil(count / power) * power);
}
