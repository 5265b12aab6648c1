import { expect, test } from 'vitest';
import { loadClients } from './client-load.ts';

test('pages that read get every shot once and in order, whatever others do that stand still (a small part of the proof)', async () => {
  const plan = {
    counts: { steady: 12, stopped: 3, slow: 3, returning: 4, late: 3 },
    processes: 1,
    shotsPerS: 150,
    stored: false,
  };
  const figures = await loadClients({ ...plan, durationS: 10 }, () => {});
  expect(figures).toMatchObject({
    ...{ shots: 1550, overtaken: 0, stale: 0, doubled: 0, missed: 0, behind: 0, lateWithout: 0, cutReaders: 0 },
  });
  // So much came that what stood still stopped the service's hand, and no more than the mark waited for it.
  expect(figures.mostWaitingBytes).toBeGreaterThanOrEqual(64 * 1024);
  expect(figures.mostWaitingBytes).toBeLessThanOrEqual(80 * 1024);
  expect(figures.timed).toBeGreaterThan(100);
});
