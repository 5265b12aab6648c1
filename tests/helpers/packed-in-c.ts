import { decodeNotification } from '../../src/protocol/notification.ts';
import { HarnessInput, runReference } from './firmware-reference.ts';

/**
 * Has the C reference pack the rows of notifications again.
 *
 * @param program the compiled harness.
 * @returns what it packed, one a notification.
 */
export function packedInC(program: string, notifications: readonly { readonly bytes: Uint8Array }[]): Uint8Array[] {
  const input = new HarnessInput();
  for (const { bytes } of notifications) {
    const decoded = decodeNotification(bytes);
    if (decoded.kind !== 'frame') throw new Error('a notification of the simulator cannot be read');
    const { axes, samples, startNumber, sequence, sampleIndex, tick, form } = decoded.frame;
    const rows = samples.length / axes;
    const start = new DataView(new ArrayBuffer(8));
    // A rate and an MTU at which a packet takes just these rows.
    start.setUint8(0, axes);
    start.setUint16(1, form === 'short' ? 23 : 19 + 2 * axes * rows, true);
    start.setUint32(3, 40_000 * rows, true);
    start.setUint8(7, startNumber ?? 0);
    const place = new DataView(new ArrayBuffer(6));
    place.setUint16(0, sequence, true);
    place.setUint32(2, sampleIndex, true);
    input.add('P', new Uint8Array(start.buffer)).add('T', new Uint8Array(place.buffer));
    for (let row = 0; row < rows; row++) {
      const values = new DataView(new ArrayBuffer(4 + 2 * axes));
      values.setUint32(0, tick, true);
      for (let axis = 0; axis < axes; axis++) values.setInt16(4 + 2 * axis, samples[axes * row + axis]!, true);
      input.add('R', new Uint8Array(values.buffer));
    }
  }
  return runReference(program, input).filter((answer) => answer.length > 0);
}
