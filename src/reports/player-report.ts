import { stageOfAge } from '../coaching/age-stages.ts';
import { type Band, type BandedMeasure, bandedMeasures } from '../coaching/bands.ts';
import { isInsufficient } from '../study/checks.ts';
import { median } from '../study/descriptive.ts';
import { medianInterval } from '../study/median-interval.ts';
import { wilsonInterval } from '../study/proportion-interval.ts';
import { rowChart } from './charts.ts';
import { drillPart } from './finding-section.ts';
import { html, type Markup } from './html.ts';
import { madeText } from './made-text.ts';
import { bandText } from './measure-section.ts';
import type { PlayerReportInput, ReportProof } from './report-input.ts';
import {
  cautionSection,
  cautionsOf,
  counted,
  dayText,
  howMuch,
  reportPage,
  shortDay,
  wideTable,
} from './report-page.ts';
import { axisUnit, numberText, type ShownMeasure, shownMeasure, withUnit } from './shown-measure.ts';
import { verdictInWords } from './verdict-words.ts';

/** A player over weeks, for one reader. */
export function playerReport(input: PlayerReportInput): string {
  const { player, days, timeZone, audience } = input;
  const [first, last] = [days[0], days.at(-1)];
  const facts = [
    first === undefined || last === undefined
      ? 'no practice yet'
      : [...new Set([first, last].map(({ startedS }) => dayText(startedS, timeZone)))].join(' to '),
    counted(days.length, 'practice'),
    counted(
      days.reduce((sum, { shots }) => sum + shots, 0),
      'shot',
    ),
  ];
  const made = days.filter((day) => day.simulated).length;
  const which =
    made < days.length ? 'Some of these practices were' : made === 1 ? 'This practice was' : 'These practices were';
  const simulated = made > 0 ? html`<p class="notice">${which} simulated: no person threw a ball there.</p>` : html``;
  const body =
    days.length === 0
      ? [html`<p class="lead">No practice of this player has been kept yet.</p>`]
      : [
          drillSection(input),
          makeSection(input),
          ...(audience === 'parent' ? [] : [overTimeSection(input)]),
          ...(audience === 'researcher' ? [methodSection()] : []),
        ];
  return reportPage(input, `${player.pseudonym} over time`, facts, [
    simulated,
    stageSection(input),
    ...body,
    loadSection(input),
    cautionSection(cautionsOf(input.load)),
  ]);
}

function stageSection({ player: { ageYears } }: PlayerReportInput): Markup {
  const { inWords, source } = stageOfAge(ageYears);
  return html`<section><h2>What matters now</h2><p class="lead">${inWords}</p><p class="soft">${ageYears === null ? 'Nobody told the age: this is what is looked at in the oldest' : 'By age'} (${source}).</p></section>`;
}

function drillSection({ proofs, units, audience, player }: PlayerReportInput): Markup {
  if (proofs.length === 0) {
    return html`<section><h2>Drills and what they changed</h2><p>No drill has been prescribed.</p></section>`;
  }
  return html`<section><h2>Drills and what they changed</h2>${proofs.map((proof) => proofPart(proof, { units, audience, ageYears: player.ageYears }))}
<p class="soft">A verdict compares days, not shots, and tells that the level moved between two stretches of weeks by more than chance; that it was the drill and nothing else it cannot tell.</p></section>`;
}

function proofPart(
  { drill, measure: name, smallestChange, verdict, plan }: ReportProof,
  { units, audience, ageYears }: Pick<PlayerReportInput, 'units' | 'audience'> & { readonly ageYears: number | null },
): Markup {
  const measure = shownMeasure(name, units);
  const [title = '', ...more] = verdictInWords(verdict, measure, smallestChange, audience);
  // Nobody under fourteen is asked for more practices: that plan goes to the coach alone.
  const planned = audience !== 'parent' || plan.audience === 'coach-and-player';
  return html`<div class="finding"><h3>${drill.title}: ${measure.plain}</h3><p class="lead">${title}</p>${audience === 'parent' ? html`` : more.map((text) => html`<p>${text}</p>`)}
${planned && html`<p>${plan.sentence} ${plan.caution}</p>`}</div>${audience === 'parent' && verdict.verdict === 'not-enough' && (ageYears === null || ageYears >= drill.fromAge) && drillPart(drill)}`;
}

function makeSection({ days, timeZone, audience, player }: PlayerReportInput): Markup {
  const counts = days.filter(({ made }) => made !== null);
  if (counts.length === 0 || (player.ageYears !== null && player.ageYears < 10)) return html``;
  const total = counts.reduce(
    (sum, { made }) => ({ makes: sum.makes + made!.makes, attempts: sum.attempts + made!.attempts }),
    { makes: 0, attempts: 0 },
  );
  const chart = rowChart({
    points: days.map(({ made }) => {
      if (made === null) return null;
      const [low, high] = wilsonInterval(made.makes, made.attempts, 0.9);
      return { value: (100 * made.makes) / made.attempts, low: 100 * low, high: 100 * high };
    }),
    low: null,
    high: null,
    leastSpan: 60,
    decimals: 0,
    ends: endsOf(days, timeZone),
    inWords: `Share of counted shots that went in, practice by practice, ${counted(counts.length, 'practice')}`,
  });
  const several = counts.length > 1;
  return html`<section class="keep"><h2>Makes</h2><p>${madeText(total)} over all counted shots.</p>${several && html`<div class="measure"><p class="soft">Of 100 counted shots went in, practice by practice:</p>${chart}</div>`}
${audience !== 'parent' && html`${wideTable('Makes', html`<table class="wide"><thead><tr><th>Practice</th><th class="n">Made, with 90 % interval</th></tr></thead><tbody>${counts.map(({ startedS, made }) => html`<tr><td>${shortDay(startedS, timeZone)}</td><td class="n">${madeText(made!)}</td></tr>`)}</tbody></table>`)}`}
<p class="soft">${several ? 'Bars are what so few shots leave open: practices whose bars overlap are not told apart.' : 'The range in brackets is what so few shots leave open.'}</p></section>`;
}

function overTimeSection({ days, bands, units, timeZone, audience }: PlayerReportInput): Markup {
  const parts = bandedMeasures.flatMap((name) => {
    const points = days.map((day) => dayPoint(day.values[name]?.values ?? []));
    return points.some((point) => point !== null)
      ? [measurePart(name, bands[name], points, { units, days, timeZone, audience })]
      : [];
  });
  return html`<section><h2>Practice by practice</h2>${parts.length === 0 ? html`<p>No measure was known in any practice.</p>` : parts}</section>`;
}

interface DayPoint {
  readonly middle: number;
  readonly interval: readonly [number, number];
  readonly count: number;
}

function dayPoint(values: readonly number[]): DayPoint | null {
  if (values.length === 0) return null;
  const told = medianInterval(values);
  // With too few shots for an interval the shots themselves are the bar.
  const interval = isInsufficient(told) ? ([Math.min(...values), Math.max(...values)] as const) : told.interval;
  return { middle: median(values), interval, count: values.length };
}

function measurePart(
  name: BandedMeasure,
  band: Band,
  points: readonly (DayPoint | null)[],
  { units, days, timeZone, audience }: Pick<PlayerReportInput, 'units' | 'days' | 'timeZone' | 'audience'>,
): Markup {
  const measure = shownMeasure(name, units);
  const { scale } = measure;
  const chart = rowChart({
    points: points.map((point) =>
      point === null
        ? null
        : { value: scale * point.middle, low: scale * point.interval[0], high: scale * point.interval[1] },
    ),
    low: band.low === null ? null : scale * band.low,
    high: band.high === null ? null : scale * band.high,
    leastSpan: Math.max(
      10 ** -measure.decimals,
      0.1 * Math.abs(scale * (points.find((point) => point !== null)?.middle ?? 1)),
    ),
    decimals: measure.decimals,
    ends: endsOf(days, timeZone),
    inWords: `${measure.label}, median of each practice`,
  });
  const rows = points.map((point, i) =>
    point === null
      ? html`<tr><td>${shortDay(days[i]!.startedS, timeZone)}</td><td class="n">–</td><td class="n">–</td><td class="n">0</td></tr>`
      : html`<tr><td>${shortDay(days[i]!.startedS, timeZone)}</td><td class="n">${withUnit(point.middle, measure)}</td><td class="n">${numberText(point.interval[0], measure)} to ${numberText(point.interval[1], measure)}</td><td class="n">${point.count}</td></tr>`,
  );
  const first = points.find((point) => point !== null);
  const last = points.findLast((point) => point !== null);
  const ends =
    first && last && first !== last
      ? ` First practice ${pointText(first, measure)}, last ${pointText(last, measure)}.`
      : '';
  const bandEnds =
    band.low === null && band.high === null ? '' : `Left alone: ${bandText(band, measure)} (${band.source}).`;
  // One practice is no row of them.
  const single = days.length === 1 && first ? first : null;
  const shown = single ? html`<p>${pointText(single, measure)}, ${counted(single.count, 'shot')}.</p>` : chart;
  const told = html`<h3>${measure.label}, ${axisUnit(measure)}</h3><p class="soft">${bandEnds}${ends}</p>${shown}`;
  // A coach reads the drawing; who checks it needs the numbers.
  if (audience !== 'researcher' || single) return html`<div class="measure">${told}</div>`;
  return html`<div class="${days.length <= mostKeptRows ? 'measure' : ''}">${told}${wideTable('Practice by practice', html`<table class="wide"><thead><tr><th>Practice</th><th class="n">Median</th><th class="n">90 % interval</th><th class="n">Shots</th></tr></thead><tbody>${rows}</tbody></table>`)}</div>`;
}

/** @returns a median with what its shots leave open, as in `0.62 s (0.60 to 0.64 s)`. */
function pointText({ middle, interval }: DayPoint, measure: ShownMeasure): string {
  return `${withUnit(middle, measure)} (${numberText(interval[0], measure)} to ${withUnit(interval[1], measure)})`;
}

/** Tables of more rows than these are longer than half a page, and may be broken. */
const mostKeptRows = 14;

/** @returns the first and the last day. */
function endsOf(days: PlayerReportInput['days'], timeZone: string): readonly [string, string] {
  return [shortDay(days[0]!.startedS, timeZone), shortDay(days.at(-1)!.startedS, timeZone)];
}

function loadSection({ load, audience }: PlayerReportInput): Markup {
  if (load === null) return html``;
  if (audience === 'parent') return howMuch(load);
  return html`<section><h2>Load</h2><p>${counted(load.shots7Days, 'shot')} on ${counted(load.days7, 'day')} in the last seven days, ${counted(load.shots7DaysBefore, 'shot')} in the seven before, as far as sensors saw them. There is no limit of shots here: none was found for basketball, and none is invented.</p></section>`;
}

function methodSection(): Markup {
  return html`<section><h2>Methods</h2><p>Points are medians of a practice with order-statistic intervals (Thompson 1936) at 90 %, for independent shots; with fewer than five shots the bar spans the shots. Make shares have score intervals
(Wilson 1927). A drill is judged by days: difference of day levels with a day-to-day correlation allowed for, looks planned beforehand that share one error rate of 5 %; baseline starts after the day on which the fault was named, so that regression to the mean proves nothing.</p></section>`;
}
