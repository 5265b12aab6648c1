import type { SampleColumns } from './sample-ring.ts';

/** One message of samples. */
export interface SampleMessage {
  /** Rises by one with each message of the service; a jump says that some were left out. */
  readonly number: number;
  /** On the clock of the service. */
  readonly sentS: number;
  readonly parts: readonly (SampleColumns & { readonly stream: number })[];
}

const headBytes = 16;
const partHeadBytes = 20;

/** @returns what stands in a message of samples, as `live-signal-document.ts` of the service lays it out; the columns lie in its bytes. */
export function decodeLiveSamples(bytes: ArrayBuffer): SampleMessage {
  const view = new DataView(bytes);
  let at = headBytes;
  const parts = Array.from({ length: view.getUint32(4, true) }, () => {
    const [stream, count, axisCount] = [0, 4, 8].map((offset) => view.getUint32(at + offset, true)) as [
      number,
      number,
      number,
    ];
    const firstS = view.getFloat64(at + 12, true);
    const columns = Array.from(
      { length: 1 + axisCount },
      (_, column) => new Float32Array(bytes, at + partHeadBytes + 4 * count * column, count),
    );
    const flagsAt = at + partHeadBytes + 4 * count * (1 + axisCount);
    at = flagsAt + 4 * Math.ceil(count / 4);
    const [offsetsS = new Float32Array(0), ...axes] = columns;
    return { stream, count, firstS, offsetsS, axes, flags: new Uint8Array(bytes, flagsAt, count) };
  });
  return { number: view.getUint32(0, true), sentS: view.getFloat64(8, true), parts };
}
