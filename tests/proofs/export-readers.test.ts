import { expect, it } from 'vitest';
import { readExport } from './export-readers.ts';

it('an export is read by the stock MCAP reader, and the BIDS check finds every planted fault', async () => {
  const figures = await readExport(11, 20, 1, false);
  expect(figures.recordings).toHaveLength(1);
  expect(figures.recordings[0]?.messages).toBeGreaterThan(500);
  expect(figures.ownFaults).toEqual([]);
  expect(Object.values(figures.planted).map(({ own }) => own > 0)).toEqual([true, true, true]);
});
