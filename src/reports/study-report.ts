import type { StudyComparison, StudyResult } from '../study/analyze-study.ts';
import { type Insufficient, isInsufficient } from '../study/checks.ts';
import { type IntervalRow, intervalChart } from './charts.ts';
import { html, type Markup } from './html.ts';
import { plainNumber } from './plain-number.ts';
import type { ReportFrame } from './report-input.ts';
import { cautionSection, counted, percent, reportPage, wideTable } from './report-page.ts';
import {
  byQuantity,
  numbered,
  pText,
  quoted,
  shownQuantity,
  studyInPlainWords,
  studyInWords,
  studyLimitsInWords,
} from './study-words.ts';

export interface StudyReportInput extends ReportFrame {
  readonly name: string;
  readonly factor: string;
  readonly players: number;
  readonly days: number;
  readonly sets: number;
  readonly shots: number;
  readonly simulated: boolean;
  /** Whether the conditions had covered names while they were shot, null where nobody noted it; `still` while they have. */
  readonly blinded: boolean | 'still' | null;
  readonly margins: Readonly<Record<string, number>>;
  /** Or why there is nothing to say yet. */
  readonly result: StudyResult | Insufficient;
}

/** A study of conditions as a document: sentences first, then tables and drawings, then the methods. */
export function studyReport(input: StudyReportInput): string {
  const { name, players, days, sets, shots, simulated, blinded, result, units, margins, audience } = input;
  const facts = [counted(players, 'player'), counted(days, 'day'), counted(sets, 'set'), counted(shots, 'shot')];
  const isOpen = isInsufficient(result);
  const inWords = audience === 'parent' ? studyInPlainWords : studyInWords;
  const sentences = isOpen ? [`Nothing to say yet: ${result.reason}.`] : inWords(result, { units, margins });
  const limits = isOpen ? [] : studyLimitsInWords(result);
  return reportPage(input, name, facts, [
    simulated
      ? html`<p class="notice">Some of these shots were simulated: no person threw a ball there. Nothing here says anything about players.</p>`
      : html``,
    html`<section><h2>What it says</h2>${sentences.map((text) => html`<p class="lead">${text}</p>`)}${
      blinded === 'still' && html`<p class="soft">The conditions go by covered names until the study is closed.</p>`
    }</section>`,
    limits.length === 0
      ? html``
      : html`<section><h2>What it cannot answer</h2><ul>${limits.map((text) => html`<li>${text}</li>`)}</ul></section>`,
    ...(isOpen ? [] : [makeSection(result, audience), ...differenceSections(input, result)]),
    isOpen || audience === 'parent' ? html`` : methodSection(input, result),
    cautionSection(),
  ]);
}

function makeSection({ makes }: StudyResult, audience: StudyReportInput['audience']): Markup {
  if (makes.length === 0) return html``;
  const rows: IntervalRow[] = makes.map(({ condition, makes: made, attempts, score }) => ({
    label: quoted(condition),
    value: made / attempts,
    low: score[0],
    high: score[1],
    told: `${made} of ${attempts}, ${percent(made / attempts)}`,
  }));
  const chart = intervalChart(
    rows,
    { from: 0, to: 1, zone: null, zero: false, factor: 100, unit: ' %' },
    'Makes of each condition with 95 % score intervals, from none to all',
  );
  if (audience === 'parent') {
    return html`<section class="keep"><h2>Makes</h2><div class="measure">${chart}</div><p class="soft">Bars are what so few shots leave open.</p></section>`;
  }
  return html`<section class="keep"><h2>Makes</h2><div class="measure">${chart}</div>${wideTable(
    'Makes',
    html`<table><thead><tr><th>Condition</th><th class="n">Sets</th><th class="n">Made</th><th class="n">Score interval, 95 %</th><th class="n">Exact interval, 95 %</th></tr></thead><tbody>${makes.map(
      ({ condition, sets, makes: made, attempts, score, exact }) =>
        html`<tr><td>${quoted(condition)}</td><td class="n">${sets}</td><td class="n">${made} of ${attempts}</td><td class="n">${spanned(score)}</td><td class="n">${spanned(exact)}</td></tr>`,
    )}</tbody></table>`,
  )}<p class="soft">These intervals take every shot as independent; the comparison below does not.</p></section>`;
}

function spanned([low, high]: readonly [number, number]): string {
  return `${plainNumber(100 * low, 1)} to ${plainNumber(100 * high, 1)} %`;
}

function differenceSections({ units, margins, audience }: StudyReportInput, result: StudyResult): Markup[] {
  return byQuantity(result.comparisons).map((comparisons) => {
    const { quantity } = comparisons[0]!;
    const key = quantity.kind === 'makes' ? 'makes' : quantity.name;
    const shown = shownQuantity(quantity, units);
    const isPlain = audience === 'parent';
    const margin = margins[key];
    const rows = comparisons.map(({ one, two, difference, answer }): IntervalRow => {
      const label = pairText(one, two);
      if (isInsufficient(difference)) {
        const told = isPlain ? 'too little was shot' : difference.reason;
        return { label, value: null, low: null, high: null, told };
      }
      const [low, high] = difference.interval;
      const told = `${numbered(difference.difference, shown)}${isPlain && key === 'makes' ? ' of 100 shots' : shown.unit}, ${answers[answer]}`;
      return { label, value: difference.difference, low, high, told };
    });
    const ends = rows.flatMap(({ low, high }) =>
      low === null || high === null ? [] : [Math.abs(low), Math.abs(high)],
    );
    const reach = 1.1 * Math.max(margin ?? 0, ...ends, Number.MIN_VALUE);
    const chart = intervalChart(
      rows,
      {
        ...{ from: -reach, to: reach, zone: margin === undefined ? null : ([-margin, margin] as const), zero: true },
        ...{ factor: shown.scale, unit: '' },
      },
      `${shown.label}: differences with 95 % intervals about zero`,
    );
    return html`<section class="keep"><h2>${shown.label}: the differences</h2><div class="measure">${chart}</div>
<p class="soft">Right of the dashed line the first of the two has more.${margin !== undefined && ' Within the shaded zone a difference counts as none.'}</p>${!isPlain && testTable(comparisons, shown)}</section>`;
  });
}

/** Two conditions, the one that is taken from the other behind. */
function pairText(one: string, two: string): string {
  return `${quoted(one)} – ${quoted(two)}`;
}

const answers: Readonly<Record<StudyComparison['answer'], string>> = {
  differ: 'they differ',
  same: 'the same',
  'differ-within-margin': 'differ, but little',
  open: 'open',
};

function testTable(comparisons: readonly StudyComparison[], shown: ReturnType<typeof shownQuantity>): Markup {
  const number = (value: number) => numbered(value, shown);
  return wideTable(
    `${shown.label}: tests`,
    html`<table class="wide"><thead><tr><th>Conditions</th><th>Data</th><th class="n">Difference,${shown.unit}</th><th class="n">95 % interval</th><th class="n">Permutation p</th><th class="n">p, adjusted</th><th class="n">Same within margin, p</th><th class="n">Over players</th></tr></thead><tbody>${comparisons.map(
      ({ one, two, design, units, difference, permutation, adjustedP, equivalence, byPlayer }) =>
        html`<tr><td>${pairText(one, two)}</td><td>${units} ${design === 'within-days' ? 'days, both' : 'days, either'}</td><td class="n">${isInsufficient(difference) ? '–' : number(difference.difference)}</td><td class="n">${
          isInsufficient(difference) ? '–' : `${number(difference.interval[0])} to ${number(difference.interval[1])}`
        }</td><td class="n">${isInsufficient(permutation) ? '–' : pCell(permutation.pTwoSided)}</td><td class="n">${adjustedP === null ? '–' : pCell(adjustedP)}</td><td class="n">${equivalence === null ? '–' : pCell(equivalence.p)}</td><td class="n">${
          isInsufficient(byPlayer)
            ? '–'
            : `${number(byPlayer.effect)} (${number(byPlayer.interval[0])} to ${number(byPlayer.interval[1])})`
        }</td></tr>`,
    )}</tbody></table>`,
  );
}

/** @returns p as it stands in a column of its own. */
function pCell(p: number): string {
  return pText(p).replace('= ', '');
}

function methodSection({ factor, blinded }: StudyReportInput, result: StudyResult): Markup {
  const covered =
    blinded === null
      ? ''
      : blinded === false
        ? '; those who shot knew them'
        : '; their names were covered while they were shot';
  const independent = result.comparisons.find(({ asIfIndependent }) => asIfIndependent !== null)?.asIfIndependent;
  return html`<section><h2>Methods</h2><p>Conditions are levels of “${factor}”${covered}. The data are days of a player, paired where both conditions were shot on a day, since what differs from day to day cannot be shot
away. Difference: paired or Welch’s t interval. The answer “differ” stands on the permutation test (labels dealt anew within days; Phipson and Smyth 2010) adjusted over all comparisons (Holm 1979), “the same” on two one-sided tests (Schuirmann 1987) within the margin that was set. Over
players: random effects with Hartung and Knapp’s interval. Streaks: against rearrangements of the same shots (Miller and Sanjurjo 2018).</p>${
    independent != null &&
    html`<p class="soft">As if all shots were independent, for the first pair of makes: 95 % interval of the difference ${plainNumber(100 * independent.interval[0], 1)} to ${plainNumber(100 * independent.interval[1], 1)} points (Newcombe 1998), Fisher’s exact test p ${pText(independent.fisher.pTwoSided)}.</p>`
  }</section>`;
}
