import { describe, expect, it } from 'vitest';
import { proofParams } from '../../src/coaching/proof-params.ts';
import { watchParams } from '../../src/coaching/watch-params.ts';
import { type ParameterTable, resolveParams, unitSuffixes } from '../../src/foundation/parameters.ts';
import { mergeParams } from '../../src/shots/merge/merge-params.ts';
import { backspinParams } from '../../src/shots/wrist/backspin-params.ts';
import { mountParams } from '../../src/shots/wrist/mount-params.ts';
import { wristParams } from '../../src/shots/wrist/wrist-params.ts';
import { attitudeParams } from '../../src/signal/attitude-params.ts';
import { sensorClockParams } from '../../src/signal/sensor-clock-params.ts';
import { tripleTapParams } from '../../src/signal/triple-tap-params.ts';
import { cusumParams } from '../../src/study/cusum-chart.ts';
import { evidenceParams } from '../../src/study/evidence.ts';
import { ewmaParams } from '../../src/study/ewma-chart.ts';

/** Every parameter table of the project. */
const tables: readonly (readonly [string, ParameterTable])[] = [
  ['sensor clock', sensorClockParams],
  ['attitude filter', attitudeParams],
  ['backspin model', backspinParams],
  ['mount', mountParams],
  ['merging of two sensors', mergeParams],
  ['wrist path', wristParams],
  ['three taps', tripleTapParams],
  ['proof of a drill', proofParams],
  ['watch for faults', watchParams],
  ['moving average', ewmaParams],
  ['cumulative sum', cusumParams],
  ['evidence looked at after every value', evidenceParams],
];

describe.each(tables)('the parameter table of the %s', (_, table) => {
  it.each(Object.entries(table))('has a complete row for %s', (name, row) => {
    for (const text of [row.meaning, row.small, row.large, row.source]) expect(text.length).toBeGreaterThan(3);
    expect(row.min).toBeLessThan(row.max);
    expect(row.default).toBeGreaterThanOrEqual(row.min);
    expect(row.default).toBeLessThanOrEqual(row.max);
    const suffix = unitSuffixes[row.unit];
    expect(name.endsWith(suffix)).toBe(true);
    if (row.unit === '') {
      const others = Object.values(unitSuffixes).filter((other) => other !== '');
      expect(others.filter((other) => name.endsWith(other))).toEqual([]);
    }
  });

  it('gives its defaults', () => {
    const defaults = Object.fromEntries(Object.entries(table).map(([name, row]) => [name, row.default]));
    expect(resolveParams(table)).toEqual(defaults);
  });
});
