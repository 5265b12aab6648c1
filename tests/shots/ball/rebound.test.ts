import { describe, expect, it } from 'vitest';
import { pushDirection } from '../../../src/shots/ball/rebound.ts';
import { add, cross, dot, scale, type Vec3 } from '../../../src/signal/vec3.ts';
import { playPractice } from '../../helpers/play-practice.ts';

const radiusM = 0.12;

/** Change of the angular rate of a hollow sphere, (2/3) m R², by a push at −R n. */
function turnBy(push: Vec3, normal: Vec3): Vec3 {
  return scale(cross(scale(normal, -radiusM), push), 1 / ((2 / 3) * radiusM * radiusM));
}

describe('the direction of a push', () => {
  it('is found under friction of any direction from what it did to the spin', () => {
    const normal: Vec3 = [-0.6, 0, 0.8];
    for (const friction of [
      [0, 0, 0],
      [0, 0.4, 0],
      [0.32, 0, 0.24],
      [0.2, -0.3, 0.15],
    ] as Vec3[]) {
      const push = scale(add(normal, friction), 5);
      const found = pushDirection(push, turnBy(push, normal), radiusM);
      expect(dot(found as Vec3, normal)).toBeCloseTo(1, 12);
    }
  });

  it('is not told of a push too small, or where friction would have had to be most of it', () => {
    expect(pushDirection([0.1, 0, 0.1], [0, 0, 0], radiusM)).toBeNull();
    expect(pushDirection([0, 0, 2], [0, 60, 0], radiusM)).toBeNull();
  });
});

describe('a touch too hard for the accelerometer', () => {
  const { truth, reported } = playPractice({ seed: 'hard touches', shots: 24, decoys: 4, path: 'samples' });
  const pairs = truth.shots.flatMap((shot) => {
    const told = reported.find((r) => Math.abs((r.contactS ?? -1) - (shot.contactS ?? -2)) < 0.05);
    const measure = told?.measures.contactHardnessMps;
    const value = shot.measures.contactHardnessMps.value;
    if (!told || !measure || measure.value === null || value === null || !measure.flags?.includes('clipped')) return [];
    return [{ kind: shot.contactKind, toldKind: told.contactKind, error: measure.value - value, measure, value }];
  });

  it('has its impulse by the motion before and after, where the ball was free again', () => {
    // Net and iron at once are two touches to the truth, and one told as the other is another test's.
    const seen = pairs.filter((pair) => !pair.measure.interval90 && pair.kind === pair.toldKind && pair.kind !== 'net');
    expect(seen.length).toBeGreaterThan(8);
    // Normal errors: of 20 draws one may lie beyond 2.5, none in ten thousand beyond 4.
    for (const { error, measure } of seen) expect(Math.abs(error) / measure.standardError).toBeLessThan(4);
    const typical = seen.map(({ error, value }) => Math.abs(error) / value).sort((a, b) => a - b);
    expect(typical[Math.floor(typical.length / 2)]).toBeLessThan(0.06);
  });

  it('tells boards from rings by what pushed: an upright face or a rod below', () => {
    const seen = pairs.filter((pair) => !pair.measure.interval90 && ['ring', 'board'].includes(pair.kind));
    expect(seen.filter((pair) => pair.kind !== pair.toldKind)).toEqual([]);
  });
});
