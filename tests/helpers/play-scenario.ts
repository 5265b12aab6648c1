import { type BallSettings, defaultBallSettings, type RejectedFlight, type Shot } from '../../src/shots/shot.ts';
import { simulatePractice } from '../../src/simulate/practice.ts';
import type { PracticeTruth, ShotTruth } from '../../src/simulate/practice-truth.ts';
import { scenarioPractice } from '../../src/simulate/scenarios.ts';
import { filterDelayS } from '../../src/simulate/sensor-model.ts';
import { gapsOf } from './gap-rule.ts';
import { trackBlock } from './play-practice.ts';
import { addToScore, emptyScore, type Score } from './score-shots.ts';

/** A named scenario, analysed: each true shot with the reported one, and whatever else was reported. */
export interface PlayedScenario {
  readonly truth: PracticeTruth;
  readonly score: Score;
  readonly rejected: readonly RejectedFlight[];
  /** @throws Error where the shot was not found. */
  readonly shot: (index: number) => { readonly told: Shot; readonly truth: ShotTruth };
}

export function playScenario(name: string, settings: Partial<BallSettings> = {}): PlayedScenario {
  const { block, truth, traits, sensor } = simulatePractice(scenarioPractice(name));
  const events = trackBlock(block, traits, { ...defaultBallSettings, ...settings });
  const shots = events.flatMap((event) => (event.kind === 'shot' && event.shot.stage === 'final' ? [event.shot] : []));
  const score = emptyScore();
  const matches = addToScore(score, truth, shots, gapsOf(block, filterDelayS(sensor), sensor.rateHz));
  return {
    truth,
    score,
    rejected: events.flatMap((event) => (event.kind === 'rejected' ? [event.rejected] : [])),
    shot: (index) => {
      const told = matches[index];
      const true_ = truth.shots[index];
      if (!told || !true_) throw new Error(`shot ${index} of the scenario ${name} was not found`);
      return { told, truth: true_ };
    },
  };
}
