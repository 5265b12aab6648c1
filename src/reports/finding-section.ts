import { drillPictures } from '../coaching/drill-pictures/drill-pictures.ts';
import type { Drill } from '../coaching/drills.ts';
import type { FaultFinding } from '../coaching/fault-watch.ts';
import { describeFault } from '../coaching/fault-words.ts';
import { drawDrill } from './draw-drill.ts';
import { html, type Markup } from './html.ts';
import type { SessionReportInput } from './report-input.ts';
import { lowered } from './report-page.ts';

/** What was clear enough to name, what each sensor could know of it, what else it may be, and a drill. */
export function findingSection({ findings, places, player, drills }: SessionReportInput): Markup {
  const named = findings.filter((finding) => finding.named);
  const hand = player?.hand ?? 'right';
  if (named.length === 0) {
    return html`<section><h2>What to work on</h2><p>Nothing was clear enough in this practice to be called a fault. That is not proof that there is none: small faults need more shots, and each sensor sees only its part.</p></section>`;
  }
  return html`<section><h2>What to work on</h2>${named.map((finding) => findingPart(finding, places, hand, drills, player?.ageYears ?? null))}</section>`;
}

function findingPart(
  finding: FaultFinding,
  places: SessionReportInput['places'],
  hand: 'left' | 'right',
  drills: readonly Drill[],
  ageYears: number | null,
): Markup {
  const told = describeFault(finding, places, hand);
  const drill = drills.find(
    ({ forFaults, fromAge }) => forFaults.includes(finding.name) && (ageYears === null || ageYears >= fromAge),
  );
  return html`<div class="finding"><h3>${told.title}</h3><p>${told.confidence}</p><ul>${told.saw.map((line) => html`<li>${line}</li>`)}</ul>
<p class="soft">${[...told.seenBy, ...told.notSeenBy].join(' ')}</p><p class="soft">It may also be: ${told.otherExplanations.join('; ')}.</p></div>${drill !== undefined && drillPart(drill)}`;
}

/** A drill with its picture, as it is handed to the player. */
export function drillPart({ name, title, purpose, setUp, steps, dose, cautions, progressions }: Drill): Markup {
  const picture = drillPictures[name];
  return html`<div class="drill">${picture !== undefined && drawDrill(picture)}<div><h3>Drill: ${title}</h3><p>${purpose}</p><p class="soft">${setUp}</p></div></div>
<ol>${steps.map((step) => html`<li>${step}</li>`)}</ol>
<p class="soft">${dose.sets} sets of ${dose.shotsASet}, at most ${dose.daysAWeek} days a week, within the load of the day. Then: ${progressions.map(lowered).join('; ')}. ${cautions.join(' ')}</p>`;
}
