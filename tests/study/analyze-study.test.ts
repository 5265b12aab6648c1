import { describe, expect, it } from 'vitest';
import { Random } from '../../src/simulate/random.ts';
import { analyzeStudy } from '../../src/study/analyze-study.ts';
import { isInsufficient } from '../../src/study/checks.ts';
import type { StudySet } from '../../src/study/study-units.ts';
import { type MadeStudySpec, makeStudy } from './made-study.ts';

const spec: MadeStudySpec = {
  players: 4,
  days: 6,
  shotsASet: 20,
  conditions: { hop: { chance: 0.45, level: 0 }, step: { chance: 0.45, level: 0 } },
  playerSd: 1,
  daySd: 0.7,
  serial: 0.3,
};

function study(label: string, more: Partial<MadeStudySpec> = {}, margin = 0.5) {
  const random = new Random(label);
  const sets = makeStudy({ ...spec, ...more }, random);
  return analyzeStudy(sets, { margins: { measure: margin }, measures: ['measure'], random, draws: 999 });
}

describe('a study of two conditions', () => {
  it('finds a difference, with its size', () => {
    const result = study('differ', {
      conditions: { hop: { chance: 0.6, level: 1 }, step: { chance: 0.35, level: 0 } },
    });
    expect(result.comparisons.map(({ answer }) => answer)).toEqual(['differ', 'differ']);
    const [makes, measure] = result.comparisons;
    if (isInsufficient(makes!.difference) || isInsufficient(measure!.difference)) throw new Error('expected numbers');
    expect(makes!.difference.interval[0]).toBeLessThan(0.25);
    expect(makes!.difference.interval[1]).toBeGreaterThan(0.2);
    expect(measure!.difference.interval[0]).toBeLessThan(1);
    expect(measure!.difference.interval[1]).toBeGreaterThan(1);
    expect(makes!.asIfIndependent!.fisher.pTwoSided).toBeLessThan(0.001);
    expect(isInsufficient(measure!.byPlayer)).toBe(false);
    expect(result.makes.map(({ attempts }) => attempts)).toEqual([480, 480]);
    expect(result.notes).toEqual([]);
  });

  it('says "the same" where it can be shown, and leaves open what cannot', () => {
    const [makes, measure] = study('same', { days: 12 }).comparisons;
    expect(measure!.answer).toBe('same');
    expect(makes!.answer).toBe('open');
  });

  it('holds the rate of false alarms though days and shots hang together', () => {
    const runs = 400;
    let alarms = 0;
    for (let run = 0; run < runs; run++) {
      const { comparisons } = study(`null ${run}`, { players: 2, shotsASet: 8, daySd: 2, serial: 0.5 });
      if (comparisons.some(({ answer }) => answer === 'differ' || answer === 'differ-within-margin')) alarms++;
    }
    // Two comparisons together at 5 %, Holm: standard error of 400 runs 1.1 %.
    expect(alarms / runs).toBeLessThan(0.05 + 3 * 0.011);
  });

  it('adjusts for the number of comparisons', () => {
    const conditions = Object.fromEntries(['a', 'b', 'c', 'd'].map((name) => [name, { chance: 0.45, level: 0 }]));
    const { comparisons } = study('many', { conditions });
    expect(comparisons).toHaveLength(12);
    for (const { permutation, adjustedP } of comparisons) {
      if (isInsufficient(permutation)) throw new Error(permutation.reason);
      expect(adjustedP!).toBeGreaterThanOrEqual(permutation.pTwoSided);
    }
  });
});

describe('less than everything', () => {
  const random = new Random('totals');
  const whole = makeStudy(spec, random);

  it('totals alone answer makes, and say what they cannot', () => {
    const totals = whole.map((set): StudySet => ({ ...set, outcomes: null, values: {} }));
    const result = analyzeStudy(totals, { margins: {}, measures: ['measure'], random, draws: 999 });
    expect(result.notes).toEqual(['totals-only']);
    expect(isInsufficient(result.streaks)).toBe(true);
    expect(isInsufficient(result.comparisons[0]!.permutation)).toBe(false);
    expect(isInsufficient(result.comparisons[1]!.difference)).toBe(true);
    expect(result.comparisons[1]!.answer).toBe('open');
  });

  it('conditions on different days are compared as such, with a word of warning', () => {
    const apart = whole.filter(({ day, condition }) => (day % 2 === 0) === (condition === 'hop'));
    const result = analyzeStudy(apart, { margins: {}, measures: [], random, draws: 999 });
    expect(result.comparisons[0]!.design).toBe('between-days');
    expect(result.notes).toContain('between-days');
  });

  it('one player is told as one player, uncounted sets as uncounted', () => {
    const one = whole
      .filter(({ player }) => player === 'Player 01')
      .map((set, i): StudySet => (i === 0 ? { ...set, makes: null, outcomes: null } : set));
    const { notes } = analyzeStudy(one, { margins: {}, measures: [], random, draws: 999 });
    expect(notes).toContain('one-player');
    expect(notes).toContain('no-makes');
  });

  it('refuses what cannot be, with the set and what was expected', () => {
    const run = (sets: readonly StudySet[]) => () => analyzeStudy(sets, { margins: {}, measures: [], random });
    const set = whole[0]!;
    expect(run([{ ...set, makes: 21, outcomes: null }])).toThrow(
      'makes of set 1 (hop, day 1) = 21: expected a whole number from 0 to 20',
    );
    expect(run([{ ...set, outcomes: [true] }])).toThrow('expected 20, one a shot, got 1');
    expect(run([{ ...set, makes: 0, outcomes: set.outcomes!.map(() => true) }])).toThrow('the total says 0');
    expect(run([set])).toThrow('only "hop"');
    expect(run([])).toThrow('no set');
  });
});
