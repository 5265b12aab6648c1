import { expect, test } from 'vitest';
import type { DrillVerdict } from '../../src/coaching/drill-proof.ts';
import { shownMeasure } from '../../src/reports/shown-measure.ts';
import { verdictInWords } from '../../src/reports/verdict-words.ts';

const open: DrillVerdict = {
  ...{ verdict: 'not-enough', change: null, interval: null, matters: 'open', looks: 0, daysToNextLook: null },
  ...{ decidedAtLook: null, baselineDays: 2, retestDays: 0, daySd: null, shotSd: null, sensorError: null },
  ...{ minimalDetectableChange95: null, notes: [] },
};

test('what is open is told at home without a wish for more shots', () => {
  const measure = shownMeasure('pauseS', { units: 'metric', spin: 'rev/s' });
  expect(verdictInWords(open, measure, 0.05)).toEqual(['Not enough shots yet to say.']);
  const [atHome] = verdictInWords(open, measure, 0.05, 'parent');
  expect(atHome).toMatch(/^It is too early to say/);
  expect(atHome).not.toMatch(/enough shots/i);
});
