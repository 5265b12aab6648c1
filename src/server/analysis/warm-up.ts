import { SensorChain } from '../../live/notification-chain.ts';
import { decodeSensorDescription } from '../../protocol/sensor-description.ts';
import type { BallSettings } from '../../shots/shot.ts';
import { drawPracticePlan } from '../../simulate/draw-plan.ts';
import { encodePractice } from '../../simulate/encoded-practice.ts';
import { drawSensor } from '../../simulate/sensor-model.ts';

const seed = 'warm-up';
const shotCount = 6;

/**
 * Leads a few made-up shots through a chain that nobody listens to. Code that has run before runs several times
 * faster: without this the first shot of a practice would come a few tenths of a second late. Works in short turns
 * between which everything else goes on.
 *
 * @returns stops it.
 */
export function warmUpAnalysis(settings: BallSettings): () => void {
  let stopped = false;
  let timer: NodeJS.Timeout | undefined;
  const packets = playThrough(settings);
  const turn = (): void => {
    if (stopped || packets.next().done) return;
    timer = setTimeout(turn, 0);
    timer.unref();
  };
  turn();
  return () => {
    stopped = true;
    clearTimeout(timer);
  };
}

function* playThrough(settings: BallSettings): Generator<void> {
  const acts = drawPracticePlan(seed, { shots: shotCount, decoys: 0 });
  const { description, chunks } = encodePractice({ seed, acts, sensor: drawSensor(seed) });
  const chain = new SensorChain({
    sensorName: seed,
    description: decodeSensorDescription(description),
    ballSettings: settings,
  });
  for (const { notifications } of chunks) {
    yield;
    for (const { bytes, hostTimeS } of notifications) {
      // Nearly every packet is done with at once; those that complete a shot are worth a turn of their own.
      if (chain.push(bytes, hostTimeS).some((event) => event.kind !== 'block')) yield;
    }
  }
}
