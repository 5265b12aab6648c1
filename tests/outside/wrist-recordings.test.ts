/**
 * SOURCE: UTD-MHAD, Chen, Jafari and Kehtarnavaz, ICIP 2015.
 * MADE BY: others, a wrist sensor at 50 Hz; action 7 is "basketball shooting", very likely mimed.
 * LICENCE: not stated in the copy; read by path, not part of the project.
 * TOLERANCE: counts. Subjects 1 and 2 were looked at while the parameters were set; of subjects 3 and 4, kept back, one motion in
 * eight may be missed and three of forty other actions may be taken for a shot.
 */
import { describe, expect, it } from 'vitest';
import { mimedFiles, runMimed } from '../helpers/mimed-shots.ts';

describe.each([
  ['seen', [1, 2], 8, 0],
  ['kept back', [3, 4], 7, 3],
] as const)('mimed shots of subjects %s', (_, subjects, leastRight, mostWrong) => {
  const files = mimedFiles(subjects);
  it.skipIf(files.length === 0)('are found once each, and other actions are no shots', () => {
    const results = files.map((file) => runMimed(file, true));
    const shooting = results.filter((r) => r.isShooting);
    const others = results.filter((r) => !r.isShooting);
    expect(shooting).toHaveLength(8);
    expect(others).toHaveLength(40);
    expect(shooting.filter((r) => r.shots === 1).length).toBeGreaterThanOrEqual(leastRight);
    expect(others.filter((r) => r.shots > 0).length).toBeLessThanOrEqual(mostWrong);
  });
});
