import { html, type Markup } from './html.ts';
import type { Audience, ReportFrame, ReportLoad } from './report-input.ts';
import { reportStyle } from './report-style.ts';

const forWhom: Readonly<Record<Audience, string>> = {
  coach: 'For the coach',
  parent: 'For parents and players',
  researcher: 'For research',
};

/** @returns a whole document that needs nothing besides: no script, no font, no picture from elsewhere. */
export function reportPage(
  frame: ReportFrame,
  title: string,
  facts: readonly string[],
  body: readonly Markup[],
): string {
  const { markup } =
    html`<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width,initial-scale=1">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'">
<title>${title}</title><style>${{ markup: reportStyle }}</style></head><body>
<header><p class="soft">${forWhom[frame.audience]}</p><h1>${title}</h1><p class="soft">${facts.filter(Boolean).join(' · ')}</p></header>
<main>${body}</main>
<footer class="soft"><p>Made ${dayAndTime(frame.madeS, frame.timeZone)} by Seamwise ${frame.programVersion} from what its sensors measured. The file holds everything itself and asks nothing of a network.</p></footer>
</body></html>`;
  return `<!doctype html>\n${markup}\n`;
}

/** A table that may be pushed sideways within itself on a small screen, by keys too. */
export function wideTable(label: string, table: Markup): Markup {
  return html`<div class="scroll" role="region" aria-label="${label}" tabindex="0">${table}</div>`;
}

/** Cautions that no report goes without. */
export function cautionSection(more: readonly string[] = []): Markup {
  const usual = [
    'Pain means stop. See a clinician before going on if it stays, comes back, or follows an injury. No number here is a reason to shoot through pain, and none is a diagnosis.',
    'The young need rest days and other games: local rules and licensed practitioners go before anything in this report.',
    'A ball with a sensor holds a lithium cell: no heat, no puncture, no charging of a damaged ball. On the arm: off in contact play, and off when the skin is sore.',
  ];
  return html`<section class="care"><h2>Take care</h2><ul>${[...more, ...usual].map((text) => html`<li>${text}</li>`)}</ul></section>`;
}

/** The load as it is told to who does not coach. */
export function howMuch({ shots7Days, days7 }: ReportLoad): Markup {
  return html`<section><h2>How much</h2><p>${counted(shots7Days, 'shot')} on ${counted(days7, 'day')} in the last seven days that we know of. More is not better: days without are part of it.</p></section>`;
}

/** Cautions of the load; that of pain stands among the usual ones. */
export function cautionsOf(load: ReportLoad | null): string[] {
  return (load?.cautions ?? []).filter(({ code }) => code !== 'pain').map(({ text, source }) => `${text} (${source})`);
}

export function dayText(instantS: number, timeZone: string): string {
  return new Intl.DateTimeFormat('en-GB', { timeZone, dateStyle: 'long' }).format(instantS * 1000);
}

export function shortDay(instantS: number, timeZone: string): string {
  return new Intl.DateTimeFormat('en-GB', { timeZone, day: 'numeric', month: 'short' }).format(instantS * 1000);
}

export function dayAndTime(instantS: number, timeZone: string): string {
  return new Intl.DateTimeFormat('en-GB', { timeZone, dateStyle: 'long', timeStyle: 'short' }).format(instantS * 1000);
}

export function clockText(instantS: number, timeZone: string): string {
  return new Intl.DateTimeFormat('en-GB', { timeZone, timeStyle: 'medium' }).format(instantS * 1000);
}

/** @returns `1 shot`, `12 shots`. */
export function counted(count: number, one: string, many = `${one}s`): string {
  return `${count} ${count === 1 ? one : many}`;
}

export function percent(share: number): string {
  return `${Math.round(100 * share)} %`;
}

/** @returns a sentence or title as it stands inside a sentence: small letter first, no full stop. */
export function lowered(text: string): string {
  return `${text[0]!.toLowerCase()}${text.slice(1).replace(/\.$/, '')}`;
}
