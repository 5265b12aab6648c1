import type { Clock } from '../foundation/clock.ts';
import { drawPracticePlan } from '../simulate/draw-plan.ts';
import { encodePractice } from '../simulate/encoded-practice.ts';
import type { ActPlan } from '../simulate/practice-plan.ts';
import { drawSensor, type SensorModel } from '../simulate/sensor-model.ts';
import { SimulatedBall, type SimulatedPractice } from './simulated-ball.ts';

export interface SimulatedShooterOptions {
  readonly clock: Clock;
  /** The same seed gives the same sensor and the same practices. */
  readonly seed: number;
  readonly sampleRateHz?: number;
}

const shotsPerPractice = 20;
const decoysPerPractice = 8;

/** @returns a ball sensor in the hands of a simulated shooter who never stops practising. */
export function createSimulatedBall({ clock, seed, sampleRateHz = 416 }: SimulatedShooterOptions): SimulatedBall {
  const sensor = drawSensor(`live ${seed}`, { rateHz: sampleRateHz });
  return new SimulatedBall({
    clock,
    sensorId: sensor.sensorId,
    makePractice: (practiceIndex) => makePractice(sensor, `live ${seed} practice ${practiceIndex}`, practiceIndex),
  });
}

/** The sensor starts anew with every practice. */
function makePractice(drawn: SensorModel, seed: string, practiceIndex: number): SimulatedPractice {
  const sensor = { ...drawn, link: { ...drawn.link, startNumber: practiceIndex % 256 } };
  const plan = drawPracticePlan(seed, { shots: shotsPerPractice, decoys: decoysPerPractice });
  const { description, chunks } = encodePractice({ seed, acts: withShotFirst(plan), sensor });
  return { description, notifications: fromPracticeStart(chunks, sensor.link.hostStartS) };
}

/** Whoever starts the program for the first time should not wait through a decoy. */
function withShotFirst(plan: readonly ActPlan[]): ActPlan[] {
  const first = plan.findIndex((act) => act.kind === 'shot');
  return [...plan.slice(first), ...plan.slice(0, first)];
}

/** Each act is played only when its first packet is due. */
function* fromPracticeStart(chunks: ReturnType<typeof encodePractice>['chunks'], hostStartS: number) {
  for (const { notifications } of chunks) {
    for (const { bytes, hostTimeS } of notifications) yield { bytes, hostTimeS: hostTimeS - hostStartS };
  }
}
