import { smoothAttitude } from '../../src/signal/attitude-smoothing.ts';
import { estimateAttitude } from '../../src/signal/attitude-track.ts';
import { type BroadScore, readBroadTrial, scoreBroad } from '../helpers/broad-trial.ts';
import { hasOpenData } from '../helpers/open-data.ts';
import { goal, type ProofContext, type ProofFigures } from './proof.ts';

/**
 * Mean total error over all trials of the set, degrees, with a compass: the abstract of Laidig and Seel 2023,
 * Information Fusion 91:187. Published per-trial figures were not at hand.
 */
const published = { bestFilterDeg: 2.9, otherFiltersDeg: [5.3, 16.7], over: 'all trials, with magnetometer' } as const;

/**
 * Attitude on trial 07 of BROAD (fast rotation): errors as the paper of the data defines them, sample by sample and over
 * the finished recording. Nothing was fitted to the trial. The last rows take the readings as stamped
 * late by a constant, in samples of the recording, as a sensor's own filter does; that is no figure of the filter but
 * tells how much of the error is not attitude.
 */
export async function prove({ say }: ProofContext): Promise<ProofFigures> {
  if (!hasOpenData('broad')) throw new Error('the recording of BROAD is needed: set OPEN_DATA_DIR to its folder');
  const trial = readBroadTrial();
  const online = estimateAttitude(trial.block);
  const offline = smoothAttitude(trial.block);
  const rows: Record<string, BroadScore> = {
    online: scoreBroad(trial, online),
    offline: scoreBroad(trial, offline),
  };
  const stepS = 1 / 285.714;
  for (const samples of [0.5, 1, 1.5]) {
    rows[`online, sensor ${samples} samples late`] = scoreBroad(trial, online, samples * stepS);
    rows[`offline, sensor ${samples} samples late`] = scoreBroad(trial, offline, samples * stepS);
  }
  const words = (deg: number) => deg.toFixed(2).padStart(7);
  say(`${'RMSE, degrees'.padEnd(36)}  total heading inclination`);
  for (const [name, s] of Object.entries(rows)) {
    say(`${name.padEnd(36)}${words(s.totalDeg)} ${words(s.headingDeg)} ${words(s.inclinationDeg)}`);
  }
  const [least, most] = published.otherFiltersDeg;
  say(`published, ${published.over}: best ${published.bestFilterDeg} total, others ${least} to ${most}`);
  return {
    recording: 'BROAD trial 07, 285.714 Hz',
    skipped: 0,
    published,
    rows,
    goals: [
      goal('inclination RMSE online, degrees', rows.online!.inclinationDeg, { atMost: 4 }),
      goal('inclination RMSE off-line, degrees', rows.offline!.inclinationDeg, { atMost: 4 }),
    ],
  };
}
