import { expect, it } from 'vitest';
import { prove } from './hub-workers.ts';

it('several workers of a hub give what one gives (a part of the proof)', async (context) => {
  const figures = await prove({ commit: 'unknown', seed: (label) => 7 + label.length, scale: 0.04, say: () => {} });
  if ('skipped' in figures) return context.skip(String(figures.skipped));
  const { goals = [] } = figures;
  expect(goals.length).toBe(5);
  for (const { goal, figure, met } of goals) expect(met, `${goal}: ${figure}`).toBe(true);
});
