import { readFileSync } from 'node:fs';
import path from 'node:path';
import { describe, expect, test } from 'vitest';
import { coachingTexts } from '../../src/dashboard/coaching/coaching-texts.ts';
import { readProvedRates } from '../../src/dashboard/coaching/read-proved-rates.ts';
import { projectRoot } from '../helpers/project-root.ts';

const file = readFileSync(path.join(projectRoot, 'tests', 'proofs', 'coaching-verdicts.json'), 'utf8');

describe('the rates that the page tells', () => {
  test('are those of the proof, each with words of its own', () => {
    const { commit, figures } = JSON.parse(file);
    const rates = readProvedRates(file);
    expect(commit.startsWith(rates.commit)).toBe(true);
    expect(rates.faultlessNamed).toBe(figures.watch.faultlessNamed);
    expect(rates.atEdgeNamed).toBe(figures.watch.atEdgeNamed);
    const drillOf = (name: string) => figures.drills.find((one: { case: string }) => one.case === name);
    expect(rates.drillPower.map(({ worth }) => worth)).toEqual([1, 1.5, 2]);
    for (const { worth, told } of rates.drillPower) expect(told).toBe(drillOf(`worth ${worth}`).changed);
    expect(rates.worsePower).toEqual([{ by: 2, told: drillOf('worse by 2').worse }]);
    expect(rates.falseVerdicts.length).toBe(5);
    for (const { players, told } of rates.falseVerdicts) {
      const goal = figures.goals.find(({ goal }: { goal: string }) => goal === `false alarms, ${players}`);
      expect(told, players).toBeCloseTo(goal.figure, 9);
      expect(coachingTexts.rates.cases, players).toHaveProperty([players]);
    }
    expect(rates.faultPower.length).toBe(figures.watch.power.length);
    for (const { fault } of rates.faultPower) expect(coachingTexts.rates.faults, fault).toHaveProperty([fault]);
    // Every row of faults has the same columns.
    const columns = rates.faultPower.map(({ beyond }) => beyond.map(({ spreads }) => spreads).join(' '));
    expect(new Set(columns).size).toBe(1);
  });

  test('change with the proof, and a file without one is refused by name', () => {
    const other = JSON.parse(file);
    other.figures.watch.faultlessNamed = 0.25;
    expect(readProvedRates(JSON.stringify(other)).faultlessNamed).toBe(0.25);
    delete other.figures.watch.atEdgeNamed;
    expect(() => readProvedRates(JSON.stringify(other))).toThrow(/faults of players at the edge: expected a share/);
  });
});
