import { expect, it } from 'vitest';
import { prove } from './coaching-verdicts.ts';

it('rules and verdicts hold on constructed players (a hundredth of the proof)', async () => {
  const { goals = [] } = await prove({ commit: 'unknown', seed: () => 11, scale: 0.01, say: () => {} });
  const alarms = goals.filter(({ atMost }) => atMost !== undefined);
  const power = goals.filter(({ atLeast }) => atLeast !== undefined);
  expect(alarms.length).toBeGreaterThan(8);
  expect(power.length).toBeGreaterThan(15);
  // One hundred players a row at 5 %: ten alarms would be five standard errors out.
  for (const { goal, figure } of alarms) expect(figure, goal).toBeLessThan(0.1);
  // Five players a rule here: that the power is not gone altogether.
  const found = power.reduce((sum, { figure }) => sum + figure, 0) / power.length;
  expect(found).toBeGreaterThan(0.75);
});
