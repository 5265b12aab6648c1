import { readFileSync } from 'node:fs';
import path from 'node:path';
import { expect, test } from 'vitest';
import { provedRates } from '../../src/dashboard/coaching/proved-rates.ts';
import { projectRoot } from '../helpers/project-root.ts';

interface Verdicts {
  readonly figures: {
    readonly goals: readonly { readonly goal: string; readonly figure: number }[];
    readonly drills: readonly { readonly case: string; readonly changed: number }[];
    readonly watch: { readonly faultlessNamed: number; readonly atEdgeNamed: number };
  };
}

test('the page tells the rates that were proved', () => {
  const file = path.join(projectRoot, 'tests', 'proofs', 'coaching-verdicts.json');
  const { figures } = JSON.parse(readFileSync(file, 'utf8')) as Verdicts;
  expect(provedRates.faultlessNamed).toBe(figures.watch.faultlessNamed);
  expect(provedRates.atEdgeNamed).toBe(figures.watch.atEdgeNamed);
  for (const { players, told } of provedRates.falseVerdicts) {
    expect(told, players).toBe(figures.goals.find(({ goal }) => goal === `false alarms, ${players}`)?.figure);
  }
  for (const { worth, told } of provedRates.drillPower) {
    expect(told, `worth ${worth}`).toBe(figures.drills.find((one) => one.case === `worth ${worth}`)?.changed);
  }
});
