import { bandsFor } from '../../src/coaching/bands.ts';
import { judgeDrill, type ProofBlock } from '../../src/coaching/drill-proof.ts';
import { deriveWatch, initialWatch, readWatch, stepWatch } from '../../src/coaching/fault-watch.ts';
import { Random } from '../../src/simulate/random.ts';
import { analyzeStudy } from '../../src/study/analyze-study.ts';
import { MadeShooter } from '../helpers/made-shooter.ts';
import { makeStudy } from '../study/made-study.ts';
import type { BenchRow } from './bench.ts';

/**
 * Verdicts and studies. Goals: 5 ms a shot for the verdicts on faults and on a drill, 2 s for a study of 10,000 shots. Baseline:
 * adding up the numbers of the study. Seed `bench study`.
 */
export async function rows(): Promise<readonly BenchRow[]> {
  const random = new Random('bench study');
  const condition = { chance: 0.44, level: 0 };
  const sets = makeStudy(
    {
      players: 10,
      days: 20,
      shotsASet: 25,
      conditions: { hop: condition, step: condition },
      playerSd: 1,
      daySd: 0.5,
      serial: 0.2,
    },
    random,
  );
  const shooter = new MadeShooter({}, random);
  const shots = Array.from({ length: 200 }, (_, i) => shooter.shoot({ hold: i % 3 === 0, far: i % 2 === 0 }));
  const watch = deriveWatch(bandsFor(), null);
  const blocks = Array.from({ length: 20 }, (_, day): ProofBlock => {
    const values = Array.from({ length: 15 }, () => random.normal());
    const role = day < 4 ? 'baseline' : day < 8 ? 'drill' : 'retest';
    return { day, role, values, standardErrors: values.map(() => 0.1), shots: 15, sensor: 'a', condition: 'b' };
  });
  const question = { faultSide: 1, smallestChange: 1, namedOnDay: -1 } as const;
  return [
    {
      name: 'add up 10,000 shots',
      baseline: true,
      amount: 10_000,
      amountOf: 'shots',
      run: () => sets.reduce((sum, set) => sum + set.values.measure!.reduce((a, b) => a + b, 0), 0),
    },
    {
      name: 'analyse a study of 10,000 shots, two conditions, makes and one measure',
      amount: 10_000,
      amountOf: 'shots',
      run: () =>
        analyzeStudy(sets, {
          margins: { makes: 0.05, measure: 0.3 },
          measures: ['measure'],
          random: new Random('draws'),
        }),
    },
    {
      name: 'watch 200 shots for 15 faults, read after every shot',
      amount: 200,
      amountOf: 'shots',
      run: () => {
        let state = initialWatch;
        let named = 0;
        for (const shot of shots) {
          state = stepWatch(watch, state, shot);
          named += readWatch(watch, state).filter((finding) => finding.named).length;
        }
        return named;
      },
    },
    {
      name: 'judge a drill over 20 days',
      amount: 1,
      amountOf: 'verdicts',
      run: () => judgeDrill(question, blocks).verdict,
    },
  ];
}
