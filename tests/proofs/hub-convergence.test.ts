import { expect, it } from 'vitest';
import { prove } from './hub-convergence.ts';

it('hub and courts agree whatever happened in between (a part of the proof)', async (context) => {
  const figures = await prove({
    commit: 'unknown',
    seed: (label) => 20_268 + label.length,
    scale: 0.06,
    say: () => {},
  });
  if ('skipped' in figures) return context.skip(String(figures.skipped));
  const { goals = [] } = figures;
  expect(goals.length).toBeGreaterThanOrEqual(9);
  for (const { goal, figure, atLeast, atMost, met } of goals) {
    expect(met, `${goal}: ${figure}, expected ${atLeast ?? ''} to ${atMost ?? ''}`).toBe(true);
  }
});
