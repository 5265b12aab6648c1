import type { SensorNotification } from '../../src/foundation/sensor-notification.ts';
import { decodeSensorDescription, type SensorDescription } from '../../src/protocol/sensor-description.ts';
import { drawEndlessPlan } from '../../src/simulate/draw-plan.ts';
import { encodePractice } from '../../src/simulate/encoded-practice.ts';
import { type SimulatedPractice, simulatePractice } from '../../src/simulate/practice.ts';
import type { ActPlan } from '../../src/simulate/practice-plan.ts';
import { drawSensor } from '../../src/simulate/sensor-model.ts';

/** A practice of some length for measurements of speed: shots at the pace of a real one, an act in three a decoy. */

function acts(seed: string, count: number): ActPlan[] {
  const plan = drawEndlessPlan(seed);
  const taken: ActPlan[] = [];
  for (let i = 0; i < count; i++) {
    const next = plan.next();
    if (next.done) break;
    taken.push(next.value);
    // A shooter alone fetches the ball: some ten seconds from shot to shot.
    taken.push({ kind: 'idle', durationS: 3 });
  }
  return taken;
}

export function practiceSamples(seed: string, actCount: number, rateHz: number): SimulatedPractice {
  return simulatePractice({ seed, acts: acts(seed, actCount), sensor: drawSensor(seed, { rateHz }) });
}

export interface PracticeNotifications {
  readonly description: SensorDescription;
  readonly notifications: readonly SensorNotification[];
}

export function practiceNotifications(seed: string, actCount: number, rateHz: number): PracticeNotifications {
  const sensor = drawSensor(seed, { rateHz });
  const { description, chunks } = encodePractice({ seed, acts: acts(seed, actCount), sensor });
  return {
    description: decodeSensorDescription(description),
    notifications: [...chunks].flatMap((chunk) => chunk.notifications),
  };
}
