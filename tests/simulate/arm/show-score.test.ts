import { describe, expect, it } from 'vitest';
import { quatAt, row } from '../../../src/simulate/arm/arm-motion.ts';
import type { PlayedArmAct } from '../../../src/simulate/arm/play-arm.ts';
import { drawWristPlan } from '../../../src/simulate/arm/wrist-plan.ts';
import { simulateWristPractice, wristActs } from '../../../src/simulate/arm/wrist-practice.ts';
import { norm, rotate, subtract, type Vec3 } from '../../../src/simulate/vectors.ts';
import { jointAngles, rateBetween } from './joint-angles.ts';

const degree = Math.PI / 180;
const planOf = (seed: string, showShare = 1) => drawWristPlan(seed, { shots: 0, decoys: 0, showShare });
const shows = ['one', 'two', 'three', 'four', 'five', 'six', 'seven', 'eight'].map((name) => {
  const seed = `show ${name}`;
  const plan = planOf(seed);
  const [act] = [...wristActs({ seed, plan })];
  return { plan, act: act as PlayedArmAct };
});

/** Unit vector from elbow to wrist. */
function forearmLine({ trace }: PlayedArmAct, i: number): Vec3 {
  const line = subtract(row(trace.wristM, i), row(trace.elbowM, i));
  return line.map((x) => x / norm(line)) as unknown as Vec3;
}

describe('a wearer who shows the arm', () => {
  it('begins with the arm hanging, never quite upright and the elbow never quite straight', () => {
    const tilts = shows.map(({ act }) => {
      const line = forearmLine(act, 1500);
      const { elbowDeg } = jointAngles(act.trace, 1500);
      expect(180 - elbowDeg).toBeGreaterThan(5);
      expect(180 - elbowDeg).toBeLessThan(40);
      return Math.acos(-line[2]) / degree;
    });
    expect(Math.max(...tilts)).toBeLessThan(30);
    expect(Math.max(...tilts) - Math.min(...tilts)).toBeGreaterThan(3);
  });

  it('turns the forearm to and fro as often as planned, nearly but not quite about its long axis', () => {
    const offs = shows.map(({ plan, act }) => {
      const [show] = plan.acts;
      if (show?.kind !== 'show') throw new Error('expected the act');
      let [along, across] = [0, 0];
      let reversals = 0;
      let sign = 0;
      let mean: Vec3 = [0, 0, 0];
      for (let i = 5; i < act.trace.count - 5; i += 5) {
        const attitude = quatAt(act.trace.forearm, i);
        const rate = rateBetween(quatAt(act.trace.forearm, i - 1), quatAt(act.trace.forearm, i + 1), 0.002);
        if (norm(rate) < 1) continue;
        const x = rotate(attitude, [1, 0, 0]);
        const part = rate[0] * x[0] + rate[1] * x[1] + rate[2] * x[2];
        along += part ** 2;
        across += norm(rate) ** 2 - part ** 2;
        if (Math.sign(part) !== sign) reversals++;
        sign = Math.sign(part);
        mean = mean.map(
          (v, k) => v + (rotate([attitude[0], -attitude[1], -attitude[2], -attitude[3]], rate)[k] as number) * part,
        ) as unknown as Vec3;
      }
      // From the middle out, 2 × turns − 1 times across, and back to the middle.
      expect(reversals).toBeGreaterThanOrEqual(2 * show.turns);
      expect(reversals).toBeLessThanOrEqual(2 * show.turns + 2);
      expect(across / along).toBeLessThan(0.05);
      return Math.hypot(mean[1], mean[2]) / Math.abs(mean[0]) / degree;
    });
    expect(Math.max(...offs)).toBeLessThan(10);
    expect(Math.max(...offs)).toBeGreaterThan(1);
  });

  it('does so in about two practices of three, and it is no shot and no decoy', () => {
    const begins = Array.from({ length: 60 }, (_, i) => drawWristPlan(`share ${i}`, { shots: 1, decoys: 0 }).acts[0]);
    const share = begins.filter((act) => act?.kind === 'show').length / 60;
    // Three binomial standard deviations.
    expect(Math.abs(share - 2 / 3)).toBeLessThan(0.19);
    const { truth } = simulateWristPractice({ seed: 'show one', plan: planOf('show one') });
    expect([truth.shots, truth.decoys]).toEqual([[], []]);
    expect(planOf('show one', 0).acts).toEqual([]);
  });
});
