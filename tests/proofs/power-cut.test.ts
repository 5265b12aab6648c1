import { expect, it } from 'vitest';
import { prove } from './power-cut.ts';

it('a loss of power loses nothing that was told (a part of the proof)', async (context) => {
  const figures = await prove({ commit: 'unknown', seed: () => 20_268, scale: 0.05, say: () => {} });
  if ('skipped' in figures) return context.skip(`skipped: ${figures.skipped}`);
  const { goals = [] } = figures;
  expect(goals.length).toBeGreaterThanOrEqual(6);
  for (const { goal, figure, atLeast, atMost, met } of goals) {
    expect(met, `${goal}: ${figure}, expected ${atLeast ?? ''} to ${atMost ?? ''}`).toBe(true);
  }
});
