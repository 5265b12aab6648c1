import type { ImuBlock } from '../../src/foundation/imu-block.ts';
import { SensorChain } from '../../src/live/notification-chain.ts';
import { initialQuietRunState, quietRunParameters, stepQuietRun } from '../../src/shots/ball/quiet-runs.ts';
import { defaultBallSettings } from '../../src/shots/shot.ts';
import { practiceNotifications, practiceSamples } from '../helpers/bench-practice.ts';
import { trackBlock } from '../helpers/play-practice.ts';
import type { BenchRow } from './bench.ts';

const rateHz = 200;
const actCount = 24;

/**
 * Finding free flights and the whole analysis, on one core. Baseline: one pass over the same numbers. Seed `bench ball`,
 * 24 acts (shots, and one decoy in three) of some ten seconds each at 200 Hz.
 */
export async function rows(): Promise<readonly BenchRow[]> {
  const { block, traits } = practiceSamples('bench ball', actCount, rateHz);
  const { description, notifications } = practiceNotifications('bench ball', actCount, rateHz);
  const recordingS = (block.timeS[block.length - 1] as number) - (block.timeS[0] as number);
  const common = { amount: block.length, amountOf: 'samples', recordingS };
  return [
    { ...common, name: 'add up all numbers', baseline: true, run: () => addUp(block) },
    { ...common, name: 'segmentation: quiet runs only', run: () => quietRuns(block) },
    {
      ...common,
      name: 'whole analysis of a recording, from samples',
      run: () => trackBlock(block, traits, defaultBallSettings, false),
    },
    {
      ...common,
      name: 'the same with the first estimates that live shots have',
      run: () => trackBlock(block, traits, defaultBallSettings),
    },
    {
      ...common,
      name: 'whole analysis of a recording, from notifications',
      run: () => {
        const ballSettings = defaultBallSettings;
        const chain = new SensorChain({ sensorName: 'bench', description, ballSettings, firstEstimates: false });
        let events = 0;
        for (const { bytes, hostTimeS } of notifications) events += chain.push(bytes, hostTimeS).length;
        return events + chain.finish().length;
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

function quietRuns(block: ImuBlock): number {
  const state = initialQuietRunState();
  const back = Math.max(1, Math.round(quietRunParameters.baselineS * rateHz));
  let runs = 0;
  for (let i = 0; i < block.length; i++) if (stepQuietRun(state, block, i, i, back)) runs++;
  return runs;
}
