import { median } from '../study/descriptive.ts';
import { html, type Markup } from './html.ts';
import { plainNumber } from './plain-number.ts';

/** One number of a row: its value with the ends of its error bar, or null where there is none: a gap stays a gap. */
export interface ChartPoint {
  readonly value: number;
  readonly low: number;
  readonly high: number;
}

export interface RowChart {
  readonly points: readonly (ChartPoint | null)[];
  /** Between these a value is left alone; null where it has no such end. */
  readonly low: number | null;
  readonly high: number | null;
  /** Least height of the drawing in the shown unit, so that noise does not look like change. */
  readonly leastSpan: number;
  readonly decimals: number;
  /** What stands below the first point and below the last one: a shot's number, a day. */
  readonly ends: readonly [string, string];
  readonly inWords: string;
}

const size = { width: 640, height: 116, left: 46, right: 8, top: 8, bottom: 18 };

/**
 * Numbers one after another with their error bars, in a band. Inside the band a full dot, outside a hollow diamond: the shape says
 * it, whatever the colours.
 */
export function rowChart({ points, low, high, leastSpan, decimals, ends, inWords }: RowChart): Markup {
  if (points.every((point) => point === null)) return html``;
  const edges = [low, high].filter((edge) => edge !== null);
  const values = points.flatMap((point) => (point === null ? [] : [point.value]));
  const [lowest, highest] = [Math.min(...values, ...edges), Math.max(...values, ...edges)];
  // One wild error bar must not flatten all the rest: it runs out of the frame; usual ones do not, and values never.
  const usualBar = median(points.flatMap((point) => (point === null ? [] : [point.high - point.low])));
  const reach = Math.max(leastSpan, 1.6 * (highest - lowest), 1.1 * (highest - lowest + usualBar));
  const middle = (highest + lowest) / 2;
  const [from, to] = [middle - reach / 2, middle + reach / 2];
  const y = (value: number) =>
    size.top + ((to - Math.min(to, Math.max(from, value))) / (to - from)) * (size.height - size.top - size.bottom);
  const step = (size.width - size.left - size.right) / Math.max(1, points.length);
  const x = (i: number) => size.left + (i + 0.5) * step;
  const bandTop = y(high ?? to);
  const bandBottom = y(low ?? from);
  const hasBand = low !== null || high !== null;
  const marks = points.map((point, i) => {
    if (point === null) return html`<path class="gap" d="M${at(x(i))} ${size.height - size.bottom}v5"/>`;
    const inside = (low === null || point.value >= low) && (high === null || point.value <= high);
    const bar = html`<path class="bar" d="M${at(x(i))} ${at(y(point.low))}V${at(y(point.high))}"/>`;
    const [cx, cy] = [at(x(i)), at(y(point.value))];
    return inside || !hasBand
      ? html`${bar}<circle class="dot" cx="${cx}" cy="${cy}" r="3"/>`
      : html`${bar}<path class="outside" d="M${cx} ${at(y(point.value) - 4.5)}l4.5 4.5l-4.5 4.5l-4.5 -4.5z"/>`;
  });
  const ticks = roundNumbers(from, to).map(
    (value) =>
      html`<text class="tick" x="${size.left - 6}" y="${at(y(value) + 3.5)}" text-anchor="end">${plainNumber(value, decimals)}</text>`,
  );
  const places = points.length < 2 ? [0] : [0, points.length - 1];
  const counts = places.map((i, end) => {
    // At the edges of the frame, where words would be cut off otherwise.
    const anchor = step > 60 ? 'middle' : end === 0 ? 'start' : 'end';
    const nudge = anchor === 'start' ? -4 : anchor === 'end' ? 4 : 0;
    return html`<text class="tick" x="${at(x(i) + nudge)}" y="${size.height - 1}" text-anchor="${anchor}">${ends[end]!}</text>`;
  });
  return html`<svg class="row-chart" viewBox="0 0 ${size.width} ${size.height}" role="img" aria-label="${inWords}">
<rect class="frame" x="${size.left}" y="${size.top}" width="${size.width - size.left - size.right}" height="${size.height - size.top - size.bottom}"/>
${hasBand && html`<rect class="band" x="${size.left}" y="${at(bandTop)}" width="${size.width - size.left - size.right}" height="${at(Math.max(1, bandBottom - bandTop))}"/>`}
${ticks}${counts}${marks}</svg>`;
}

export interface IntervalRow {
  readonly label: string;
  readonly value: number | null;
  readonly low: number | null;
  readonly high: number | null;
  /** What stands at the right, in words. */
  readonly told: string;
}

/** Intervals below one another on one scale, with a zone in which they count as nothing. */
export function intervalChart(
  rows: readonly IntervalRow[],
  scale: {
    readonly from: number;
    readonly to: number;
    readonly zone: readonly [number, number] | null;
    readonly zero: boolean;
    /** By what the numbers of the axis are more than those of the rows, and what stands behind each. */
    readonly factor: number;
    readonly unit: string;
  },
  inWords: string,
): Markup {
  const laid = rows.map((row) => ({ row, label: inLines(row.label, 30), words: inLines(row.told, 28) }));
  const heights = laid.map(({ label, words }) => 13 * Math.max(label.length, words.length) + 13);
  const axisY = heights.reduce((sum, each) => sum + each, 8);
  const height = axisY + 18;
  const x = (value: number) =>
    180 + ((Math.min(scale.to, Math.max(scale.from, value)) - scale.from) / (scale.to - scale.from)) * 280;
  const { zone } = scale;
  const drawn = laid.map(({ row: { value, low, high }, label, words }, i) => {
    const y = 4 + heights.slice(0, i).reduce((sum, each) => sum + each, 0) + (heights[i] ?? 0) / 2;
    const lineY = (lines: readonly string[], at: number) => y + 4 + 13 * (at - (lines.length - 1) / 2);
    return html`${label.map((line, at) => html`<text class="tick" x="172" y="${lineY(label, at)}" text-anchor="end">${line}</text>`)}
${low !== null && high !== null && html`<path class="bar" d="M${at(x(low))} ${y}H${at(x(high))}M${at(x(low))} ${y - 4}v8M${at(x(high))} ${y - 4}v8"/>`}
${value !== null && html`<circle class="dot" cx="${at(x(value))}" cy="${y}" r="3.5"/>`}
${words.map((line, at) => html`<text class="tick" x="470" y="${lineY(words, at)}">${line}</text>`)}`;
  });
  const ticks = roundNumbers(scale.from * scale.factor, scale.to * scale.factor, 8).map((shown) => {
    const tickX = at(x(shown / scale.factor));
    const text = `${String(Number(shown.toPrecision(6))).replace('-', '−')}${scale.unit}`;
    return html`<path class="frame" d="M${tickX} ${axisY}v4"/><text class="tick" x="${tickX}" y="${axisY + 15}" text-anchor="middle">${text}</text>`;
  });
  return html`<svg class="interval-chart" viewBox="0 0 640 ${height}" role="img" aria-label="${inWords}">
${zone && html`<rect class="band" x="${at(x(zone[0]))}" y="4" width="${at(x(zone[1]) - x(zone[0]))}" height="${axisY - 4}"/>`}
${scale.zero && html`<path class="axis" d="M${at(x(0))} 4V${axisY}"/>`}<path class="frame" d="M180 ${axisY}H460"/>${ticks}${drawn}</svg>`;
}

/** The ball from behind the shooter with the axis that it turns about: level for pure backspin. */
export function axisPicture(tiltDeg: number, errorDeg: number, inWords: string): Markup {
  // Positive tilt drifts to the shooter's left: the axis' left end lies lower, seen from behind.
  const end = (degrees: number, length: number) => {
    const angle = (degrees * Math.PI) / 180;
    return [60 + length * Math.cos(angle), 60 + length * Math.sin(-angle)] as const;
  };
  const line = (degrees: number, kind: string) => {
    const [x1, y1] = end(degrees, 56);
    const [x2, y2] = end(degrees + 180, 56);
    return html`<path class="${kind}" d="M${at(x1)} ${at(y1)}L${at(x2)} ${at(y2)}"/>`;
  };
  return html`<svg class="axis-picture" viewBox="0 0 120 120" width="120" height="120" role="img" aria-label="${inWords}">
<circle class="ball" cx="60" cy="60" r="38"/><path class="gap" d="M4 60H116"/>${line(tiltDeg - errorDeg, 'bar')}${line(tiltDeg + errorDeg, 'bar')}${line(tiltDeg, 'spin-axis')}</svg>`;
}

/** @returns a text in lines of at most so many signs; a longer word is cut in two. */
function inLines(text: string, most: number): string[] {
  const lines: string[] = [];
  let line = '';
  for (const word of text.split(/\s+/).flatMap((one) => one.match(new RegExp(`.{1,${most}}`, 'gu')) ?? [])) {
    if (line !== '' && line.length + 1 + word.length > most) {
      lines.push(line);
      line = word;
    } else line = line === '' ? word : `${line} ${word}`;
  }
  return [...lines, line];
}

function at(value: number): number {
  return Math.round(value * 10) / 10;
}

/** At most one more than so many numbers of one, two or five times a power of ten between the ends. */
function roundNumbers(from: number, to: number, most = 4): number[] {
  const rough = (to - from) / most;
  const power = 10 ** Math.floor(Math.log10(rough));
  const step = power * ([1, 2, 5, 10].find((factor) => factor * power >= rough) ?? 10);
  const first = Math.ceil(from / step);
  const last = Math.floor(to / step);
  return Array.from({ length: last - first + 1 }, (_, i) => (first + i) * step);
}
