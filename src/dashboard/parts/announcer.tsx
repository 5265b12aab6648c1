import type { ShotDocument } from '../../server/wire/live-document.ts';
import type { LiveState } from '../live-state.ts';
import { showValue } from '../measures.ts';
import { userFormat } from '../settings/current-settings.ts';
import { contactTexts, reasonText, texts } from '../texts.ts';

const spoken = ['pickupToReleaseS', 'backspinRps', 'launchAngleDeg'] as const;

/** Tells a screen reader each shot once, when its numbers are final. */
export function Announcer({ state }: { readonly state: LiveState }) {
  const final = state.shots.find((document) => document.shot.stage === 'final');
  return (
    <p class="unseen" aria-live="polite" data-part="announcer">
      {final ? sentence(final) : ''}
    </p>
  );
}

function sentence({ shot }: ShotDocument): string {
  const parts = spoken.map((name) => {
    const format = userFormat(name);
    const measured = shot.measures[name];
    const shown = showValue(measured, format);
    const label = texts.figures[name];
    if (shown) return `${label} ${texts.withUnit(shown.value, format.unit)}`;
    return `${label}: ${measured.value === null ? reasonText(measured.reason) : texts.missing}`;
  });
  return `${texts.announced}. ${parts.join('. ')}. ${texts.columns.contact}: ${contactTexts[shot.contactKind]}.`;
}
