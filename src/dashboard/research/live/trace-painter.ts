import type { SampleRing, StreamClock } from './sample-ring.ts';

/** Where a trace is painted: pixels of one piece of the picture. */
export interface TracePlace {
  /** Host time at x = 0, and how many pixels a second is wide. */
  readonly originS: number;
  readonly pxPerS: number;
  /** y of the value 0, and how many pixels a unit is high. */
  readonly zeroPx: number;
  readonly pxPerUnit: number;
}

/** What is needed of a drawing context. */
export interface TracePen {
  moveTo(x: number, y: number): void;
  lineTo(x: number, y: number): void;
}

/**
 * Draws samples `[from, until)` of one channel as a line. Of the samples within one column of pixels the first, the least, the greatest and the
 * last are drawn, in the order in which they came: nobody can see the others, and every peak stays as high as it was. Where samples are
 * missing there is no line.
 */
export function traceSamples(
  pen: TracePen,
  ring: SampleRing,
  clock: StreamClock,
  { channel, first }: { readonly channel: number; readonly first: number },
  [from, until]: readonly [number, number],
  { originS, pxPerS, zeroPx, pxPerUnit }: TracePlace,
): void {
  let column = Number.NaN;
  // Of the present column: least, greatest and last, as places on the picture, and whether the least came first.
  let [lowX, lowY, highX, highY, lastX, lastY] = [0, 0, 0, 0, 0, 0];
  let [lowAt, highAt, lastAt, firstAt] = [0, 0, 0, 0];
  const endColumn = (): void => {
    if (Number.isNaN(column)) return;
    const isLowFirst = lowAt < highAt;
    if (isLowFirst && lowAt !== firstAt) pen.lineTo(lowX, lowY);
    if (highAt !== firstAt) pen.lineTo(highX, highY);
    if (!isLowFirst && lowAt !== firstAt && lowAt !== highAt) pen.lineTo(lowX, lowY);
    if (lastAt !== firstAt && lastAt !== lowAt && lastAt !== highAt) pen.lineTo(lastX, lastY);
    column = Number.NaN;
  };
  let isDown = false;
  for (let index = from; index < until; index++) {
    const value = ring.value(channel, first, index);
    if (Number.isNaN(value)) {
      endColumn();
      isDown = false;
      continue;
    }
    const x = (clock.zeroS + clock.slope * ring.timeS(index) - originS) * pxPerS;
    const y = zeroPx - value * pxPerUnit;
    const next = Math.floor(x);
    if (next === column && !ring.hasGapBefore(index)) {
      [lastX, lastY, lastAt] = [x, y, index];
      // The picture's y grows downward.
      if (y > lowY) [lowX, lowY, lowAt] = [x, y, index];
      if (y < highY) [highX, highY, highAt] = [x, y, index];
      continue;
    }
    endColumn();
    if (isDown && !ring.hasGapBefore(index)) pen.lineTo(x, y);
    else pen.moveTo(x, y);
    isDown = true;
    column = next;
    [lowX, lowY, highX, highY, lastX, lastY] = [x, y, x, y, x, y];
    [lowAt, highAt, lastAt, firstAt] = [index, index, index, index];
  }
  endColumn();
}

/** @returns the greatest size of a value of the channels shown among samples `[from, until)`; 0 where there is none. */
export function greatestOf(
  ring: SampleRing,
  first: number,
  shown: readonly boolean[],
  [from, until]: readonly [number, number],
): number {
  // No axis is greater than the magnitude.
  const channels = shown[3] ? [3] : [0, 1, 2].filter((channel) => shown[channel]);
  let most = 0;
  for (let index = from; index < until; index++) {
    for (const channel of channels) {
      const size = Math.abs(ring.value(channel, first, index));
      if (size > most) most = size;
    }
  }
  return most;
}
