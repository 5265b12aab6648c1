import type { WireShot } from '../../server/wire/shot-document.ts';
import { flightPicture, timingPicture } from '../shot-pictures.ts';
import { texts } from '../texts.ts';

/** The flight from the side with the band of its doubt. */
export function FlightPicture({ shot }: { readonly shot: WireShot }) {
  const picture = flightPicture(shot);
  if (picture === null) return <p class="note">{texts.pictures.noFlight}</p>;
  const { viewBox, band, line, level } = picture;
  return (
    <svg class="picture flight-picture" viewBox={viewBox} role="img" aria-label={texts.pictures.flight}>
      <path class="picture-rule" d={level} />
      <path class="picture-band" d={band} />
      <path class="picture-line" d={line} />
    </svg>
  );
}

/** The ball from behind with the axis it spins about: level and across for pure backspin. */
export function AxisPicture({ shot }: { readonly shot: WireShot }) {
  const { axisTiltDeg, spinRps } = shot.measures;
  if (axisTiltDeg.value === null) return <p class="note">{texts.pictures.noAxis}</p>;
  // Positive tilt drifts to the left: seen from behind, the left end of the axis is then the lower one.
  const turnDeg = -axisTiltDeg.value;
  const doubtDeg = 1.645 * axisTiltDeg.standardError;
  const seconds = spinRps.value === null || spinRps.value < 0.05 ? null : turnS(spinRps.value);
  return (
    <svg class="picture axis-picture" viewBox="-60 -60 120 120" role="img" aria-label={texts.pictures.axis}>
      <circle class="picture-ball" r="44" />
      <g transform={`rotate(${turnDeg})`}>
        {[-doubtDeg, doubtDeg].map((side) => (
          <path key={side} class="picture-doubt" d="M-58 0H58" transform={`rotate(${side})`} />
        ))}
        <path class="picture-axis" d="M-58 0H58" />
        <g class="axis-turning" style={seconds === null ? '' : `animation-duration: ${seconds.toFixed(2)}s`}>
          <path class="picture-seam" d="M-44 0A44 44 0 0 1 44 0" />
        </g>
        <path class="picture-arrow" d="M0 -14V20M-7 12L0 21L7 12" />
      </g>
    </svg>
  );
}

/** Nothing on the page goes to and fro more often: what flickers faster can make people ill. */
const mostTurnsHz = 2;

/** @returns the time of one turn as it is drawn: as measured, or of a fast ball so many times slower. */
export function turnS(spinRps: number): number {
  return Math.ceil(spinRps / mostTurnsHz) / spinRps;
}

/** Pickup, lift and release on one line, with what each may be off. */
export function TimingPicture({ shot }: { readonly shot: WireShot }) {
  const picture = timingPicture(shot);
  if (picture === null) return <p class="note">{texts.pictures.noTiming}</p>;
  return (
    <svg class="picture timing-picture" viewBox="0 0 320 64" role="img" aria-label={texts.pictures.timing}>
      <path class="picture-rule" d="M8 26H312" />
      {picture.parts.map(({ name, fromX, toX }) => (
        <path key={name} class={`timing-part timing-${name}`} d={`M${fromX} 26H${toX}`} />
      ))}
      {picture.marks.map(({ name, x, halfWidth, anchor, named }) => (
        <g key={name}>
          <path
            class="picture-doubt"
            d={`M${x - halfWidth} 14H${x + halfWidth}M${x - halfWidth} 10V18M${x + halfWidth} 10V18`}
          />
          <path class="picture-axis" d={`M${x} 18V34`} />
          {named && (
            <text x={x} y="54" text-anchor={anchor}>
              {texts.pictures.times[name]}
            </text>
          )}
        </g>
      ))}
    </svg>
  );
}
