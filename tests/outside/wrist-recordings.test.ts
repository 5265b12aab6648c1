/**
 * SOURCE: UTD-MHAD, Chen, Jafari and Kehtarnavaz, ICIP 2015.
 * MADE BY: others, a wrist sensor at 50 Hz; action 7 is "basketball shooting", very likely mimed.
 * LICENCE: not stated in the copy; read by path, not part of the project.
 * TOLERANCE: counts; one motion in eight may be missed and three of forty other actions may be taken for a shot. Subjects 1 and 2 were
 * looked at while the parameters were set, subjects 3 and 4 were kept back. Of those the present parameters find 4 of 8: the
 * test of that goal is expected to fail, and fails itself once it is met.
 */
import { describe, expect, it } from 'vitest';
import { mimedFiles, runMimed } from '../helpers/mimed-shots.ts';

const leastRight = 7;
const mostWrong = 3;

function counts(subjects: readonly number[]) {
  const results = mimedFiles(subjects).map((file) => runMimed(file, true));
  const shooting = results.filter((r) => r.isShooting);
  const others = results.filter((r) => !r.isShooting);
  expect(shooting).toHaveLength(8);
  expect(others).toHaveLength(40);
  const right = shooting.filter((r) => r.shots === 1).length;
  return { right, wrong: others.filter((r) => r.shots > 0).length };
}

describe.skipIf(mimedFiles([1]).length === 0)('mimed shots', () => {
  it('of subjects seen are found once each, and other actions are no shots', () => {
    const { right, wrong } = counts([1, 2]);
    expect(right).toBeGreaterThanOrEqual(leastRight);
    expect(wrong).toBeLessThanOrEqual(mostWrong);
  });

  it('of subjects kept back are not taken for other actions', () => {
    expect(counts([3, 4]).wrong).toBeLessThanOrEqual(mostWrong);
  });

  it.fails('of subjects kept back are found once each', () => {
    expect(counts([3, 4]).right).toBeGreaterThanOrEqual(leastRight);
  });
});
