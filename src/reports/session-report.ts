import { stageOfAge } from '../coaching/age-stages.ts';
import { describeFault } from '../coaching/fault-words.ts';
import type { ShotMeasureName } from '../shots/shot.ts';
import { drillPart, findingSection } from './finding-section.ts';
import { html, type Markup } from './html.ts';
import { madeText } from './made-text.ts';
import { measureSection, summaryOf } from './measure-section.ts';
import type { ReportSet, ReportShot, ReportUnits, SessionReportInput } from './report-input.ts';
import {
  cautionSection,
  cautionsOf,
  clockText,
  counted,
  dayText,
  howMuch,
  lowered,
  reportPage,
  wideTable,
} from './report-page.ts';
import { distanceText, errorText, numberText, shownMeasure, unitText } from './shown-measure.ts';

const simulatedNotice = html`<p class="notice">These shots were simulated: no person threw a ball. Nothing here says anything about a player.</p>`;

/** One practice as a document, for one reader. */
export function sessionReport(input: SessionReportInput): string {
  const { audience, name, startedS, endedS, timeZone, player, simulated } = input;
  const title = name === '' ? `Practice of ${dayText(startedS, timeZone)}` : name;
  const minutes = endedS === null ? null : Math.max(1, Math.round((endedS - startedS) / 60));
  const facts = [
    player === null ? 'All players of the practice together' : player.pseudonym,
    dayText(startedS, timeZone),
    minutes === null ? 'still open' : counted(minutes, 'minute'),
    counted(input.shots.length, 'shot'),
  ];
  const body = audience === 'parent' ? parentBody(input) : workingBody(input);
  return reportPage(input, title, facts, [simulated ? simulatedNotice : html``, ...body]);
}

function workingBody(input: SessionReportInput): Markup[] {
  const { audience, shots, sets, player, load } = input;
  if (shots.length === 0) return [html`<p class="lead">No shot was found in this practice.</p>`, cautionSection()];
  return [
    html`<section><h2>In short</h2>${shortSentences(input).map((text) => html`<p class="lead">${text}</p>`)}</section>`,
    player === null ? html`` : findingSection(input),
    measureSection(input),
    sets.length > 0 ? setSection(sets, input.units) : html``,
    shotTable(input),
    audience === 'researcher' ? methodSection(input) : definitionSection(input),
    cautionSection(cautionsOf(load)),
  ];
}

/** What a reader in a hurry has to know, in sentences. */
function shortSentences({ shots, sets, findings, player, places }: SessionReportInput): string[] {
  const made = madeOf(shots);
  const sentences = [
    made === null
      ? `${counted(shots.length, 'shot')}; nobody counted makes and misses.`
      : `${counted(shots.length, 'shot')}; of those counted ${madeText(made)} went in. The range in brackets is what so few shots leave open.`,
  ];
  if (player !== null) {
    const named = findings.filter((finding) => finding.named);
    sentences.push(
      named.length === 0
        ? 'Nothing was clear enough to be called a fault.'
        : `Clear in this practice: ${named.map((finding) => lowered(describeFault(finding, places, player.hand).title)).join('; ')}.`,
    );
  }
  if (sets.length > 1)
    sentences.push(`${counted(sets.length, 'set')} were shot; they stand below with what each had counted.`);
  return sentences;
}

function parentBody({ shots, player, findings, places, drills, load }: SessionReportInput): Markup[] {
  const ageYears = player?.ageYears ?? null;
  const stage = stageOfAge(ageYears);
  const young = ageYears !== null && ageYears < 10;
  const named = player === null || young ? [] : findings.filter((finding) => finding.named).slice(0, 1);
  const made = madeOf(shots);
  const drill =
    named.length === 0
      ? undefined
      : drills.find(
          ({ forFaults, fromAge }) => forFaults.includes(named[0]!.name) && (ageYears === null || ageYears >= fromAge),
        );
  const who = player?.pseudonym ?? 'The players';
  return [
    html`<section><h2>How it went</h2><p class="lead">${who} took ${counted(shots.length, 'shot')}${young || made === null ? '' : `; ${made.makes} of ${made.attempts} counted ones went in`}.</p>
<p>${young ? 'At this age shooting should be fun. We look at whether the hand stays up after the shot and at a landing on both feet, and call nothing a fault.' : `What matters at this stage: ${lowered(stage.inWords)}.`}</p>
${
  named.length === 0
    ? html`<p>${young ? 'Praise the hand that stays up.' : 'Nothing stood out that would need work now.'}</p>`
    : named.map(
        (finding) =>
          html`<p>One thing to work on: ${lowered(describeFault(finding, places, player!.hand).title)}. This is nothing to worry about; it is how shots get better.</p>`,
      )
}</section>`,
    drill === undefined ? html`` : html`<section><h2>To do together</h2>${drillPart(drill)}</section>`,
    load === null ? html`` : howMuch(load),
    cautionSection(cautionsOf(load)),
  ];
}

function setSection(sets: readonly ReportSet[], units: ReportUnits): Markup {
  return html`<section><h2>Sets</h2>${wideTable(
    'Sets',
    html`<table><thead><tr><th>Set</th><th>Conditions</th><th class="n">Shots seen</th><th class="n">Made, with 90 % interval</th></tr></thead><tbody>${sets.map(
      ({ name, kind, spot, distanceM, conditions, shots, made }, i) =>
        html`<tr><td>${name === '' ? `Set ${i + 1}` : name} <span class="soft">${[kind, spot, distanceM === null ? '' : distanceText(distanceM, units)].filter(Boolean).join(', ')}</span></td><td>${conditions.map(({ factor, level }) => `${factor} = ${level}`).join(', ') || '–'}</td><td class="n">${shots}</td><td class="n">${made === null ? 'not counted' : madeText(made)}</td></tr>`,
    )}</tbody></table>`,
  )}</section>`;
}

/** The columns that fit a page: what a coach asks for first; a researcher has the whole table in the export. */
const tableMeasures: readonly ShotMeasureName[] = [
  'pickupToReleaseS',
  'pauseS',
  'dipDepthM',
  'backspinRps',
  'axisTiltDeg',
  'launchAngleDeg',
  'entryAngleDeg',
  'forearmElevationDeg',
  'followThroughS',
];

function shotTable({ shots, units, timeZone }: SessionReportInput): Markup {
  const columns = tableMeasures
    .map((name) => ({ name, measure: shownMeasure(name, units) }))
    .filter(({ name }) => shots.some(({ shot }) => shot.measures[name].value !== null));
  return html`<section><h2>Shot by shot</h2><p class="soft">± is one standard error. A dash is a number that the sensor could not know.</p>${wideTable(
    'Shot by shot',
    html`<table class="wide"><thead><tr><th class="n">Shot</th><th>At</th><th>Start</th><th>Met</th><th>Result</th>${columns.map(({ measure }) => html`<th class="n">${measure.label}, ${unitText(measure).trim()}</th>`)}</tr></thead><tbody>${shots.map(
      ({ atS, outcome, shot }, i) =>
        html`<tr><td class="n">${i + 1}</td><td>${clockText(atS, timeZone)}</td><td>${shot.startKind}</td><td>${shot.contactKind}</td><td>${outcome === 'unknown' ? '–' : outcome}</td>${columns.map(
          ({ name, measure }) => {
            const told = shot.measures[name];
            return html`<td class="n">${told.value === null ? '–' : `${numberText(told.value, measure)} ±${errorText(told.standardError, measure)}`}</td>`;
          },
        )}</tr>`,
    )}</tbody></table>`,
  )}</section>`;
}

function definitionSection(input: SessionReportInput): Markup {
  const shown = knownNames(input);
  return html`<section><h2>What the words mean</h2><ul>${shown.map((name) => html`<li><b>${shownMeasure(name, input.units).label}</b>: ${input.definitions[name].definition}</li>`)}</ul></section>`;
}

function methodSection(input: SessionReportInput): Markup {
  const { shots, definitions, units, analysisVersions, places, bands } = input;
  return html`<section><h2>Methods</h2><p>Sensors: ${places.length === 0 ? 'none known' : places.join(', ')}. Analysis version ${analysisVersions.join(', ') || 'unknown'}. Standard errors come from the covariance of the fit and from what lost or clipped samples hide.
Medians have order-statistic intervals (Thompson 1936), for independent values. The player’s own spread is the variance less the mean squared standard error, its interval by chi-squared. Make shares have score intervals
(Wilson 1927) at 90 %. A fault is named when evidence against its edge, which may be looked at after every shot, reaches 1/0.05 over the measures looked at.</p>
${wideTable(
  'Methods',
  html`<table class="wide"><thead><tr><th>Measure</th><th>Unit</th><th>Definition</th><th>Method</th><th class="n">Median of standard error</th><th>Band and its source</th></tr></thead><tbody>${knownNames(
    input,
  ).map((name) => {
    const measure = shownMeasure(name, units);
    const summary = summaryOf(shots, name, measure);
    const band = (bands as Partial<Record<ShotMeasureName, { readonly from: string; readonly source: string }>>)[name];
    return html`<tr><td>${measure.label}</td><td>${unitText(measure).trim()}</td><td>${definitions[name].definition}</td><td>${definitions[name].method}</td><td class="n">${summary !== null && 'values' in summary ? `${errorText(summary.sensorError, measure, 2)}${unitText(measure)}` : '–'}</td><td>${band === undefined ? '–' : `${band.from}: ${band.source}`}</td></tr>`;
  })}</tbody></table>`,
)}</section>`;
}

function knownNames({ shots, definitions }: SessionReportInput): ShotMeasureName[] {
  return (Object.keys(definitions) as ShotMeasureName[]).filter((name) =>
    shots.some(({ shot }) => shot.measures[name].value !== null),
  );
}

function madeOf(shots: readonly ReportShot[]): { readonly makes: number; readonly attempts: number } | null {
  const attempts = shots.filter(({ outcome }) => outcome !== 'unknown').length;
  return attempts === 0 ? null : { makes: shots.filter(({ outcome }) => outcome === 'make').length, attempts };
}
