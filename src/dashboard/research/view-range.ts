/** A stretch of session time, s. */
export interface ViewRange {
  readonly fromS: number;
  readonly spanS: number;
}

/** No stretch is shorter than this, s: some samples of the fastest sensor. */
export const leastSpanS = 0.02;

/** @returns the view, as far as it lies within the whole: half a view may hang over at either end. */
export function withinWhole({ fromS, spanS }: ViewRange, whole: ViewRange): ViewRange {
  const span = Math.min(Math.max(spanS, leastSpanS), Math.max(leastSpanS, whole.spanS));
  const half = span / 2;
  const least = whole.fromS - half;
  const most = whole.fromS + whole.spanS - half;
  return { fromS: Math.min(Math.max(fromS, least), most), spanS: span };
}

/** @param factor below 1 looks closer. @param anchor share of the view that stays where it is. */
export function zoomed({ fromS, spanS }: ViewRange, factor: number, anchor: number, whole: ViewRange): ViewRange {
  const span = Math.min(Math.max(spanS * factor, leastSpanS), Math.max(leastSpanS, whole.spanS));
  return withinWhole({ fromS: fromS + anchor * (spanS - span), spanS: span }, whole);
}

/** @param share of the view, to the right where positive. */
export function panned(view: ViewRange, share: number, whole: ViewRange): ViewRange {
  return withinWhole({ ...view, fromS: view.fromS + share * view.spanS }, whole);
}

/** What is drawn ahead of time to either side of the view, as shares of it. */
const lag = 0.5;
const lead = 1.25;

/** @returns the stretch to be drawn for a view, more of it where the view is moving to. @param direction −1, 0 or 1. */
export function drawnRange({ fromS, spanS }: ViewRange, direction: number): ViewRange {
  const [before, after] =
    direction > 0 ? [lag, lead] : direction < 0 ? [lead, lag] : [(lag + lead) / 2, (lag + lead) / 2];
  return { fromS: fromS - before * spanS, spanS: spanS * (1 + before + after) };
}

/** @returns whether a drawing will soon no longer do for a view: it ends near its edge, or is of another scale. */
export function needsDrawing(view: ViewRange, drawn: ViewRange | null): boolean {
  if (drawn === null) return true;
  const expected = view.spanS * (1 + lag + lead);
  if (Math.abs(drawn.spanS / expected - 1) > 1e-6) return true;
  const spare = 0.3 * view.spanS;
  return view.fromS - drawn.fromS < spare || drawn.fromS + drawn.spanS - (view.fromS + view.spanS) < spare;
}

/** @returns the move and stretch that lay something drawn over a view, in pixels and as a factor. */
export function placement(
  view: ViewRange,
  drawn: ViewRange,
  viewPx: number,
  drawnPx: number,
): { readonly x: number; readonly scale: number } {
  const pxPerS = viewPx / view.spanS;
  return { x: (drawn.fromS - view.fromS) * pxPerS, scale: (drawn.spanS * pxPerS) / drawnPx };
}

/** @returns instants for the marks of an axis, at steps that people count in; never so many that they touch. */
export function axisTicks({ fromS, spanS }: ViewRange, most: number): readonly number[] {
  const raw = spanS / Math.max(1, most);
  const power = 10 ** Math.floor(Math.log10(raw));
  const steps =
    raw >= 10 ? [15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200] : [1, 2, 5, 10].map((each) => each * power);
  const step = steps.find((each) => each >= raw * (1 - 1e-9)) ?? steps.at(-1) ?? 1;
  const first = Math.ceil(fromS / step);
  const count = Math.max(0, Math.floor((fromS + spanS) / step) - first + 1);
  return Array.from({ length: count }, (_, i) => (first + i) * step);
}

/** @returns session time as minutes and seconds, with as many decimals as the span needs. */
export function shownSessionTime(timeS: number, spanS: number): string {
  const decimals = spanS > 60 ? 0 : Math.min(4, Math.max(0, Math.ceil(1.3 - Math.log10(spanS))));
  const total = Math.abs(timeS);
  const rounded = Number(total.toFixed(decimals));
  const minutes = Math.floor(rounded / 60);
  const seconds = (rounded - 60 * minutes).toFixed(decimals).padStart(decimals === 0 ? 2 : 3 + decimals, '0');
  return `${timeS < 0 && rounded > 0 ? '−' : ''}${minutes}:${seconds}`;
}

/** @returns a place in a strip that is laid out over a stretch. */
export function share(timeS: number, { fromS, spanS }: ViewRange): string {
  return `${((100 * (timeS - fromS)) / spanS).toFixed(5)}%`;
}
