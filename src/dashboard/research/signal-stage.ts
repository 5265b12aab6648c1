import type { SignalGroup } from '../../server/wire/signal-document.ts';
import { type ChartColours, chartColours, type SignalChart } from './signal-chart.ts';
import { type DrawnPart, decodeWindow } from './signal-data.ts';
import { axisTicks, drawnRange, needsDrawing, placement, type ViewRange, withinWhole } from './view-range.ts';

/** What is shown where. */
export interface ChartPlace {
  readonly chart: SignalChart;
  readonly sensorId: string;
  readonly streamIndex: number;
  readonly group: SignalGroup;
  readonly heightPx: number;
}

export interface StageOptions {
  readonly whole: ViewRange;
  /** Gives a stretch, or says why not. */
  readonly fetchWindow: (range: ViewRange, columns: number, groups: readonly SignalGroup[]) => Promise<ArrayBuffer>;
  /** Told which stretch is drawn from now on, and what lies in it. */
  readonly onDrawn: (range: ViewRange, parts: readonly DrawnPart[]) => void;
  readonly onView: (view: ViewRange) => void;
  readonly onTrouble: (message: string | null) => void;
}

/** Two thirds as many columns as pixels: extremes stay, and there is less to draw. */
const pxPerColumn = 1.5;
const mostColumns = 4096;
const toldEveryMs = 150;
const settleMs = 250;

/**
 * Moves what is drawn under the view as it is dragged, scrolled and zoomed, and has it drawn anew, chart by chart, before the view comes to its
 * edge. Moving costs the browser a shift of pictures and no drawing.
 */
export class SignalStage {
  view: ViewRange;
  readonly #options: StageOptions;
  readonly #viewport: HTMLElement;
  readonly #mover: HTMLElement;
  readonly #strips = new Map<HTMLElement, ViewRange>();
  #places: readonly ChartPlace[] = [];
  #shown: readonly boolean[] = [true, true, true, true];
  #colours: ChartColours | null = null;
  #drawn: ViewRange | null = null;
  /** The view for which everything was laid out in what moves, and how wide that was. */
  #base: ViewRange | null = null;
  #basePx = 0;
  #isMoved = true;
  #waiting: (() => void)[] = [];
  /** Draws what there is so that the axes fit the view. */
  #fit: (() => void) | null = null;
  #fitted: ViewRange | null = null;
  #settling: ReturnType<typeof setTimeout> | null = null;
  #isFetching = false;
  #frame: number | null = null;
  #direction = 0;
  #lastMs: number | null = null;
  #toldMs = 0;
  #isOver = false;
  /** Seconds of the recording in a second; 0 stands still. */
  #speed = 0;

  /** @param mover holds all that moves, within the viewport. */
  constructor(viewport: HTMLElement, mover: HTMLElement, view: ViewRange, options: StageOptions) {
    this.#viewport = viewport;
    this.#mover = mover;
    this.#options = options;
    this.view = withinWhole(view, options.whole);
  }

  /** Says which charts there are; they are drawn anew. */
  setCharts(places: readonly ChartPlace[], shown: readonly boolean[]): void {
    this.#places = places;
    this.#isMoved = true;
    this.#shown = shown;
    this.redraw();
  }

  /** Something that moves along and is laid out over a stretch. */
  setStrip(element: HTMLElement, range: ViewRange): void {
    this.#strips.set(element, range);
    this.#isMoved = true;
    this.#ask();
  }

  removeStrip(element: HTMLElement): void {
    this.#strips.delete(element);
  }

  setView(view: ViewRange): void {
    const next = withinWhole(view, this.#options.whole);
    this.#direction = Math.sign(next.fromS + next.spanS / 2 - this.view.fromS - this.view.spanS / 2);
    this.view = next;
    this.#ask();
    // Where it has come to rest, the axes fit what is seen.
    if (this.#settling !== null) clearTimeout(this.#settling);
    this.#settling = setTimeout(() => {
      if (this.#speed !== 0 || this.view === this.#fitted) return;
      this.#fit?.();
      this.#ask();
    }, settleMs);
  }

  /** Lets the recording run by. */
  run(speed: number): void {
    this.#speed = speed;
    this.#lastMs = null;
    this.#ask();
  }

  /** Draws everything anew: the size or the colours are others. */
  redraw(): void {
    this.#drawn = null;
    this.#colours = null;
    this.#ask();
  }

  close(): void {
    this.#isOver = true;
    if (this.#frame !== null) cancelAnimationFrame(this.#frame);
    if (this.#settling !== null) clearTimeout(this.#settling);
    for (const { chart } of this.#places) chart.destroy();
  }

  #ask(): void {
    if (this.#frame === null && !this.#isOver) this.#frame = requestAnimationFrame((nowMs) => this.#step(nowMs));
  }

  #step(nowMs: number): void {
    this.#frame = null;
    if (this.#speed !== 0) {
      const passedS = this.#lastMs === null ? 0 : Math.min(0.1, (nowMs - this.#lastMs) / 1000);
      this.#lastMs = nowMs;
      const next = withinWhole({ ...this.view, fromS: this.view.fromS + this.#speed * passedS }, this.#options.whole);
      if (passedS > 0 && next.fromS === this.view.fromS) this.#speed = 0;
      this.#direction = Math.sign(this.#speed);
      this.view = next;
    }
    // At most one chart a frame is drawn anew.
    this.#waiting.shift()?.();
    this.#place();
    if (needsDrawing(this.view, this.#drawn)) void this.#fetch();
    if (nowMs - this.#toldMs > toldEveryMs || this.#speed === 0) {
      this.#toldMs = nowMs;
      this.#options.onView(this.view);
    }
    if (this.#speed !== 0 || this.#waiting.length > 0) this.#ask();
  }

  /** Moves the one element that holds everything; only where the scale or what is in it has changed is each part laid out in it anew. */
  #place(): void {
    const viewPx = this.#viewport.clientWidth;
    const { fromS, spanS } = this.view;
    const isSame = !this.#isMoved && this.#base?.spanS === spanS && this.#basePx === viewPx;
    if (!isSame) this.#layOut(viewPx);
    const shiftS = (this.#base?.fromS ?? fromS) - fromS;
    // Whole pixels of the screen are copied; between them the browser would mix every pixel of every chart anew, at each frame.
    const ratio = window.devicePixelRatio;
    this.#mover.style.transform = `translateX(${Math.round(((shiftS * viewPx) / spanS) * ratio) / ratio}px)`;
  }

  #layOut(viewPx: number): void {
    const base = this.view;
    [this.#base, this.#basePx, this.#isMoved] = [base, viewPx, false];
    const put = (element: HTMLElement, range: ViewRange, drawnPx: number): void => {
      const { x, scale } = placement(base, range, viewPx, drawnPx);
      element.style.transform =
        Math.abs(scale - 1) < 1e-6 ? `translateX(${x}px)` : `translateX(${x}px) scaleX(${scale})`;
    };
    for (const { chart } of this.#places) if (chart.widthPx > 0) put(chart.element, chart.range, chart.widthPx);
    for (const [element, range] of this.#strips) {
      // A strip is laid out in shares of its own width, which is that of its stretch: nothing in it is stretched.
      const widthPx = (range.spanS / base.spanS) * viewPx;
      element.style.width = `${widthPx}px`;
      put(element, range, widthPx);
    }
  }

  async #fetch(): Promise<void> {
    const viewPx = this.#viewport.clientWidth;
    if (this.#isFetching || viewPx === 0 || this.#places.length === 0) return;
    this.#isFetching = true;
    const range = drawnRange(this.view, this.#direction);
    const widthPx = Math.round((viewPx * range.spanS) / this.view.spanS);
    const groups = (['accel', 'gyro'] as const).filter((group) => this.#places.some((place) => place.group === group));
    const [places, shown] = [this.#places, this.#shown];
    try {
      const columns = Math.min(mostColumns, Math.max(1, Math.round(widthPx / pxPerColumn)));
      const { parts } = decodeWindow(await this.#options.fetchWindow(range, columns, groups));
      if (this.#isOver) return;
      this.#drawn = range;
      this.#colours ??= chartColours(this.#viewport);
      const colours = this.#colours;
      const ticks = axisTicks(range, (widthPx / viewPx) * 8);
      this.#options.onDrawn(range, parts);
      this.#fit = () => {
        // While it runs the axis reaches what is about to come, so that it does not change all the time.
        const within = this.#speed === 0 ? this.view : range;
        this.#fitted = within;
        this.#waiting = places.map(({ chart, sensorId, streamIndex, group, heightPx }) => () => {
          const found = parts.find(({ part }) => part.sensorId === sensorId && part.streamIndex === streamIndex);
          if (!found) return;
          const first = group === 'gyro' && groups.length === 2 ? 4 : 0;
          const channels = found.channels.slice(first, first + 4);
          chart.draw(range, { x: found.x, channels }, { widthPx, heightPx, ticks, shown, colours, within });
          this.#isMoved = true;
        });
      };
      this.#fit();
      this.#options.onTrouble(null);
    } catch (error) {
      // What cannot be had now is asked for again with the next move.
      this.#drawn = range;
      this.#options.onTrouble(error instanceof Error ? error.message : String(error));
    } finally {
      this.#isFetching = false;
    }
    this.#ask();
  }
}
