import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { crc8Register, crc16 } from '../../src/protocol/checksum.ts';
import {
  corruptCodes,
  decodeNotification,
  encodeNotification,
  maxSamplesPerNotification,
  type NotificationFrame,
  notificationSampleCount,
} from '../../src/protocol/notification.ts';
import { fullFrame } from './made-frames.ts';
import { vectors } from './vectors.ts';

const int16 = fc.integer({ min: -32_768, max: 32_767 });
const anyFrame: fc.Arbitrary<NotificationFrame> = fc
  .record({ short: fc.boolean(), axes: fc.constantFrom(3 as const, 6 as const) })
  .chain(({ short, axes }) => {
    const maxRows = short ? 1 : maxSamplesPerNotification(axes);
    return fc
      .record({
        startNumber: short ? fc.constant(null) : fc.nat(255),
        sequence: fc.nat(65_535),
        tick: fc.nat(2 ** 32 - 1),
        sampleIndex: fc.nat(2 ** 32 - 1),
        rows: fc.array(fc.array(int16, { minLength: axes, maxLength: axes }), { minLength: 1, maxLength: maxRows }),
      })
      .map(({ rows, ...rest }) => ({
        form: short ? ('short' as const) : ('full' as const),
        axes,
        ...rest,
        sampleIndex: short ? rest.sequence : rest.sampleIndex,
        samples: Int16Array.from(rows.flat()),
      }));
  });

describe('the test vectors of the format', () => {
  it('agree about the checksums of "123456789" with the catalogue', () => {
    const bytes = new TextEncoder().encode(vectors.checksums.text);
    // SOURCE of the two values: G. Cook, catalogue of parametrised CRC algorithms, CRC-16/IBM-3740, CRC-8/SAE-J1850.
    expect(crc16(bytes, 0, bytes.length)).toBe(0x29b1);
    expect(crc8Register(bytes, 0, bytes.length) ^ 0xff).toBe(0x4b);
    expect(vectors.checksums.crc16).toBe(0x29b1);
    expect(vectors.checksums.crc8).toBe(0x4b);
  });

  for (const { name, bytes, frame } of vectors.notifications) {
    it(`decode and encode: ${name}`, () => {
      const values = { ...frame, samples: Int16Array.from(frame.samples) };
      expect(decodeNotification(bytes)).toEqual({ kind: 'frame', frame: values });
      expect(encodeNotification(values)).toEqual(bytes);
    });
  }

  for (const { name, bytes, error, sequence } of vectors.malformedNotifications) {
    it(`are refused as ${error}: ${name}`, () => {
      const decoded = decodeNotification(bytes);
      expect(decoded).toMatchObject({ kind: 'corrupt', code: error, sequence });
    });
  }

  it('have a malformed one for every code that bytes alone can have', () => {
    const met = new Set(vectors.malformedNotifications.map((vector) => vector.error));
    const beyondBytes = ['implausible', 'axes'];
    expect([...met].sort()).toEqual(
      Object.keys(corruptCodes)
        .filter((code) => !beyondBytes.includes(code))
        .sort(),
    );
  });

  it('name the finding: rows that the bytes do not hold', () => {
    const cut = vectors.malformedNotifications.find(({ bytes }) => bytes.length === 223)!;
    expect(decodeNotification(cut.bytes)).toMatchObject({ problem: 'header says 19 samples, 223 bytes hold 17' });
  });
});

describe('a notification', () => {
  it('comes back from its bytes', () => {
    fc.assert(
      fc.property(anyFrame, (frame) => {
        expect(decodeNotification(encodeNotification(frame))).toEqual({ kind: 'frame', frame });
      }),
    );
  });

  it('can be read where it stands inside a larger buffer', () => {
    const bytes = encodeNotification(fullFrame);
    const buffer = new Uint8Array(bytes.length + 7);
    buffer.set(bytes, 3);
    expect(decodeNotification(buffer.subarray(3, 3 + bytes.length))).toEqual({ kind: 'frame', frame: fullFrame });
  });

  it('does not change with its bytes afterwards', () => {
    const bytes = encodeNotification(fullFrame);
    const decoded = decodeNotification(bytes);
    bytes.fill(0);
    expect(decoded).toEqual({ kind: 'frame', frame: fullFrame });
  });

  it('shows every single and double bit error, and in the full form every triple one', () => {
    fc.assert(
      fc.property(anyFrame, fc.array(fc.nat(), { minLength: 1, maxLength: 3 }), (frame, places) => {
        const bytes = encodeNotification(frame);
        const bits = new Set(places.map((place) => place % (8 * bytes.length)));
        // A flipped form bit makes the reader use the other form's checksum, so that its guarantee does not hold.
        if (frame.form === 'short' && bits.size > 2) return;
        if (bits.has(4)) return;
        for (const bit of bits) bytes[bit >> 3]! ^= 1 << (bit & 7);
        expect(decodeNotification(bytes).kind).toBe('corrupt');
      }),
      { numRuns: 2000 },
    );
  });

  it('is refused at every cut', () => {
    for (const { bytes } of vectors.notifications) {
      for (let length = 0; length < bytes.length; length++) {
        expect(decodeNotification(bytes.subarray(0, length)).kind).toBe('corrupt');
      }
    }
  });

  it('never makes the reader throw', () => {
    fc.assert(
      fc.property(fc.uint8Array({ maxLength: 260 }), (bytes) => {
        expect(['frame', 'corrupt']).toContain(decodeNotification(bytes).kind);
      }),
      { numRuns: 2000 },
    );
  });

  const wrong: readonly [string, Partial<Record<keyof NotificationFrame, unknown>>][] = [
    ['form', { form: 'long' }],
    ['axes', { axes: 4 }],
    ['startNumber', { startNumber: 256 }],
    ['startNumber', { startNumber: null }],
    ['startNumber', { form: 'short', samples: new Int16Array(6), sampleIndex: 4711 }],
    ['sampleIndex', { form: 'short', samples: new Int16Array(6), startNumber: null }],
    ['sampleIndex', { sampleIndex: -1 }],
    ['sequence', { sequence: 1.5 }],
    ['tick', { tick: 2 ** 32 }],
    ['tick', { tick: Number.NaN }],
    ['samples', { samples: new Int16Array(0) }],
    ['samples', { samples: new Int16Array(7) }],
    ['samples', { samples: new Int16Array(20 * 6) }],
    ['samples', { form: 'short', startNumber: null, sampleIndex: 4711 }],
  ];
  for (const [field, change] of wrong) {
    it(`cannot be written with a wrong ${field}: ${JSON.stringify(change)}`, () => {
      const frame = { ...fullFrame, ...change } as NotificationFrame;
      expect(() => encodeNotification(frame)).toThrow(`${field} of a notification: expected`);
    });
  }
});

describe('notificationSampleCount', () => {
  it('fills the longest notification with exactly 19 rows of six axes', () => {
    expect(maxSamplesPerNotification(6)).toBe(19);
    expect(encodeNotification({ ...fullFrame, samples: new Int16Array(19 * 6) }).length).toBe(244);
    expect(encodeNotification({ ...fullFrame, axes: 3, samples: new Int16Array(38 * 3) }).length).toBe(244);
  });

  it('keeps a packet within 25 ms and within the MTU', () => {
    expect(notificationSampleCount(200, 247, 6)).toBe(5);
    expect(notificationSampleCount(416, 247, 6)).toBe(10);
    expect(notificationSampleCount(833, 247, 6)).toBe(19);
    expect(notificationSampleCount(1666, 517, 6)).toBe(19);
    expect(notificationSampleCount(833, 185, 6)).toBe(13);
    expect(notificationSampleCount(12.5, 247, 6)).toBe(1);
    expect(notificationSampleCount(833, 23, 6)).toBe(1);
    expect(notificationSampleCount(1666, 247, 3)).toBe(38);
  });
});
