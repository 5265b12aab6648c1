import { useState } from 'preact/hooks';
import type { ShotMeasureName } from '../../server/wire/shot-document.ts';
import { HelpButton } from '../help/help-button.tsx';
import { measureFormats } from '../measures.ts';
import { userFormat } from '../settings/current-settings.ts';
import { measureLabels, texts } from '../texts.ts';
import { trendHeight, trendOf, trendWidth } from '../trend.ts';
import type { Practice } from './practice-desk.ts';

/** Shots drawn at most: more would be a smear. */
const mostShots = 60;

/** One measure, shot by shot, with what each may be off; the table below holds the same numbers. */
export function TrendPanel({ practice }: { readonly practice: Practice }) {
  const [name, setName] = useState<ShotMeasureName>('pickupToReleaseS');
  const shots = practice.shots.slice(-mostShots).map(({ shot }) => shot);
  const firstNumber = practice.earlierCount + practice.shots.length - shots.length + 1;
  if (shots.length < 2) return null;
  const format = userFormat(name);
  const trend = trendOf(shots, format, firstNumber, null);
  const label = texts.labelWithUnit(measureLabels[name], format.unit);
  return (
    <section class="panel" aria-labelledby="trend-title">
      <div class="inline-form">
        <h3 id="trend-title">{texts.bench.trend(label)}</h3>
        <label>
          {texts.bench.trendMeasure}
          <select value={name} onChange={(event) => setName(event.currentTarget.value as ShotMeasureName)}>
            {measureFormats.map((one) => (
              <option key={one.name} value={one.name}>
                {measureLabels[one.name]}
              </option>
            ))}
          </select>
        </label>
        <HelpButton name={name} />
      </div>
      {trend === null ? (
        <p class="note">{texts.missing}</p>
      ) : (
        <svg
          class="picture trend"
          viewBox={`0 0 ${trendWidth} ${trendHeight}`}
          role="img"
          aria-label={texts.bench.trend(label)}
        >
          {trend.ticks.map(({ y, text }) => (
            <g key={text}>
              <path class="picture-rule" d={`M44 ${y}H${trendWidth}`} />
              <text x="38" y={y + 4} text-anchor="end">
                {text}
              </text>
            </g>
          ))}
          {trend.numbers.map(({ x, text }) => (
            <text key={text} x={x} y={trendHeight - 6} text-anchor="middle">
              {text}
            </text>
          ))}
          <path class="trend-line" d={trend.line} />
          {trend.marks.map(({ index, x, y, lowY, highY, isCut }) => (
            <g key={index}>
              <path class={isCut ? 'picture-doubt picture-cut' : 'picture-doubt'} d={`M${x} ${lowY}V${highY}`} />
              <circle class="trend-dot" cx={x} cy={y} r="3.5" />
            </g>
          ))}
        </svg>
      )}
      {trend?.marks.some(({ isCut }) => isCut) && <p class="note">{texts.bench.trendCut}</p>}
    </section>
  );
}
