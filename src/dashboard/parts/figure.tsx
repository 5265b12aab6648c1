import type { ComponentChildren } from 'preact';
import type { ShotDocument } from '../../server/wire/live-document.ts';
import type { WireShot } from '../../server/wire/shot-document.ts';
import { HelpButton } from '../help/help-button.tsx';
import { showValue } from '../measures.ts';
import { userFormat } from '../settings/current-settings.ts';
import { reasonText, texts } from '../texts.ts';
import { intervalText, MeasureText } from './measure-text.tsx';
import { Strip } from './strip.tsx';

interface FigureProps {
  readonly name: keyof typeof texts.figures;
  readonly latest: ShotDocument | undefined;
  /** Oldest first. */
  readonly recent: readonly ShotDocument[];
  readonly children?: ComponentChildren;
}

/** One huge number with its doubt, or why it is missing, and how it went over the last shots. */
export function Figure({ name, latest, recent, children }: FigureProps) {
  const measures = latest?.shot.measures;
  // How fast the ball spins is known before the way in which it does.
  const isTotal = name === 'backspinRps' && measures?.backspinRps.value === null && measures.spinRps.value !== null;
  const shownName = isTotal ? 'spinRps' : name;
  const format = userFormat(shownName);
  const measured = measures?.[shownName];
  const shown = measured ? showValue(measured, format) : null;
  const label = isTotal ? texts.totalSpin : texts.figures[name];
  return (
    <article class="figure" data-measure={name}>
      <h3>
        {label}
        <HelpButton name={shownName} />
      </h3>
      {shown ? (
        <>
          <p class="figure-value">
            <span class="figure-number">{shown.value}</span>
            <span class={format.unit === '°' ? 'figure-degree' : 'figure-unit'}>{format.unit}</span>
          </p>
          <p class="figure-error">
            {shown.interval
              ? intervalText(shown.interval, format)
              : texts.plusMinus(format.unit === '°' ? texts.withUnit(shown.error, '°') : shown.error)}
          </p>
        </>
      ) : (
        <>
          <p class="figure-value figure-missing">
            <span class="figure-number" aria-hidden="true">
              {texts.missingMark}
            </span>
          </p>
          <p class="figure-error">
            {measured && measured.value === null ? reasonText(measured.reason) : texts.missing}
          </p>
        </>
      )}
      {children}
      <Strip label={texts.figures[name]} format={userFormat(name)} shots={recent} />
    </article>
  );
}

/** The direction of the spin axis; its parts where one angle would say too little. */
export function AxisLine({ shot }: { readonly shot: WireShot }) {
  const { axisTiltDeg, sidespinRps } = shot.measures;
  const showParts = axisTiltDeg.value === null && axisTiltDeg.reason === 'near-sideways-axis';
  const name = showParts ? 'sidespinRps' : 'axisTiltDeg';
  return (
    <p class="figure-more">
      <span class="figure-more-label">{showParts ? texts.sidespin : texts.axis}</span>{' '}
      <MeasureText measured={showParts ? sidespinRps : axisTiltDeg} format={userFormat(name)} />
    </p>
  );
}
