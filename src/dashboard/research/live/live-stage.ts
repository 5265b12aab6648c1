import type { SignalGroup } from '../../../server/wire/signal-document.ts';
import type { ChartColours } from '../signal-chart.ts';
import { niceLimit } from '../signal-data.ts';
import type { HeldStream } from './live-feed.ts';
import { type LiveMark, StageTiles, type Tile } from './stage-tiles.ts';
import { greatestOf, traceSamples } from './trace-painter.ts';

/** One row of the picture: a quantity of a sensor. */
export interface LiveRow {
  readonly key: string;
  readonly sensorId: string;
  readonly group: SignalGroup;
}

export interface LiveLooks {
  readonly spanS: number;
  readonly rowPx: number;
  readonly shown: readonly boolean[];
  /** Moves on in jumps of a quarter of the view. */
  readonly inJumps: boolean;
}

export interface LiveStageOptions {
  readonly colours: () => ChartColours & { readonly gap: string };
  /** Time on the service's clock, or null while it is not known. */
  readonly nowS: () => number | null;
  readonly streams: () => readonly HeldStream[];
  /** Word of an instant on the axis. */
  readonly tickWord: (timeS: number) => string;
  readonly onLimit: (key: string, limit: number) => void;
}

interface PaintedRow extends LiveRow {
  limit: number;
  /** How far each stream is painted, and with which state of its clock. */
  readonly painted: Map<HeldStream, { until: number; clockTurn: number }>;
}

/** What was measured comes this much later: packets of the radio, and the way here. */
const lagS = 0.25;
/** One row after the other is looked at for whether its axis still fits. */
const refitS = 0.15;

/**
 * The samples of now as they run by. The picture is made of tiles that are moved, never drawn twice: each frame draws the few samples that
 * have come since the one before. Only when an axis, the size or the colours change is a row drawn anew, one row a frame.
 */
export class LiveStage {
  readonly #viewport: HTMLElement;
  readonly #options: LiveStageOptions;
  readonly #tiles: StageTiles;
  #rows: PaintedRow[] = [];
  #looks: LiveLooks;
  #colours: (ChartColours & { readonly gap: string }) | null = null;
  #stale: PaintedRow[] = [];
  #edgeS: number | null = null;
  #isHeld = false;
  #frame: number | null = null;
  #refitAtS = 0;
  #refitTurn = 0;
  #isOver = false;

  constructor(viewport: HTMLElement, mover: HTMLElement, looks: LiveLooks, options: LiveStageOptions) {
    this.#viewport = viewport;
    this.#options = options;
    this.#looks = looks;
    this.#tiles = new StageTiles(mover, options.tickWord);
    this.#ask();
  }

  /** Newest instant that is seen. */
  get edgeS(): number | null {
    return this.#edgeS;
  }

  setRows(rows: readonly LiveRow[], looks: LiveLooks): void {
    const before = new Map(this.#rows.map((row) => [row.key, row]));
    this.#rows = rows.map((row) => before.get(row.key) ?? { ...row, limit: 1, painted: new Map() });
    this.#looks = looks;
    this.redraw();
  }

  setMarks(marks: readonly LiveMark[]): void {
    this.#tiles.setMarks(marks);
  }

  hold(isHeld: boolean): void {
    this.#isHeld = isHeld;
    if (!isHeld) this.redraw();
  }

  /** Draws everything anew: the size, the colours or the scale are others. */
  redraw(): void {
    this.#colours = null;
    this.#tiles.clear();
    this.#ask();
  }

  close(): void {
    this.#isOver = true;
    if (this.#frame !== null) cancelAnimationFrame(this.#frame);
  }

  #ask(): void {
    if (this.#frame === null && !this.#isOver) this.#frame = requestAnimationFrame(() => this.#step());
  }

  #step(): void {
    this.#frame = null;
    const nowS = this.#options.nowS();
    const widthPx = this.#viewport.clientWidth;
    if (nowS !== null && widthPx > 0 && this.#rows.length > 0) this.#paint(nowS - lagS, widthPx);
    if (!this.#isHeld || this.#stale.length > 0 || this.#tiles.isEmpty) this.#ask();
  }

  #paint(nowS: number, widthPx: number): void {
    const { spanS, inJumps } = this.#looks;
    const jumpS = spanS / 4;
    if (!this.#isHeld || this.#edgeS === null) this.#edgeS = inJumps ? Math.ceil(nowS / jumpS) * jumpS : nowS;
    if (this.#colours === null) {
      this.#colours = this.#options.colours();
      this.#tiles.layOut({
        widthPx,
        spanS,
        rows: this.#rows.length,
        rowPx: this.#looks.rowPx,
        rule: this.#colours.rule,
      });
      this.#stale = [...this.#rows];
    } else if (Math.abs(nowS - this.#refitAtS) > refitS && !this.#isHeld) {
      this.#refitAtS = nowS;
      this.#refitTurn = (this.#refitTurn + 1) % this.#rows.length;
      const row = this.#rows[this.#refitTurn];
      // Only one that is much too long: an axis that follows everything cannot be read.
      if (row && niceLimit(this.#greatest(row)) <= row.limit / 2) this.#makeStale(row);
    }
    this.#tiles.cover(this.#edgeS, 2 * lagS);
    for (const row of this.#rows) this.#paintNew(row);
    // At most one row a frame is drawn anew.
    const stale = this.#stale.shift();
    if (stale) this.#paintAnew(stale);
    this.#tiles.move(this.#edgeS);
  }

  /** @returns the greatest value of a row that is seen. */
  #greatest(row: PaintedRow): number {
    const fromS = (this.#edgeS ?? 0) - this.#looks.spanS;
    let most = 0;
    for (const { ring, clock } of this.#streamsOf(row)) {
      const first = clock === null ? ring.end : ring.firstAt((fromS - clock.zeroS) / clock.slope);
      most = Math.max(most, greatestOf(ring, firstAxis(row), this.#looks.shown, [first, ring.end]));
    }
    return most;
  }

  #makeStale(row: PaintedRow): void {
    if (!this.#stale.includes(row)) this.#stale.push(row);
  }

  #streamsOf({ sensorId, group }: LiveRow): HeldStream[] {
    return this.#options
      .streams()
      .filter((stream) => stream.about.sensorId === sensorId && (group === 'accel' || stream.about.hasGyro));
  }

  /** Draws what has come since. */
  #paintNew(row: PaintedRow): void {
    if (this.#stale.includes(row)) return;
    for (const stream of this.#streamsOf(row)) {
      const { ring, clock, clockTurn } = stream;
      if (clock === null) continue;
      const painted = row.painted.get(stream) ?? { until: ring.start, clockTurn };
      row.painted.set(stream, painted);
      if (painted.clockTurn !== clockTurn) {
        this.#makeStale(row);
        return;
      }
      if (painted.until === ring.end) continue;
      // From the last sample that was drawn, so that the line goes on.
      const range = [Math.max(ring.start, painted.until - 1), ring.end] as const;
      const most = greatestOf(ring, firstAxis(row), this.#looks.shown, range);
      if (most > row.limit * (1 + 1e-9)) {
        this.#makeStale(row);
        return;
      }
      this.#paintRange(row, stream, range);
      painted.until = ring.end;
    }
  }

  #paintAnew(row: PaintedRow): void {
    const limit = niceLimit(this.#greatest(row));
    if (limit !== row.limit) {
      row.limit = limit;
      this.#options.onLimit(row.key, limit);
    }
    this.#tiles.clearRow(this.#rows.indexOf(row));
    const streams = this.#streamsOf(row);
    const kept = new Set(streams);
    for (const stream of row.painted.keys()) if (!kept.has(stream)) row.painted.delete(stream);
    for (const stream of streams) {
      const { ring, clockTurn } = stream;
      this.#paintRange(row, stream, [ring.start, ring.end]);
      row.painted.set(stream, { until: ring.end, clockTurn });
    }
  }

  #paintRange(row: PaintedRow, { ring, clock }: HeldStream, [from, until]: readonly [number, number]): void {
    if (clock === null || until - from < 1) return;
    const hostS = (index: number): number => clock.zeroS + clock.slope * ring.timeS(index);
    for (const tile of this.#tiles.touched(hostS(from), hostS(until - 1))) {
      // One sample to either side, so that the line reaches the edges of the tile.
      const first = Math.max(from, ring.firstAt((tile.fromS - clock.zeroS) / clock.slope) - 1);
      const end = Math.min(until, ring.firstAt((tile.untilS - clock.zeroS) / clock.slope) + 1);
      this.#paintOn(tile, row, { ring, clock }, [first, end]);
    }
  }

  #paintOn(
    tile: Tile,
    row: PaintedRow,
    { ring, clock }: { readonly ring: HeldStream['ring']; readonly clock: NonNullable<HeldStream['clock']> },
    range: readonly [number, number],
  ): void {
    const { context } = tile;
    const { rowPx, shown } = this.#looks;
    const topPx = this.#rows.indexOf(row) * (rowPx + 1);
    const place = {
      ...{ originS: tile.fromS, pxPerS: this.#tiles.pxPerS, zeroPx: topPx + rowPx / 2 },
      pxPerUnit: (rowPx / 2 - 2) / row.limit,
    };
    const first = firstAxis(row);
    for (const [channel, stroke] of (this.#colours?.channels ?? []).entries()) {
      if (!shown[channel]) continue;
      context.strokeStyle = stroke;
      context.lineWidth = channel === 3 ? 1.5 : 1;
      context.beginPath();
      traceSamples(context, ring, clock, { channel, first }, range, place);
      context.stroke();
    }
    context.fillStyle = this.#colours?.gap ?? '';
    for (let index = Math.max(range[0], ring.start + 1); index < range[1]; index++) {
      if (!ring.hasGapBefore(index)) continue;
      const [fromPx, untilPx] = [index - 1, index].map(
        (at) => (clock.zeroS + clock.slope * ring.timeS(at) - tile.fromS) * place.pxPerS,
      ) as [number, number];
      context.fillRect(fromPx, topPx, Math.max(2, untilPx - fromPx), gapBarPx);
    }
  }
}

const gapBarPx = 5;

function firstAxis({ group }: LiveRow): number {
  return group === 'gyro' ? 3 : 0;
}
