import type { WireSignalPart, WireSignalWindow } from '../../server/wire/signal-document.ts';

/** A stretch of one stream, ready to be drawn: places in session time, and a value or a hole for each channel at each. */
export interface DrawnPart {
  readonly part: WireSignalPart;
  readonly x: readonly number[];
  readonly channels: readonly (readonly (number | null)[])[];
}

/** @returns what stands in an answer of the route of stretches. The drawing bridges what is not a number, so it becomes null. */
export function decodeWindow(bytes: ArrayBuffer): {
  readonly head: WireSignalWindow;
  readonly parts: readonly DrawnPart[];
} {
  const headBytes = new DataView(bytes).getUint32(0, true);
  const head = JSON.parse(new TextDecoder().decode(new Uint8Array(bytes, 4, headBytes))) as WireSignalWindow;
  const numbers = new Float32Array(bytes, 4 + headBytes);
  // Columns lie alike in all parts.
  let columnX: readonly number[] | null = null;
  const parts = head.parts.map((part) => {
    if (part.kind === 'columns') columnX ??= placesOfColumns(head, part.length);
    return part.kind === 'columns' ? drawnColumns(part, columnX ?? [], numbers) : drawnSamples(head, part, numbers);
  });
  return { head, parts };
}

/** The least value a quarter into the column, the greatest a quarter before its end: a line through both fills it. */
function placesOfColumns({ fromS, columnS }: WireSignalWindow, count: number): number[] {
  const places = new Array<number>(2 * count);
  for (let column = 0; column < count; column++) {
    places[2 * column] = fromS + (column + 0.25) * columnS;
    places[2 * column + 1] = fromS + (column + 0.75) * columnS;
  }
  return places;
}

function drawnColumns(part: WireSignalPart, x: readonly number[], numbers: Float32Array): DrawnPart {
  const { length, channels, at } = part;
  const values = Array.from({ length: channels }, (_, channel) =>
    withHoles(numbers, at + 2 * length * channel, 2 * length),
  );
  return { part, x, channels: values };
}

function drawnSamples({ fromS, columnS }: WireSignalWindow, part: WireSignalPart, numbers: Float32Array): DrawnPart {
  const { length, channels, at } = part;
  const places = numbers.subarray(at, at + length);
  // A hole stands between its neighbours, so that places rise.
  const x = Array.from(places, (place, i) => {
    const known = Number.isNaN(place) ? ((places[i - 1] ?? 0) + (places[i + 1] ?? 0)) / 2 : place;
    return fromS + known * columnS;
  });
  const values = Array.from({ length: channels }, (_, channel) =>
    withHoles(numbers, at + length * (1 + channel), length),
  );
  return { part, x, channels: values };
}

/** @returns a stretch of numbers, null where one is none. Plain loops: some hundred thousand come with each answer, while it runs by. */
function withHoles(numbers: Float32Array, from: number, count: number): (number | null)[] {
  const values = new Array<number | null>(count);
  for (let i = 0; i < count; i++) {
    const value = numbers[from + i] as number;
    values[i] = Number.isNaN(value) ? null : value;
  }
  return values;
}

/** @returns the round number at or above a value that an axis from its negative to itself ends at. */
export function niceLimit(value: number): number {
  if (!(value > 0) || !Number.isFinite(value)) return 1;
  const power = 10 ** Math.floor(Math.log10(value));
  const step = [1, 1.5, 2, 3, 5, 7.5, 10].find((each) => each * power >= value * (1 - 1e-9)) ?? 10;
  return step * power;
}
