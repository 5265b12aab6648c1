import uPlot from 'uplot';
import 'uplot/dist/uPlot.min.css';
import { niceLimit } from './signal-data.ts';
import type { ViewRange } from './view-range.ts';

/** Colours of x, y, z, the magnitude, and of the lines behind them. */
export interface ChartColours {
  readonly channels: readonly string[];
  readonly rule: string;
}

/** @returns the colours of the page as they are now. */
export function chartColours(element: Element): ChartColours {
  const style = getComputedStyle(element);
  const of = (name: string) => style.getPropertyValue(name).trim();
  return { channels: ['--axis-x', '--axis-y', '--axis-z', '--axis-magnitude'].map(of), rule: of('--rule') };
}

/** One group of channels of one stream, drawn wider than it is shown so that it can be moved without being drawn anew. */
export class SignalChart {
  readonly element: HTMLElement;
  /** Greatest value that the axis reaches; its least is the negative. */
  limit = 1;
  /** What is drawn, and how wide. */
  range: ViewRange = { fromS: 0, spanS: 1 };
  widthPx = 0;
  readonly #onLimit: (limit: number) => void;
  #plot: uPlot | null = null;
  #heightPx = 0;
  #shown: readonly boolean[] = [];
  #colours: ChartColours | null = null;

  constructor(element: HTMLElement, onLimit: (limit: number) => void) {
    this.element = element;
    this.#onLimit = onLimit;
  }

  /** Draws a stretch. @param ticks instants at which lines stand behind it. */
  draw(
    range: ViewRange,
    { x, channels }: { readonly x: readonly number[]; readonly channels: readonly (readonly (number | null)[])[] },
    { widthPx, heightPx, ticks, shown, colours, within }: ChartLooks,
  ): void {
    this.range = range;
    this.widthPx = widthPx;
    let most = 0;
    for (const [index, values] of channels.entries()) {
      if (!shown[index]) continue;
      for (let at = 0; at < values.length; at++) {
        const [value, place] = [values[at] as number | null, x[at] as number];
        if (value === null || place < within.fromS || place > within.fromS + within.spanS) continue;
        if (Math.abs(value) > most) most = Math.abs(value);
      }
    }
    const limit = niceLimit(most);
    if (limit !== this.limit) {
      this.limit = limit;
      this.#onLimit(limit);
    }
    const data = [x, ...channels] as unknown as uPlot.AlignedData;
    const isSame =
      this.#plot !== null &&
      this.#colours === colours &&
      this.#heightPx === heightPx &&
      this.#plot.width === widthPx &&
      this.#shown.every((each, index) => each === shown[index]);
    this.#ticks = ticks;
    if (isSame) {
      this.#plot?.setData(data);
      return;
    }
    this.#plot?.destroy();
    [this.#colours, this.#heightPx, this.#shown] = [colours, heightPx, shown];
    this.#plot = new uPlot(this.#options(widthPx, heightPx, shown, colours), data, this.element);
  }

  destroy(): void {
    this.#plot?.destroy();
    this.#plot = null;
  }

  #ticks: readonly number[] = [];

  #options(width: number, height: number, shown: readonly boolean[], { channels, rule }: ChartColours): uPlot.Options {
    const grid = { stroke: rule, width: 1 };
    const axis = {
      size: 0,
      gap: 0,
      ticks: { show: false },
      values: (_: uPlot, splits: number[]) => splits.map(() => ''),
      grid,
    };
    return {
      width,
      height,
      padding: [2, 0, 2, 0],
      legend: { show: false },
      cursor: { show: false },
      scales: {
        x: { time: false, range: () => [this.range.fromS, this.range.fromS + this.range.spanS] },
        y: { range: () => [-this.limit, this.limit] },
      },
      axes: [
        { ...axis, splits: () => [...this.#ticks] },
        { ...axis, splits: () => [0] },
      ],
      series: [
        {},
        ...channels.map((stroke, index) => {
          return {
            stroke,
            width: index === 3 ? 1.5 : 1,
            show: shown[index] ?? false,
            points: { show: false },
            spanGaps: false,
          };
        }),
      ],
    };
  }
}

export interface ChartLooks {
  readonly widthPx: number;
  readonly heightPx: number;
  readonly ticks: readonly number[];
  readonly shown: readonly boolean[];
  readonly colours: ChartColours;
  /** The stretch whose greatest value the axis reaches. */
  readonly within: ViewRange;
}
