import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { type BlockRole, furtherDaysFor, judgeDrill, type ProofBlock } from '../../src/coaching/drill-proof.ts';
import { planFor } from '../../src/coaching/proof-plan.ts';
import { judgeRetention } from '../../src/coaching/retention.ts';
import { Random } from '../../src/simulate/random.ts';
import { levelChange, levelOfDay, lookDays, lookShares } from '../../src/study/level-change.ts';

const question = { faultSide: 1, smallestChange: 5, namedOnDay: 0 } as const;

function block(day: number, role: BlockRole, level: number, more: Partial<ProofBlock> = {}): ProofBlock {
  const random = new Random(`block ${day} ${role}`);
  const values = Array.from({ length: 15 }, () => level + random.normal(0, 2));
  return {
    day,
    role,
    values,
    standardErrors: values.map(() => 0.4),
    shots: 15,
    sensor: 'ball-1',
    condition: 'catch',
    ...more,
  };
}

/** Four days of baseline at 12, two of drill, then re-test at a level; days differ, by `spread` times a little. */
function practice(retestLevel: number, retestDays = 4, spread = 1): ProofBlock[] {
  const form = (day: number) => spread * [0.4, -0.6, 0.2, -0.1, 0.5, -0.4][day % 6]!;
  const days = Array.from({ length: 6 + retestDays }, (_, i) => i + 1);
  return days.map((day) => {
    const role = day <= 4 ? 'baseline' : day <= 6 ? 'drill' : 'retest';
    return block(day, role, (role === 'retest' ? retestLevel : 12) + form(day));
  });
}

describe('the verdict on a drill', () => {
  it('tells a change for the better, for the worse, and none', () => {
    expect(judgeDrill(question, practice(3)).verdict).toBe('changed');
    expect(judgeDrill(question, practice(21)).verdict).toBe('worse');
    expect(judgeDrill(question, practice(12)).verdict).toBe('not-changed');
    expect(judgeDrill(question, practice(9, 4, 6)).verdict).toBe('not-enough');
    const lacking = { ...question, faultSide: -1 } as const;
    expect(judgeDrill(lacking, practice(21)).verdict).toBe('changed');
  });

  it('says by how much, how sure, and from what', () => {
    const result = judgeDrill(question, practice(3));
    expect(result.change).toBeCloseTo(-9, 0);
    expect(result.interval![0]).toBeLessThan(result.change!);
    expect(result.interval![1]).toBeLessThan(-0.2 * question.smallestChange);
    expect(result.decidedAtLook).toBe(1);
    expect(result.matters).toBe('yes');
    expect(judgeDrill(question, practice(9.5)).matters).toBe('no');
    expect(result.sensorError).toBeCloseTo(0.4, 9);
    expect(result.shotSd).toBeGreaterThan(1);
    expect(result.minimalDetectableChange95).toBeCloseTo(1.96 * Math.SQRT2 * result.daySd!, 9);
  });

  it('has nothing to say before four days of baseline and of re-test', () => {
    const all = practice(3);
    for (let count = 0; count < 10; count++) {
      const result = judgeDrill(question, all.slice(0, count));
      expect(result.verdict).toBe('not-enough');
      expect(result.change).toBeNull();
    }
    expect(judgeDrill(question, all.slice(0, 2)).notes).toEqual(['baseline-missing', 'retest-missing']);
    expect(judgeDrill(question, [...all.slice(0, 3), ...all.slice(4)]).notes).toContain('baseline-too-few');
  });

  it('never counts the practice that chose the player, nor one before', () => {
    const early = practice(3).map((one) => ({ ...one, day: one.day - 2 }));
    const result = judgeDrill(question, early);
    expect(result.baselineDays).toBe(2);
    expect(result.notes).toContain('block-too-early');
  });

  it('leaves an open block out: a look in the middle of it changes nothing', () => {
    const done = practice(3, 4);
    const before = judgeDrill(question, done);
    fc.assert(
      fc.property(fc.array(fc.double({ min: -50, max: 50, noNaN: true }), { maxLength: 14 }), (values) => {
        const open = block(11, 'retest', 0, {
          values,
          standardErrors: values.map(() => 0.4),
          shots: values.length,
        });
        const during = judgeDrill(question, [...done, open]);
        expect({ ...during, notes: [] }).toEqual({ ...before, notes: [] });
        expect(during.notes).toContain('block-open');
      }),
    );
  });

  it('leaves out what cannot be compared, and says so', () => {
    const other = (more: Partial<ProofBlock>) => [...practice(3, 3), block(10, 'retest', 3, more)];
    expect(judgeDrill(question, other({ sensor: 'ball-2' })).notes).toContain('other-sensor');
    expect(judgeDrill(question, other({ condition: 'dribble' })).notes).toContain('other-condition');
    expect(judgeDrill(question, other({ values: [3, 3], standardErrors: [1, 1] })).notes).toContain('block-unmeasured');
    expect(
      judgeDrill(
        question,
        practice(3).filter(({ role }) => role !== 'drill'),
      ).notes,
    ).toContain('drill-missing');
    for (const more of [{ sensor: 'ball-2' }, { condition: 'dribble' }])
      expect(judgeDrill(question, other(more)).verdict).toBe('not-enough');
  });

  it('does not take a verdict back', () => {
    const result = judgeDrill(question, [...practice(3), block(11, 'retest', 30), block(12, 'retest', 30)]);
    expect(result.verdict).toBe('changed');
    expect(result.decidedAtLook).toBe(1);
    expect(result.looks).toBe(2);
    expect(result.daysToNextLook).toBeNull();
  });

  it('does not depend on the unit', () => {
    fc.assert(
      fc.property(
        fc.double({ min: 0.01, max: 100, noNaN: true }),
        fc.double({ min: 0, max: 24, noNaN: true }),
        (k, level) => {
          const blocks = practice(level);
          const scaled = blocks.map((one) => ({
            ...one,
            values: one.values.map((value) => k * value),
            standardErrors: one.standardErrors.map((value) => k * value),
          }));
          const result = judgeDrill(question, blocks);
          const other = judgeDrill({ ...question, smallestChange: 5 * k }, scaled);
          expect(other.verdict).toBe(result.verdict);
          expect(other.change! / k).toBeCloseTo(result.change!, 8);
        },
      ),
    );
  });
});

describe('what would settle it', () => {
  it('is days ahead, none where it is settled, and nothing where no dozen of days would do', () => {
    expect(furtherDaysFor(question, practice(3))).toBe(0);
    expect(furtherDaysFor(question, practice(3, 2))).toBeNull();
    expect(furtherDaysFor(question, practice(4, 4, 6))).toBe(2);
    expect(judgeDrill(question, practice(4, 4, 6)).daysToNextLook).toBe(2);
    expect(furtherDaysFor(question, practice(9, 4, 20))).toBeNull();
  });

  it('is told to the coach alone for players under fourteen or of unknown age', () => {
    expect(planFor(question, practice(9), 12).audience).toBe('coach');
    expect(planFor(question, practice(9), null).audience).toBe('coach');
    expect(planFor(question, practice(9), 14).audience).toBe('coach-and-player');
  });

  it('is a plan in weeks with the caution, never more shots now', () => {
    const open = planFor(question, practice(3).slice(0, 2), 16);
    expect(open.weeks).toBe(1);
    expect(open.sentence).toContain('2 more practices');
    expect(open.caution).toContain('Never more shots today');
    expect(planFor(question, practice(3), 16).weeks).toBe(0);
    expect(planFor(question, practice(3).slice(0, 8), 16).sentence).toContain('re-test');
    const hasty = practice(3).filter(({ day }) => day > 2);
    expect(planFor(question, hasty, 16)).toMatchObject({ weeks: null });
  });
});

describe('retention', () => {
  const later = (level: number, from = 20) => [0, 1, 2, 3].map((i) => block(from + i, 'retention', level));

  it('tells what was kept and what was lost', () => {
    expect(judgeRetention(question, [...practice(3), ...later(3.5)]).state).toBe('kept');
    expect(judgeRetention(question, [...practice(3), ...later(12.2)]).state).toBe('lost');
    expect(judgeRetention(question, [...practice(3), ...later(3).slice(0, 2)]).state).toBe('not-enough');
  });

  it('is not due within five days of the last drill', () => {
    expect(judgeRetention(question, [...practice(3), ...later(3, 7)]).daysWithout).not.toBe(1);
    expect(judgeRetention(question, practice(3)).state).toBe('not-due');
  });
});

describe('the change of a level between days', () => {
  it('is the pooled t test where days do not hang together', () => {
    const day = (place: number, level: number) => ({ place, level, samplingError: 0, shots: 15 });
    const before = [1, 2, 4, 3].map((level, i) => day(i, level));
    const after = [5, 7, 6].map((level, i) => day(10 + i, level));
    const found = levelChange(before, after, 0);
    // Pooled variance (5 + 2) / 5, by hand.
    expect(found.change).toBeCloseTo(3.5, 12);
    expect(found.standardError).toBeCloseTo(Math.sqrt((7 / 5) * (1 / 4 + 1 / 3)), 12);
    expect(found.df).toBe(5);
    expect(levelChange(before, after, 0.3).standardError).toBeGreaterThan(found.standardError);
  });

  it('is never surer than the shots of the days allow', () => {
    const same = Array.from({ length: 4 }, (_, place) => ({ place, level: 3, samplingError: 1, shots: 15 }));
    const later = same.map((day) => ({ ...day, place: day.place + 10 }));
    expect(levelChange(same, later, 0).standardError).toBeCloseTo(Math.sqrt(0.5), 12);
  });

  it('hardly notices a slipped ball', () => {
    const random = new Random('slip');
    const values = Array.from({ length: 15 }, () => random.normal(10, 1));
    const slipped = [...values.slice(1), 60];
    expect(Math.abs(levelOfDay(slipped, 0, 0.3).level - levelOfDay(values, 0, 0.3).level)).toBeLessThan(0.5);
  });

  it('spends one error rate over all looks', () => {
    expect(lookShares.reduce((sum, share) => sum + share, 0)).toBeCloseTo(1, 12);
    expect(lookDays(4)).toEqual([4, 6, 8, 12]);
  });
});
