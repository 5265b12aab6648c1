import { expect, it } from 'vitest';
import { prove } from './reanalysis.ts';

it('recordings are gone through again by two workers, and after a kill (a part of the proof)', async () => {
  const figures = await prove({ commit: 'unknown', seed: () => 20_268, scale: 0.02, say: () => {} });
  const { goals = [] } = figures;
  expect(goals.length).toBeGreaterThanOrEqual(6);
  for (const { goal, figure, atLeast, atMost, met } of goals) {
    expect(met, `${goal}: ${figure}, expected ${atLeast ?? ''} to ${atMost ?? ''}`).toBe(true);
  }
});
