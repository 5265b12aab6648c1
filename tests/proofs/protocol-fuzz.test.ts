import { describe, expect, it } from 'vitest';
import { fuzzProtocol, missableByChecksum, timeBoundS } from './protocol-fuzz.ts';

describe.each(['full', 'short'] as const)('damaged notifications among good ones, %s form', (form) => {
  it('make nothing throw, lose no good packet and leave the times alone', () => {
    const figures = fuzzProtocol(form, 10_000, 20_261);
    expect(figures.damaged).toBeGreaterThanOrEqual(10_000);
    expect(figures.good).toBeGreaterThan(3000);
    expect(figures.thrown).toBe(0);
    expect(figures.goodLost).toBe(0);
    expect(figures.takenForGood).toBeLessThanOrEqual(missableByChecksum(form, figures.damaged));
    expect(figures.longestStateCharacters).toBeLessThan(20_000);
    expect(figures.worstTimeErrorS).toBeLessThan(timeBoundS);
  });
});
