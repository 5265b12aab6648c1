import { axisTicks } from '../view-range.ts';

/** An instant to be marked, with one standard error to either side where it is known. */
export interface LiveMark {
  readonly key: string;
  readonly timeS: number;
  readonly errorS: number | null;
  /** Names how it looks, and at what height its word stands. */
  readonly phase: string;
  readonly level: number;
  readonly word: string;
}

/** A piece of the picture: all rows over a stretch of time. */
export interface Tile {
  readonly fromS: number;
  readonly untilS: number;
  /** In page pixels. */
  readonly context: CanvasRenderingContext2D;
}

interface OwnTile extends Tile {
  readonly index: number;
  readonly element: HTMLElement;
  readonly canvas: HTMLCanvasElement;
}

export interface TileLayout {
  readonly widthPx: number;
  readonly spanS: number;
  readonly rows: number;
  readonly rowPx: number;
  readonly rule: string;
}

const tilePx = 256;
/** Places of elements are told from a tile that is never further away: browsers count pixels in no more than some millions. */
const furthestTiles = 4000;
/** No closer than this, px. */
const tickPx = 96;

/** The picture as it moves: pieces side by side, those that have left the view taken for what comes, and marks over them. */
export class StageTiles {
  readonly #mover: HTMLElement;
  readonly #tickWord: (timeS: number) => string;
  #tiles: OwnTile[] = [];
  #spare: { readonly element: HTMLElement; readonly canvas: HTMLCanvasElement }[] = [];
  #layout: TileLayout | null = null;
  #baseIndex = 0;
  #marks: readonly LiveMark[] = [];
  readonly #marked = new Map<string, HTMLElement>();

  constructor(mover: HTMLElement, tickWord: (timeS: number) => string) {
    this.#mover = mover;
    this.#tickWord = tickWord;
  }

  get isEmpty(): boolean {
    return this.#tiles.length === 0;
  }

  get pxPerS(): number {
    return this.#layout === null ? 1 : this.#layout.widthPx / this.#layout.spanS;
  }

  /** Takes everything away. */
  clear(): void {
    for (const { element } of [...this.#tiles, ...this.#spare]) element.remove();
    [this.#tiles, this.#spare, this.#layout] = [[], [], null];
  }

  layOut(layout: TileLayout): void {
    this.clear();
    this.#layout = layout;
  }

  /** Sees to it that there are pieces for the whole view and for what comes next. */
  cover(edgeS: number, aheadS: number): void {
    const layout = this.#layout;
    if (layout === null) return;
    const tileS = tilePx / this.pxPerS;
    const first = Math.floor((edgeS - layout.spanS) / tileS);
    const last = Math.floor((edgeS + aheadS) / tileS) + 1;
    const gone = this.#tiles.filter(({ index }) => index < first || index > last);
    if (gone.length > 0) {
      this.#tiles = this.#tiles.filter((tile) => !gone.includes(tile));
      this.#spare.push(...gone);
    }
    const isFar = Math.abs(first - this.#baseIndex) > furthestTiles;
    if (isFar) this.#baseIndex = first;
    const known = new Set(this.#tiles.map(({ index }) => index));
    for (let index = first; index <= last; index++) if (!known.has(index)) this.#tiles.push(this.#open(index, layout));
    if (isFar) for (const { element, index } of this.#tiles) this.#put(element, index);
    if (isFar || gone.length > 0 || known.size === 0) this.#placeMarks();
  }

  /** @returns pieces that lie in a stretch, both ends included. */
  touched(fromS: number, untilS: number): readonly Tile[] {
    return this.#tiles.filter((tile) => tile.fromS <= untilS && tile.untilS >= fromS);
  }

  clearRow(row: number): void {
    const layout = this.#layout;
    if (layout === null) return;
    for (const tile of this.#tiles) clearRows(tile, layout, row, row + 1);
  }

  move(edgeS: number): void {
    const layout = this.#layout;
    if (layout === null) return;
    const x = layout.widthPx - (edgeS * this.pxPerS - this.#baseIndex * tilePx);
    // Whole pixels of the screen are copied; between them every pixel would be mixed anew.
    const ratio = window.devicePixelRatio;
    this.#mover.style.transform = `translateX(${Math.round(x * ratio) / ratio}px)`;
  }

  setMarks(marks: readonly LiveMark[]): void {
    this.#marks = marks;
    this.#placeMarks();
  }

  #open(index: number, layout: TileLayout): OwnTile {
    const spare = this.#spare.pop();
    const element = spare?.element ?? document.createElement('div');
    const canvas = spare?.canvas ?? document.createElement('canvas');
    const context = canvas.getContext('2d') as CanvasRenderingContext2D;
    const ratio = window.devicePixelRatio;
    const heightPx = layout.rows * (layout.rowPx + 1);
    if (!spare) {
      element.className = 'live-tile';
      canvas.width = Math.round(tilePx * ratio);
      canvas.height = Math.round(heightPx * ratio);
      canvas.style.height = `${heightPx}px`;
      element.append(canvas);
      this.#mover.prepend(element);
    }
    context.setTransform(ratio, 0, 0, ratio, 0, 0);
    const tileS = tilePx / this.pxPerS;
    const tile = { index, element, canvas, context, fromS: index * tileS, untilS: (index + 1) * tileS };
    this.#put(element, index);
    clearRows(tile, layout, 0, layout.rows);
    for (const label of element.querySelectorAll('.tick')) label.remove();
    for (const timeS of ticksOf(tile, this.pxPerS)) {
      const label = document.createElement('span');
      label.className = 'tick';
      label.style.left = `${(timeS - tile.fromS) * this.pxPerS}px`;
      label.textContent = this.#tickWord(timeS);
      element.append(label);
    }
    return tile;
  }

  #put(element: HTMLElement, index: number): void {
    element.style.transform = `translateX(${(index - this.#baseIndex) * tilePx}px)`;
  }

  #placeMarks(): void {
    const first = this.#tiles.reduce((least, { fromS }) => Math.min(least, fromS), Number.POSITIVE_INFINITY);
    const seen = this.#marks.filter(({ timeS }) => timeS >= first);
    const keys = new Set(seen.map(({ key }) => key));
    for (const [key, element] of this.#marked) {
      if (keys.has(key)) continue;
      element.remove();
      this.#marked.delete(key);
    }
    for (const mark of seen) {
      const element = this.#marked.get(mark.key) ?? markElement(mark);
      if (!this.#marked.has(mark.key)) this.#mover.append(element);
      this.#marked.set(mark.key, element);
      element.style.transform = `translateX(${mark.timeS * this.pxPerS - this.#baseIndex * tilePx}px)`;
      const halfPx = (mark.errorS ?? 0) * this.pxPerS;
      const band = element.firstElementChild as HTMLElement;
      band.style.left = `${-halfPx}px`;
      band.style.width = `${2 * halfPx}px`;
    }
  }
}

function markElement({ phase, level, word }: LiveMark): HTMLElement {
  const element = document.createElement('div');
  element.className = `live-mark line-${phase}`;
  const band = document.createElement('i');
  band.className = 'live-mark-error';
  const label = document.createElement('b');
  label.textContent = word;
  label.style.top = `${level * 1.5}rem`;
  element.append(band, label);
  return element;
}

function clearRows({ context, ...tile }: OwnTile, { rowPx, rule }: TileLayout, from: number, until: number): void {
  context.clearRect(0, from * (rowPx + 1), tilePx, (until - from) * (rowPx + 1));
  context.fillStyle = rule;
  for (const timeS of ticksOf(tile, tilePx / (tile.untilS - tile.fromS))) {
    const x = Math.round((timeS - tile.fromS) * (tilePx / (tile.untilS - tile.fromS)));
    context.fillRect(x, from * (rowPx + 1), 1, (until - from) * (rowPx + 1));
  }
  for (let row = from; row < until; row++) context.fillRect(0, row * (rowPx + 1) + Math.round(rowPx / 2), tilePx, 1);
}

/** @returns instants of the axis within a piece. */
function ticksOf({ fromS, untilS }: Pick<Tile, 'fromS' | 'untilS'>, pxPerS: number): readonly number[] {
  const within = { fromS, spanS: untilS - fromS };
  return axisTicks(within, Math.max(1, Math.floor((within.spanS * pxPerS) / tickPx))).filter((timeS) => timeS < untilS);
}
