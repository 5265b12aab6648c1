import { SimulatedSensors } from '../../src/devices/simulated-sensors.ts';
import { systemClock } from '../../src/devices/system-clock.ts';
import type { SensorNotification } from '../../src/foundation/sensor-notification.ts';
import { drawEndlessPlan } from '../../src/simulate/draw-plan.ts';
import { encodePractice } from '../../src/simulate/encoded-practice.ts';
import { drawSensor } from '../../src/simulate/sensor-model.ts';

/** @returns several ball sensors, each in the hands of a simulated shooter of its own, in real time and without end. */
export function createSimulatedBalls(seed: string, count: number, rateHz: number): SimulatedSensors {
  const balls = Array.from({ length: count }, (_, index) => {
    const name = `${seed} ${index}`;
    return { name, sensor: drawSensor(name, { rateHz }) };
  });
  return new SimulatedSensors({
    clock: systemClock,
    sensors: balls.map(({ name, sensor }) => ({ sensorId: sensor.sensorId, name })),
    makePractice: () => {
      const played = balls.map(({ name, sensor }) => {
        const { description, chunks } = encodePractice({ seed: name, acts: drawEndlessPlan(name), sensor });
        return { sensorId: sensor.sensorId, description, packets: fromStart(sensor.sensorId, chunks) };
      });
      return {
        descriptions: new Map(played.map(({ sensorId, description }) => [sensorId, description])),
        notifications: byTime(played.map(({ packets }) => packets)),
      };
    },
  });
}

function* fromStart(
  sensorId: string,
  chunks: ReturnType<typeof encodePractice>['chunks'],
): Generator<SensorNotification, void> {
  let startS: number | null = null;
  for (const { notifications } of chunks) {
    for (const { bytes, hostTimeS } of notifications) {
      startS ??= hostTimeS;
      yield { sensorId, bytes, hostTimeS: hostTimeS - startS };
    }
  }
}

/** The earliest of all comes first, as on one machine. */
function* byTime(sources: readonly Generator<SensorNotification, void>[]): Generator<SensorNotification, void> {
  const heads = sources.map((source) => source.next());
  for (;;) {
    let first = -1;
    for (const [index, head] of heads.entries()) {
      const best = heads[first];
      if (!head.done && (best === undefined || best.done || head.value.hostTimeS < best.value.hostTimeS)) first = index;
    }
    const [head, source] = [heads[first], sources[first]];
    if (!head || head.done || !source) return;
    yield head.value;
    heads[first] = source.next();
  }
}
