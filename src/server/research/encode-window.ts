import type { SignalGroup, WireSignalPart, WireSignalWindow } from '../wire/signal-document.ts';
import { type SignalStream, sessionTime, streamTime } from './read-signals.ts';
import { readWindow } from './signal-window.ts';

export interface WindowQuestion {
  readonly fromS: number;
  readonly untilS: number;
  readonly columns: number;
  readonly groups: readonly SignalGroup[];
  /** Places in the list of streams; empty for all. */
  readonly streams: readonly number[];
}

/** Gaps of a stream that are told, the longest ones: more than that cannot be told apart in a drawing. */
const toldGaps = 300;

/** @returns the answer of the route of stretches, as `signalWindowSchema` says. */
export function encodeWindow(streams: readonly SignalStream[], question: WindowQuestion): ArrayBuffer {
  const { fromS, untilS, columns, groups, streams: wanted } = question;
  const columnS = (untilS - fromS) / columns;
  const parts: WireSignalPart[] = [];
  const numbers: Float32Array[] = [];
  let at = 0;
  for (const [place, { stream, pages, line }] of streams.entries()) {
    const { sensorId, streamIndex } = stream;
    if (wanted.length > 0 && !wanted.includes(place)) continue;
    const channels = [
      ...(groups.includes('accel') ? [0, 1, 2, 3] : []),
      ...(groups.includes('gyro') && pages.hasGyro ? [4, 5, 6, 7] : []),
    ];
    const request = { fromS: streamTime(line, fromS), columnS: columnS / line.slope, columns, channels };
    const window = readWindow(pages, request);
    const data = window.kind === 'columns' ? [window.fold.extremes] : [window.places, window.values];
    numbers.push(...data);
    parts.push({
      ...{ sensorId, streamIndex, kind: window.kind, channels: channels.length, at },
      length: window.kind === 'columns' ? columns : window.places.length,
      sampleCount: window.sampleCount,
      gaps: gapsWithin(pages.gaps, request.fromS, streamTime(line, untilS)).map(([start, end]) => [
        sessionTime(line, start),
        sessionTime(line, end),
      ]),
    });
    at += data.reduce((sum, { length }) => sum + length, 0);
  }
  const head: WireSignalWindow = { version: 1, fromS, columnS, columns, groups: [...groups], parts };
  return assemble(JSON.stringify(head), numbers, at);
}

function gapsWithin(
  gaps: readonly (readonly [number, number])[],
  fromS: number,
  untilS: number,
): readonly (readonly [number, number])[] {
  const within = gaps.filter(([start, end]) => end > fromS && start < untilS);
  if (within.length <= toldGaps) return within;
  const longest = within.toSorted((a, b) => b[1] - b[0] - (a[1] - a[0])).slice(0, toldGaps);
  return longest.sort((a, b) => a[0] - b[0]);
}

function assemble(head: string, numbers: readonly Float32Array[], count: number): ArrayBuffer {
  const text = new TextEncoder().encode(head);
  const headBytes = Math.ceil(text.length / 4) * 4;
  const bytes = new Uint8Array(4 + headBytes + 4 * count);
  const view = new DataView(bytes.buffer);
  view.setUint32(0, headBytes, true);
  bytes.fill(0x20, 4, 4 + headBytes);
  bytes.set(text, 4);
  let place = 4 + headBytes;
  for (const part of numbers) {
    // Every machine that Node runs on here is little endian; a page reads it as that.
    bytes.set(new Uint8Array(part.buffer, part.byteOffset, part.byteLength), place);
    place += part.byteLength;
  }
  return bytes.buffer;
}
