import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { resolveParams } from '../../src/foundation/parameters.ts';

const text = { meaning: 'm', small: 's', large: 'l', source: 'x' };
const table = {
  cutoffHz: { default: 5, unit: 'Hz', min: 0.01, max: 4000, ...text },
  order: { default: 2, unit: '', min: 1, max: 8, integer: true, ...text },
} as const;

describe('resolveParams', () => {
  it('completes with defaults and freezes', () => {
    const params = resolveParams(table, { cutoffHz: 10 });
    expect(params).toEqual({ cutoffHz: 10, order: 2 });
    expect(Object.isFrozen(params)).toBe(true);
    expect(resolveParams(table, { cutoffHz: undefined })).toEqual({ cutoffHz: 5, order: 2 });
  });

  it('takes both ends of the range', () => {
    expect(resolveParams(table, { cutoffHz: 0.01 }).cutoffHz).toBe(0.01);
    expect(resolveParams(table, { cutoffHz: 4000 }).cutoffHz).toBe(4000);
  });

  it('refuses every number outside its range, NaN, and what is no number', () => {
    const outside = fc.oneof(
      fc.double({ max: 0.01, maxExcluded: true, noNaN: true }),
      fc.double({ min: 4000, minExcluded: true, noNaN: true }),
      fc.constantFrom(Number.NaN, '5', true, [5]),
    );
    fc.assert(
      fc.property(outside, (cutoffHz) => {
        expect(() => resolveParams(table, { cutoffHz } as object)).toThrow('is outside 0.01..4000 Hz');
      }),
    );
  });

  it('refuses fractions where only whole numbers make sense', () => {
    expect(() => resolveParams(table, { order: 2.5 })).toThrow('order = 2.5 is not a whole number');
  });

  it('refuses names it does not have, inherited ones too', () => {
    expect(() => resolveParams(table, { toString: 1 } as object)).toThrow('toString is not a parameter here');
  });
});
