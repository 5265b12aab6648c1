import type { ClockPacket } from '../../src/signal/sensor-clock-state.ts';

/** A made-up sensor as its clock sees it, with the truth beside. Every number is what the real thing would have. */
export interface ClockScene {
  readonly seed: number;
  readonly packets: number;
  readonly trueRateHz: number;
  readonly rowsPerPacket: number;
  readonly tickUnitS: number;
  /** Raw tick of the first row. */
  readonly firstTick: number;
  /** Standard deviation of the stamps' noise, before rounding to whole ticks. */
  readonly stampNoiseS: number;
  /** Host seconds per device second, minus 1, in ppm. */
  readonly driftPpm: number;
  readonly leastDelayS: number;
  /** Mean of the exponential part of the delay. */
  readonly meanExtraDelayS: number;
  /** Share of notifications that come much later, by up to `lateByS`. */
  readonly lateShare: number;
  readonly lateByS: number;
  readonly lossShare: number;
}

export const quietScene: ClockScene = {
  seed: 1,
  packets: 4000,
  trueRateHz: 104 * 1.0525,
  rowsPerPacket: 2,
  tickUnitS: 1e-6,
  firstTick: 123_456,
  stampNoiseS: 0,
  driftPpm: 0,
  leastDelayS: 0.004,
  meanExtraDelayS: 0,
  lateShare: 0,
  lateByS: 0,
  lossShare: 0,
};

export const hostStartS = 1.7e9;

export interface ScenePacket {
  readonly packet: ClockPacket;
  /** Device time of the first row since the very first row. */
  readonly trueFirstS: number;
}

/** @returns uniform numbers in [0, 1) (mulberry32, T. Ettinger, public domain). */
export function uniformFrom(seed: number): () => number {
  let state = seed >>> 0;
  return () => {
    state = (state + 0x6d2b79f5) >>> 0;
    let mixed = state;
    mixed = Math.imul(mixed ^ (mixed >>> 15), mixed | 1);
    mixed ^= mixed + Math.imul(mixed ^ (mixed >>> 7), mixed | 61);
    return ((mixed ^ (mixed >>> 14)) >>> 0) / 4294967296;
  };
}

/** @returns a draw from the standard normal distribution (Box and Muller, 1958). */
export function normalFrom(uniform: () => number): number {
  return Math.sqrt(-2 * Math.log(1 - uniform())) * Math.cos(2 * Math.PI * uniform());
}

export function makeScene(scene: ClockScene): ScenePacket[] {
  const uniform = uniformFrom(scene.seed);
  const made: ScenePacket[] = [];
  let lost = false;
  let hostBefore = 0;
  for (let at = 0; at < scene.packets; at++) {
    const firstIndex = at * scene.rowsPerPacket;
    const trueFirstS = firstIndex / scene.trueRateHz;
    const stampS = trueFirstS + scene.stampNoiseS * normalFrom(uniform);
    const ticks = Math.round(scene.firstTick + stampS / scene.tickUnitS);
    const lastRowS = trueFirstS + (scene.rowsPerPacket - 1) / scene.trueRateHz;
    let delayS = scene.leastDelayS - scene.meanExtraDelayS * Math.log(1 - uniform());
    if (uniform() < scene.lateShare) delayS += scene.lateByS * uniform();
    // A host hands notifications on in order.
    const hostTimeS = Math.max(hostBefore, hostStartS + lastRowS * (1 + scene.driftPpm * 1e-6) + delayS);
    hostBefore = hostTimeS;
    if (at > 0 && uniform() < scene.lossShare) {
      lost = true;
      continue;
    }
    const tick = ((ticks % 2 ** 32) + 2 ** 32) % 2 ** 32;
    made.push({
      packet: { tick, count: scene.rowsPerPacket, firstIndex, hostTimeS, afterGap: lost, afterRestart: false },
      trueFirstS,
    });
    lost = false;
  }
  return made;
}
