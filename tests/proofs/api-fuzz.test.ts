import { expect, test } from 'vitest';
import { fuzzApi } from './api-fuzz.ts';

test('requests drawn from the description of the API never make the service fail (a hundredth of the proof)', async () => {
  const { failures, silent, outsideUntouched, examples, operations } = await fuzzApi(20_261_128, 1000, () => {});
  expect(examples).toEqual([]);
  expect({ failures, silent, outsideUntouched }).toEqual({ failures: 0, silent: 0, outsideUntouched: true });
  expect(operations).toBeGreaterThan(30);
});
