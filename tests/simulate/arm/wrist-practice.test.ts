import { describe, expect, it } from 'vitest';
import {
  drawWristPlan,
  drawWristShot,
  pairedDecoyKinds,
  wristDecoyKinds,
} from '../../../src/simulate/arm/wrist-plan.ts';
import { simulatePairedPractice, simulateWristPractice } from '../../../src/simulate/arm/wrist-practice.ts';
import { wristMeasureNames } from '../../../src/simulate/arm/wrist-practice-truth.ts';
import { Random } from '../../../src/simulate/random.ts';
import { drawSensor } from '../../../src/simulate/sensor-model.ts';

const small = (seed: string) => drawWristPlan(seed, { shots: 3, decoys: 3 });

describe('a simulated wrist practice', () => {
  it('is the same bit for bit for a seed, and another for another', () => {
    const [one, two] = [1, 2].map(() => simulateWristPractice({ seed: 'same', plan: small('same') })) as [
      ReturnType<typeof simulateWristPractice>,
      ReturnType<typeof simulateWristPractice>,
    ];
    expect(two.truth).toEqual(one.truth);
    expect(Buffer.from(two.block.accelMps2.buffer).equals(Buffer.from(one.block.accelMps2.buffer))).toBe(true);
    const other = simulateWristPractice({ seed: 'other', plan: small('other') });
    expect(other.truth).not.toEqual(one.truth);
  });

  it('tells times that rise and finite measures', () => {
    for (const seed of ['times 1', 'times 2', 'times 3']) {
      const { truth, block } = simulateWristPractice({ seed, plan: small(seed) });
      expect(truth.shots.map((shot) => shot.index)).toEqual([0, 1, 2]);
      for (const shot of truth.shots) {
        const times = [shot.pickupS, shot.liftS, shot.releaseS].filter((t): t is number => t !== null);
        expect(times.toSorted((a, b) => a - b)).toEqual(times);
        expect(Object.keys(shot.measures).sort()).toEqual([...wristMeasureNames].sort());
        for (const { value } of Object.values(shot.measures)) {
          if (value !== null) expect(Number.isFinite(value)).toBe(true);
        }
        if (shot.takeOffS !== null && shot.landingS !== null) expect(shot.landingS).toBeGreaterThan(shot.takeOffS);
      }
      expect(block.accelMps2.every(Number.isFinite)).toBe(true);
      expect(block.gyroRadps?.every(Number.isFinite)).toBe(true);
    }
  });

  it('plays every decoy', () => {
    const plan = drawWristPlan('decoys', { shots: 0, decoys: 0 });
    const acts = wristDecoyKinds.map(
      (kind) => drawWristPlan(kind, { shots: 0, decoys: 1, showShare: 0, decoyKinds: [kind] }).acts[0],
    );
    const { truth, block } = simulateWristPractice({
      seed: 'decoys',
      plan: { ...plan, acts: acts.filter((act) => act !== undefined) },
    });
    expect(truth.decoys.map((decoy) => decoy.kind)).toEqual([...wristDecoyKinds]);
    expect(truth.shots).toEqual([]);
    expect(block.accelMps2.every(Number.isFinite)).toBe(true);
  });

  it('gives an accelerometer alone', () => {
    const plan = drawWristPlan('no gyro', { shots: 1, decoys: 0 });
    const { block, traits } = simulateWristPractice({ seed: 'no gyro', plan, hasGyro: false });
    expect(block.gyroRadps).toBeNull();
    expect(traits.gyroRangeRadps).toBeNull();
  });

  it('loses what it is told to lose around an event', () => {
    const plan = drawWristPlan('loss', { shots: 1, decoys: 0 });
    const sensor = drawSensor('loss', { lossShare: 0 });
    const { block, truth } = simulateWristPractice({
      seed: 'loss',
      plan,
      sensor,
      eventLosses: [{ shot: 0, event: 'release', beforeS: 0.02, afterS: 0.02 }],
    });
    for (const t of block.timeS) expect(Math.abs(t - (truth.shots[0]?.releaseS as number))).toBeGreaterThan(0.0195);
  });
});

describe('a paired practice', () => {
  it('has the same shots in both truths, and the ball that the ball simulator alone gives', () => {
    const plan = drawWristPlan('pair', { shots: 3, decoys: 2, decoyKinds: pairedDecoyKinds });
    const { ball, wrist } = simulatePairedPractice({ seed: 'pair', plan });
    expect(ball.truth.shots).toHaveLength(3);
    ball.truth.shots.forEach((shot, i) => {
      const worn = wrist.truth.shots[i];
      expect(worn?.startKind).toBe(shot.startKind);
      expect(worn?.measures.backspinRps).toEqual(shot.measures.backspinRps);
      expect((worn?.releaseS as number) - (worn?.pickupS as number)).toBeCloseTo(
        shot.releaseS - (shot.pickupS as number),
        3,
      );
    });
    // Releases lie apart on both clocks by the same times, but for the drift of two crystals.
    for (let i = 1; i < 3; i++) {
      const apart = (shots: readonly { releaseS: number }[]) =>
        (shots[i]?.releaseS as number) - (shots[i - 1]?.releaseS as number);
      expect(Math.abs(apart(ball.truth.shots) / apart(wrist.truth.shots) - 1)).toBeLessThan(2e-4);
    }
  });

  it('refuses moves whose ball is not simulated', () => {
    const plan = drawWristPlan('layup', { shots: 0, decoys: 1, decoyKinds: ['layup'] });
    expect(() => simulatePairedPractice({ seed: 'layup', plan })).toThrow('pairedDecoyKinds');
  });
});

describe('a drawn shot', () => {
  it('keeps what is fixed', () => {
    const { player } = drawWristPlan('fixed', { shots: 0, decoys: 0 });
    const shot = drawWristShot(new Random('fixed'), player, { ball: { spinRps: 1.5 }, arm: { jumpMps: 0 } });
    expect(shot.ball.spinRps).toBe(1.5);
    expect(shot.arm.jumpMps).toBe(0);
  });
});
