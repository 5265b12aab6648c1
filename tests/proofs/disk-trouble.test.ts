import { expect, it } from 'vitest';
import { prove } from './disk-trouble.ts';

it('a full or read-only disk and damaged recordings lose nothing that was told (a part of the proof)', async (context) => {
  const figures = await prove({ commit: 'unknown', seed: () => 20_268, scale: 0.05, say: () => {} });
  if ('skipped' in figures) return context.skip(`skipped: ${figures.skipped}`);
  const { goals = [] } = figures;
  expect(goals.length).toBeGreaterThanOrEqual(6);
  for (const { goal, figure, atLeast, atMost, met } of goals) {
    expect(met, `${goal}: ${figure}, expected ${atLeast ?? ''} to ${atMost ?? ''}`).toBe(true);
  }
});
