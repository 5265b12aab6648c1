import { expect, it } from 'vitest';
import { prove } from './big-file.ts';

it('a long recording is read within bounded memory (a fiftieth of the proof)', async () => {
  const { goals = [] } = await prove({ commit: 'unknown', seed: () => 20_262, scale: 0.02, say: () => {} });
  expect(goals.length).toBeGreaterThanOrEqual(5);
  for (const { goal, figure, atLeast, atMost, met } of goals) {
    expect(met, `${goal}: ${figure}, expected ${atLeast ?? ''} to ${atMost ?? ''}`).toBe(true);
  }
});
