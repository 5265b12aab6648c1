import type { ImuBlock } from '../../src/foundation/imu-block.ts';
import { defaultWristSettings } from '../../src/shots/shot.ts';
import { WristTracker } from '../../src/shots/wrist/wrist-tracker.ts';
import { drawWristPlan } from '../../src/simulate/arm/wrist-plan.ts';
import { simulateWristPractice } from '../../src/simulate/arm/wrist-practice.ts';
import type { BenchRow } from './bench.ts';

/**
 * The whole wrist path on one core. Baseline: one pass over the same numbers. Seed `bench wrist`, ten shots and ten decoys
 * at 200 Hz.
 */
export async function rows(): Promise<readonly BenchRow[]> {
  const plan = drawWristPlan('bench wrist', { shots: 10, decoys: 10 });
  const { block, traits } = simulateWristPractice({ seed: 'bench wrist', plan });
  const recordingS = (block.timeS[block.length - 1] as number) - (block.timeS[0] as number);
  const common = { amount: block.length, amountOf: 'samples', recordingS };
  return [
    { ...common, name: 'add up all numbers', baseline: true, run: () => addUp(block) },
    {
      ...common,
      name: 'whole wrist analysis, from samples',
      run: () => {
        const tracker = new WristTracker(traits, defaultWristSettings);
        return tracker.push(block).length + tracker.finish().length;
      },
    },
  ];
}

function addUp(block: ImuBlock): number {
  let sum = 0;
  const gyro = block.gyroRadps as Float64Array;
  for (let i = 0; i < 3 * block.length; i++) sum += (block.accelMps2[i] as number) + (gyro[i] as number);
  return sum;
}
