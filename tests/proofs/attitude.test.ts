import { expect, it } from 'vitest';
import { hasOpenData } from '../helpers/open-data.ts';
import { prove } from './attitude.ts';

it.skipIf(!hasOpenData('broad'))('the attitude holds against cameras (the whole proof)', async () => {
  const { goals = [] } = await prove({ commit: 'unknown', seed: () => 1, scale: 1, say: () => {} });
  expect(goals).toHaveLength(2);
  for (const { goal, figure, met } of goals) expect(met, `${goal}: ${figure}`).toBe(true);
});
