import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { standardGravityMps2 } from '../../src/foundation/constants.ts';
import {
  type AxisMap,
  decodeSensorDescription,
  encodeSensorDescription,
  placements,
  type SensorDescription,
  sensorTraits,
} from '../../src/protocol/sensor-description.ts';
import { ballDescription } from './made-frames.ts';
import { vectors, type WireDescription } from './vectors.ts';

/** Wire values in SI, worked out here once more. */
function inSi(wire: WireDescription): SensorDescription {
  const gyro = wire.gyroRateMilliHz > 0;
  const [major, minor, patch] = wire.firmwareVersion;
  return {
    sensorId: wire.sensorId,
    tickUnitS: wire.tickUnitPs / 1e12,
    accelRateHz: wire.accelRateMilliHz / 1000,
    gyroRateHz: gyro ? wire.gyroRateMilliHz / 1000 : null,
    accelScaleMps2PerLsb: (wire.accelScaleNanoG / 1e9) * standardGravityMps2,
    gyroScaleRadpsPerLsb: gyro ? (wire.gyroScaleNanoDps / 1e9) * (Math.PI / 180) : null,
    accelRangeMps2: (wire.accelRangeMilliG / 1000) * standardGravityMps2,
    gyroRangeRadps: gyro ? (wire.gyroRangeMilliDps / 1000) * (Math.PI / 180) : null,
    filterDelayS: wire.filterDelayUs / 1e6,
    accelAxes: wire.accelAxes,
    gyroAxes: wire.gyroAxes,
    placement: wire.placement,
    firmwareVersion: { major, minor, patch },
  };
}

const anyAxes: fc.Arbitrary<AxisMap> = fc
  .tuple(fc.shuffledSubarray([1, 2, 3], { minLength: 3 }), fc.tuple(fc.boolean(), fc.boolean(), fc.boolean()))
  .map(([order, turned]) => order.map((axis, at) => (turned[at] ? -axis : axis)) as unknown as AxisMap);

const anyDescription: fc.Arbitrary<SensorDescription> = fc
  .record({
    sensorId: fc.uint8Array({ minLength: 16, maxLength: 16 }).map((bytes) => Buffer.from(bytes).toString('hex')),
    tickUnitPs: fc.integer({ min: 1000, max: 4e9 }),
    rateMilliHz: fc.integer({ min: 1000, max: 1e7 }),
    accelScale: fc.integer({ min: 1, max: 4e9 }),
    gyroScale: fc.integer({ min: 1, max: 4e9 }),
    accelRange: fc.integer({ min: 100, max: 1e6 }),
    gyroRange: fc.integer({ min: 1000, max: 1e8 }),
    filterDelayUs: fc.integer({ min: 0, max: 1e6 }),
    hasGyro: fc.boolean(),
    accelAxes: anyAxes,
    gyroAxes: anyAxes,
    placement: fc.constantFrom(...placements),
    firmware: fc.tuple(fc.nat(255), fc.nat(255), fc.nat(255)),
  })
  .map((d) =>
    inSi({
      sensorId: d.sensorId,
      tickUnitPs: d.tickUnitPs,
      accelRateMilliHz: d.rateMilliHz,
      gyroRateMilliHz: d.hasGyro ? d.rateMilliHz : 0,
      accelScaleNanoG: d.accelScale,
      gyroScaleNanoDps: d.gyroScale,
      accelRangeMilliG: d.accelRange,
      gyroRangeMilliDps: d.gyroRange,
      filterDelayUs: d.filterDelayUs,
      accelAxes: d.accelAxes,
      gyroAxes: d.gyroAxes,
      placement: d.placement,
      firmwareVersion: d.firmware,
    }),
  );

/** Numbers as exact as double arithmetic leaves them after a change of unit and back. */
function expectSame(came: SensorDescription, expected: SensorDescription): void {
  for (const [field, value] of Object.entries(expected)) {
    const other = came[field as keyof SensorDescription];
    if (typeof value === 'number') expect(other as number, field).toBeCloseTo(value, 12);
    else expect(other, field).toEqual(value);
  }
}

describe('the test vectors of the sensor description', () => {
  for (const { name, bytes, wire } of vectors.descriptions) {
    it(`decode and encode: ${name}`, () => {
      const decoded = decodeSensorDescription(bytes);
      expectSame(decoded, inSi(wire));
      expect(Object.isFrozen(decoded)).toBe(true);
      if (bytes.length === 68) expect(encodeSensorDescription(decoded)).toEqual(bytes);
    });
  }

  for (const { name, bytes, error } of vectors.malformedDescriptions) {
    it(`are refused as ${error}: ${name}`, () => {
      expect(() => decodeSensorDescription(bytes)).toThrow(expect.objectContaining({ code: error }));
    });
  }
});

describe('a sensor description', () => {
  it('gives back the same bytes after decoding and encoding', () => {
    fc.assert(
      fc.property(anyDescription, (description) => {
        const bytes = encodeSensorDescription(description);
        const decoded = decodeSensorDescription(bytes);
        expectSame(decoded, description);
        expect(encodeSensorDescription(decoded)).toEqual(bytes);
      }),
    );
  });

  it('shows one and two flipped bits', () => {
    const good = encodeSensorDescription(ballDescription);
    fc.assert(
      fc.property(fc.nat(8 * good.length - 1), fc.nat(8 * good.length - 1), (one, two) => {
        const bytes = good.slice();
        for (const bit of new Set([one, two])) bytes[bit >> 3]! ^= 1 << (bit & 7);
        expect(() => decodeSensorDescription(bytes)).toThrow('sensor description');
      }),
    );
  });

  const wrong: readonly [string, Partial<Record<keyof SensorDescription, unknown>>][] = [
    ['sensorId', { sensorId: '0011' }],
    ['sensorId', { sensorId: '00112233445566778899AABBCCDDEEFF' }],
    ['tickUnitS', { tickUnitS: 0 }],
    ['tickUnitS', { tickUnitS: Number.NaN }],
    ['accelRateHz', { accelRateHz: Number.POSITIVE_INFINITY, gyroRateHz: Number.POSITIVE_INFINITY }],
    ['gyroRateHz', { gyroRateHz: 416 }],
    ['gyroRateHz, gyroScaleRadpsPerLsb, gyroRangeRadps', { gyroRateHz: null }],
    ['accelScaleMps2PerLsb', { accelScaleMps2PerLsb: -1 }],
    ['gyroScaleRadpsPerLsb', { gyroScaleRadpsPerLsb: 1 }],
    ['accelRangeMps2', { accelRangeMps2: 0 }],
    ['gyroRangeRadps', { gyroRangeRadps: 0 }],
    ['filterDelayS', { filterDelayS: 2 }],
    ['accelAxes', { accelAxes: [1, 2, 2] }],
    ['gyroAxes', { gyroAxes: [1, 2, 4] }],
    ['placement', { placement: 'foot' }],
    ['firmwareVersion', { firmwareVersion: { major: 1, minor: 256, patch: 0 } }],
  ];
  for (const [field, change] of wrong) {
    it(`cannot be written with a wrong ${field}: ${JSON.stringify(change)}`, () => {
      const description = { ...ballDescription, ...change } as SensorDescription;
      expect(() => encodeSensorDescription(description)).toThrow(`${field} of a sensor description: expected`);
    });
  }

  it('tells the analysis what it needs', () => {
    expect(sensorTraits(ballDescription)).toEqual({
      nominalRateHz: 833,
      accelRangeMps2: ballDescription.accelRangeMps2,
      gyroRangeRadps: ballDescription.gyroRangeRadps,
      filterDelayS: 0.0012,
    });
  });
});
