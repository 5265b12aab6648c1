import type { ShotDocument } from '../../server/wire/live-document.ts';
import { shownNumber } from '../locale/numbers.ts';
import { interval90, type MeasureFormat } from '../measures.ts';
import { texts } from '../texts.ts';

const width = 320;
const height = 72;
const marginLeft = 40;
const marginRight = 8;
const marginTop = 8;
const marginBottom = 8;
/** Places for shots; the newest takes the last one. */
const placeCount = 20;

interface StripProps {
  readonly label: string;
  readonly format: MeasureFormat;
  /** Oldest first. */
  readonly shots: readonly ShotDocument[];
}

interface Mark {
  readonly key: string;
  readonly x: number;
  readonly value: number;
  readonly low: number;
  readonly high: number;
  readonly isNewest: boolean;
}

/** One measure over the last shots: a dot each with its 90 % interval. A shot without the number leaves its place empty. */
export function Strip({ label, format, shots }: StripProps) {
  const marks = marksOf(format, shots);
  if (shots.length < 2 || marks.length === 0) return <div class="strip strip-empty" />;
  const { low, high } = spanOf(marks, format.leastSpan);
  const y = (value: number): number =>
    marginTop + ((high - value) / (high - low)) * (height - marginTop - marginBottom);
  const lowText = shownNumber(low, format.decimals);
  const highText = shownNumber(high, format.decimals);
  const values = marks.map((mark) => mark.value);
  const said = [Math.min(...values), Math.max(...values)].map((value) => shownNumber(value, format.decimals));
  return (
    <svg
      class="strip"
      viewBox={`0 0 ${width} ${height}`}
      role="img"
      aria-label={texts.strip(label, shots.length, said[0] ?? '', said[1] ?? '', format.unit)}
    >
      <text class="strip-label" x={marginLeft - 8} y={marginTop + 4}>
        {highText}
      </text>
      <text class="strip-label" x={marginLeft - 8} y={height - marginBottom + 4}>
        {lowText}
      </text>
      <path
        class="strip-rule"
        d={`M${marginLeft} ${marginTop}H${width}M${marginLeft} ${height - marginBottom}H${width}`}
      />
      {marks.map((mark) => (
        <g key={mark.key} class={mark.isNewest ? 'strip-newest' : 'strip-older'}>
          <path d={`M${mark.x} ${y(mark.low)}V${y(mark.high)}`} />
          <circle cx={mark.x} cy={y(mark.value)} r={mark.isNewest ? 4.5 : 3} />
        </g>
      ))}
    </svg>
  );
}

function marksOf(format: MeasureFormat, shots: readonly ShotDocument[]): Mark[] {
  const step = (width - marginLeft - marginRight) / placeCount;
  return shots.flatMap((document, index) => {
    const measured = document.shot.measures[format.name];
    const interval = interval90(measured, format);
    if (interval === null || measured.value === null) return [];
    const fromRight = shots.length - 1 - index;
    return {
      key: document.shotId,
      x: width - marginRight - step * (fromRight + 0.5),
      value: measured.value * format.scale,
      low: interval[0],
      high: interval[1],
      isNewest: fromRight === 0,
    };
  });
}

/** @returns ends of the drawing: round numbers around all intervals, at least so far apart that noise stays small. */
function spanOf(marks: readonly Mark[], leastSpan: number): { readonly low: number; readonly high: number } {
  const low = Math.min(...marks.map((mark) => mark.low));
  const high = Math.max(...marks.map((mark) => mark.high));
  const span = Math.max(high - low, leastSpan);
  const middle = (low + high) / 2;
  const step = leastSpan / 4;
  return {
    low: Math.floor((middle - span / 2) / step) * step,
    high: Math.ceil((middle + span / 2) / step) * step,
  };
}
