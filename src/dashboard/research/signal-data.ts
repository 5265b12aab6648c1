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
  return { head, parts: head.parts.map((part) => drawnPart(head, part, numbers)) };
}

function drawnPart({ fromS, columnS }: WireSignalWindow, part: WireSignalPart, numbers: Float32Array): DrawnPart {
  const { kind, length, channels, at } = part;
  const hole = (value: number | undefined): number | null =>
    value === undefined || Number.isNaN(value) ? null : value;
  if (kind === 'columns') {
    // The least value a quarter into the column, the greatest a quarter before its end: a line through both fills it.
    const x = Array.from(
      { length: 2 * length },
      (_, i) => fromS + (Math.floor(i / 2) + (i % 2 === 0 ? 0.25 : 0.75)) * columnS,
    );
    const values = Array.from({ length: channels }, (_, channel) => {
      const start = at + 2 * length * channel;
      return Array.from({ length: 2 * length }, (_, i) => hole(numbers[start + i]));
    });
    return { part, x, channels: values };
  }
  const places = numbers.subarray(at, at + length);
  // A hole stands between its neighbours, so that places rise.
  const x = Array.from(places, (place, i) => {
    const known = Number.isNaN(place) ? ((places[i - 1] ?? 0) + (places[i + 1] ?? 0)) / 2 : place;
    return fromS + known * columnS;
  });
  const values = Array.from({ length: channels }, (_, channel) => {
    const start = at + length * (1 + channel);
    return Array.from({ length }, (_, i) => (Number.isNaN(places[i] as number) ? null : hole(numbers[start + i])));
  });
  return { part, x, channels: values };
}

/** @returns the round number at or above a value that an axis from its negative to itself ends at. */
export function niceLimit(value: number): number {
  if (!(value > 0) || !Number.isFinite(value)) return 1;
  const power = 10 ** Math.floor(Math.log10(value));
  const step = [1, 1.5, 2, 3, 5, 7.5, 10].find((each) => each * power >= value * (1 - 1e-9)) ?? 10;
  return step * power;
}
