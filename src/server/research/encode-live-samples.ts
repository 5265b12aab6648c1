import type { ImuBlock } from '../../foundation/imu-block.ts';
import { liveSignalLayout } from '../wire/live-signal-document.ts';

/** Samples of one stream that have not been sent yet. */
export interface UnsentSamples {
  readonly stream: number;
  readonly blocks: readonly ImuBlock[];
}

/** @returns one message of samples, as `live-signal-document.ts` says. */
export function encodeLiveSamples(number: number, sentS: number, parts: readonly UnsentSamples[]): Uint8Array {
  const { headBytes, partHeadBytes } = liveSignalLayout;
  const shapes = parts.map(({ blocks }) => {
    const count = blocks.reduce((sum, { length }) => sum + length, 0);
    const axes = blocks[0]?.gyroRadps ? 6 : 3;
    return { count, axes, size: partHeadBytes + 4 * count * (1 + axes) + 4 * Math.ceil(count / 4) };
  });
  const bytes = new Uint8Array(headBytes + shapes.reduce((sum, { size }) => sum + size, 0));
  const view = new DataView(bytes.buffer);
  view.setUint32(0, number, true);
  view.setUint32(4, parts.length, true);
  view.setFloat64(8, sentS, true);
  let at = headBytes;
  for (const [index, { stream, blocks }] of parts.entries()) {
    const { count, axes, size } = shapes[index] as (typeof shapes)[number];
    const firstS = blocks[0]?.timeS[0] ?? 0;
    view.setUint32(at, stream, true);
    view.setUint32(at + 4, count, true);
    view.setUint32(at + 8, axes, true);
    view.setFloat64(at + 12, firstS, true);
    let row = 0;
    for (const { length, timeS, accelMps2, gyroRadps, flags } of blocks) {
      for (let i = 0; i < length; i++, row++) {
        const place = at + partHeadBytes + 4 * row;
        view.setFloat32(place, (timeS[i] as number) - firstS, true);
        for (let axis = 0; axis < 3; axis++) {
          view.setFloat32(place + 4 * count * (1 + axis), accelMps2[3 * i + axis] as number, true);
          if (axes === 6)
            view.setFloat32(place + 4 * count * (4 + axis), gyroRadps?.[3 * i + axis] ?? Number.NaN, true);
        }
        bytes[at + partHeadBytes + 4 * count * (1 + axes) + row] = flags[i] as number;
      }
    }
    at += size;
  }
  return bytes;
}
