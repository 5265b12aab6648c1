import { describe, expect, it } from 'vitest';
import {
  deriveSensorClock,
  estimateSampleRate,
  estimateSensorClock,
  finishSensorClock,
  stepSensorClock,
} from '../../src/signal/sensor-clock.ts';
import type { SensorClockParams } from '../../src/signal/sensor-clock-params.ts';
import { type ClockPacket, initialSensorClockState, type PacketTiming } from '../../src/signal/sensor-clock-state.ts';
import { type ClockScene, hostStartS, makeScene, quietScene, type ScenePacket } from './simulated-sensor-clock.ts';

/** As the sensor says; the made-up sensors really give 5.25 % more (109.46 Hz was seen at a nominal 104). */
const nominalRateHz = 104;

function runClock(
  packets: readonly ClockPacket[],
  tickUnitS = quietScene.tickUnitS,
  params: Partial<SensorClockParams> = {},
) {
  const coefficients = deriveSensorClock(tickUnitS, nominalRateHz, params);
  const state = initialSensorClockState();
  const timings = packets.flatMap((packet) => stepSensorClock(coefficients, state, packet));
  timings.push(...finishSensorClock(coefficients, state));
  return { coefficients, state, timings, estimate: estimateSensorClock(coefficients, state) };
}

function runScene(change: Partial<ClockScene>, params: Partial<SensorClockParams> = {}) {
  const scene = { ...quietScene, ...change };
  const made = makeScene(scene);
  return {
    scene,
    made,
    ...runClock(
      made.map(({ packet }) => packet),
      scene.tickUnitS,
      params,
    ),
  };
}

/** Largest difference between the times given and the true device times, the common zero taken out. */
function worstErrorS(
  made: readonly ScenePacket[],
  timings: readonly PacketTiming[],
  zeroS: number,
  rows: number,
): number {
  let worst = 0;
  timings.forEach((timing, at) => {
    const firstS = made[at]!.trueFirstS - zeroS;
    worst = Math.max(worst, Math.abs(timing.firstTimeS - firstS));
    const lastS = firstS + (rows - 1) / quietScene.trueRateHz;
    worst = Math.max(worst, Math.abs(timing.firstTimeS + (rows - 1) * timing.periodS - lastS));
  });
  return worst;
}

function expectRising(timings: readonly PacketTiming[]): void {
  let last = Number.NEGATIVE_INFINITY;
  for (const { firstTimeS, periodS, count } of timings) {
    expect(firstTimeS).toBeGreaterThan(last);
    last = firstTimeS + (count - 1) * periodS;
  }
}

/** Where the share inside honest 90 % intervals lies over n draws: three standard deviations, √(0.9 × 0.1/n) each. */
function coverBounds(n: number): [number, number] {
  const scatter = Math.sqrt(0.09 / n);
  return [0.9 - 3 * scatter, 0.9 + 3 * scatter];
}

describe('times of rows', () => {
  it('start at zero and follow the true rate, not the nominal one, to within a tick', () => {
    const { made, timings, estimate } = runScene({});
    expect(timings.length).toBe(made.length);
    expect(timings[0]!.firstTimeS).toBe(0);
    // Stamps are rounded to whole ticks of 1 µs: half a tick, and as much again for the zero.
    expect(worstErrorS(made, timings, 0, 2)).toBeLessThan(1e-6);
    expectRising(timings);
    expect(Math.abs(estimate.sampleRateHz! - quietScene.trueRateHz)).toBeLessThan(
      3 * estimate.sampleRateStandardErrorHz!,
    );
    expect(estimate.sampleRateStandardErrorHz! / quietScene.trueRateHz).toBeLessThan(2e-6);
  });

  it('smooth the rounding of coarse ticks', () => {
    for (const tickUnitS of [25e-6, 39.0625e-6]) {
      const { made, timings } = runScene({ tickUnitS });
      expect(worstErrorS(made, timings, 0, 2)).toBeLessThan(tickUnitS);
      expectRising(timings);
    }
  });

  it('smooth noisy stamps well below their noise', () => {
    const stampNoiseS = 1e-3;
    const { made, timings, estimate } = runScene({ stampNoiseS });
    const zeroS = (estimate.segments[0]!.zeroTick - quietScene.firstTick) * quietScene.tickUnitS;
    let squares = 0;
    timings.forEach((timing, at) => {
      squares += (timing.firstTimeS - (made[at]!.trueFirstS - zeroS)) ** 2;
    });
    // With a wander of 2 ppm/√s and packets of 18 ms the filter remembers (r·T/q)^¼ ≈ 8 s: about 440 packets, so that
    // the error of a steady line's end is 2/√440 of the noise: a tenth. Four times as much leaves room for the start.
    expect(Math.sqrt(squares / timings.length)).toBeLessThan(0.2 * stampNoiseS);
    expectRising(timings);
  });

  it('hold through the overflow of the tick counter, several times', () => {
    // 39.0625 µs × 2³² would take 46 hours; a tick of 1 ns turns over every 4.3 s.
    const { made, timings } = runScene({ tickUnitS: 1e-9, firstTick: 2 ** 32 - 10 });
    expect(worstErrorS(made, timings, 0, 2)).toBeLessThan(1e-8);
  });

  it('hold over lost packets, also when more than a turn of the counter was lost', () => {
    const { made, timings } = runScene({ lossShare: 0.2 });
    expect(worstErrorS(made, timings, 0, 2)).toBeLessThan(1e-6);
    const fast = makeScene({ ...quietScene, tickUnitS: 1e-9 });
    const cut = [...fast.slice(0, 1000), ...fast.slice(2500)];
    cut[1000] = { ...cut[1000]!, packet: { ...cut[1000]!.packet, afterGap: true } };
    const run = runClock(
      cut.map(({ packet }) => packet),
      1e-9,
    );
    expect(worstErrorS(cut, run.timings, 0, 2)).toBeLessThan(1e-8);
  });

  it('do not follow a single wild stamp', () => {
    for (const [at, ticks] of [
      [3, 5e5],
      [200, 3e5],
      [200, -3e5],
      [201, 2e6],
    ] as const) {
      const made = makeScene(quietScene);
      const packets = made.map(({ packet }, k) => (k === at ? { ...packet, tick: packet.tick + ticks } : packet));
      const { timings } = runClock(packets);
      expect(timings.length).toBe(made.length);
      expect(worstErrorS(made, timings, 0, 2)).toBeLessThan(1e-6);
    }
  });

  it('follow a pause of the sensor at its second packet, or at once after a gap, and say so', () => {
    const pauseS = 0.7;
    for (const [pauseAt, afterGap] of [
      [4, false],
      [500, false],
      [500, true],
    ] as const) {
      const made = makeScene(quietScene).map(({ packet, trueFirstS }, at) =>
        at < pauseAt
          ? { packet, trueFirstS }
          : {
              trueFirstS: trueFirstS + pauseS,
              packet: {
                ...packet,
                tick: packet.tick + pauseS * 1e6,
                hostTimeS: packet.hostTimeS! + pauseS,
                afterGap: afterGap && at === pauseAt,
              },
            },
      );
      const { timings, estimate } = runClock(made.map(({ packet }) => packet));
      const follows = timings.findIndex((timing) => timing.afterJump);
      expect(follows).toBe(afterGap ? pauseAt : pauseAt + 1);
      // A packet whose stamp was not believed yet is timed as if there had been no pause.
      const believed = (_: unknown, at: number) => at < pauseAt || at >= follows;
      expect(worstErrorS(made.filter(believed), timings.filter(believed), 0, 2)).toBeLessThan(2e-6);
      expect(Math.abs(estimate.sampleRateHz! - quietScene.trueRateHz)).toBeLessThan(1e-3);
      expectRising(timings);
    }
  });

  it('never run backward, whatever the ticks do', () => {
    const packets = makeScene(quietScene).map(({ packet }, at) =>
      at % 50 < 25 ? packet : { ...packet, tick: packet.tick - 40_000 },
    );
    expectRising(runClock(packets).timings);
  });

  it('follow a rate that wanders with temperature', () => {
    // 100 ppm in 200 s, far faster than a sensor in a ball warms up.
    let trueS = 0;
    const made: ScenePacket[] = [];
    for (let at = 0; at < 12_000; at++) {
      const tick = Math.round(trueS * 1e6);
      const packet = { tick, count: 2, firstIndex: 2 * at, hostTimeS: null, afterGap: at === 0, afterRestart: false };
      made.push({ packet, trueFirstS: trueS });
      trueS += (2 / quietScene.trueRateHz) * (1 + (100e-6 * at) / 12_000);
    }
    const { timings, estimate } = runClock(made.map(({ packet }) => packet));
    expect(worstErrorS(made, timings, 0, 2)).toBeLessThan(2e-6);
    const trueRateHz = quietScene.trueRateHz * (1 - 100e-6);
    expect(Math.abs(estimate.sampleRateHz! - trueRateHz)).toBeLessThan(3 * estimate.sampleRateStandardErrorHz!);
  });

  it('come from the nominal rate while one packet is all there is, and no rate is claimed', () => {
    const { timings, state, estimate } = runScene({ packets: 1 });
    expect(timings).toEqual([
      { firstTimeS: 0, periodS: 1 / nominalRateHz, count: 2, afterRestart: false, afterJump: false },
    ]);
    expect(estimateSampleRate(state)).toBeNull();
    expect(estimate.sampleRateHz).toBeNull();
  });

  it('come out together once the start is known, then packet by packet', () => {
    const coefficients = deriveSensorClock(1e-6, nominalRateHz, { warmUpPackets: 5 });
    const state = initialSensorClockState();
    const counts = makeScene({ ...quietScene, packets: 8 }).map(
      ({ packet }) => stepSensorClock(coefficients, state, packet).length,
    );
    expect(counts).toEqual([0, 0, 0, 0, 5, 1, 1, 1]);
  });
});

describe('the standard error of the rate', () => {
  it('is honest, and on the careful side as long as the rate does not wander', () => {
    const runs = 100;
    let inside = 0;
    for (let seed = 1; seed <= runs; seed++) {
      const { estimate, scene } = runScene({ seed, packets: 1500, stampNoiseS: 1e-4 });
      const z = (estimate.sampleRateHz! - scene.trueRateHz) / estimate.sampleRateStandardErrorHz!;
      if (Math.abs(z) <= 1.645) inside += 1;
    }
    expect(inside / runs).toBeGreaterThanOrEqual(coverBounds(runs)[0]);
  });
});

describe('host time', () => {
  const roughAir = { meanExtraDelayS: 0.01, lateShare: 0.05, lateByS: 0.4, stampNoiseS: 1e-5 };

  it('is fitted from the lower edge: drift of 100 ppm to within a ppm, under late notifications', () => {
    for (const driftPpm of [-100, 20, 100]) {
      const { estimate } = runScene({ ...roughAir, driftPpm, packets: 12_000 });
      const host = estimate.host!;
      expect(Math.abs(host.driftPpm - driftPpm)).toBeLessThan(4 * host.driftStandardErrorPpm);
      expect(host.driftStandardErrorPpm).toBeLessThan(0.5);
      const edgeS = hostStartS + host.referenceS * (1 + driftPpm * 1e-6) + quietScene.leastDelayS;
      // 110 exponential delays of mean 10 ms in a stretch of 2 s: the least is 0.09 ms late on average.
      expect(Math.abs(host.hostTimeS - edgeS)).toBeLessThan(0.0003);
    }
  });

  it('does not bend under half a minute of congestion', () => {
    const made = makeScene({ ...quietScene, ...roughAir, driftPpm: 50, packets: 12_000 });
    const packets = made.map(({ packet, trueFirstS }) =>
      trueFirstS > 100 && trueFirstS < 130 ? { ...packet, hostTimeS: packet.hostTimeS! + 0.25 } : packet,
    );
    const { estimate } = runClock(packets);
    expect(Math.abs(estimate.host!.driftPpm - 50)).toBeLessThan(1);
  });

  it('has honest errors', () => {
    const runs = 80;
    let drifts = 0;
    let offsets = 0;
    for (let seed = 1; seed <= runs; seed++) {
      const driftPpm = 200 * ((seed * 0.618) % 1) - 100;
      const { estimate } = runScene({ ...roughAir, seed, driftPpm, packets: 3000 });
      const host = estimate.host!;
      if (Math.abs(host.driftPpm - driftPpm) <= 1.645 * host.driftStandardErrorPpm) drifts += 1;
      const edgeS = hostStartS + host.referenceS * (1 + driftPpm * 1e-6) + quietScene.leastDelayS;
      if (Math.abs(host.hostTimeS - edgeS) <= 1.645 * host.hostTimeStandardErrorS) offsets += 1;
    }
    const [least, most] = coverBounds(runs);
    expect(drifts / runs).toBeGreaterThanOrEqual(least);
    expect(drifts / runs).toBeLessThanOrEqual(most);
    expect(offsets / runs).toBeGreaterThanOrEqual(least);
  });

  it('is not claimed without host times', () => {
    const packets = makeScene(quietScene).map(({ packet }) => ({ ...packet, hostTimeS: null }));
    expect(runClock(packets).estimate.host).toBeNull();
  });

  it('is remembered in bounded memory', () => {
    const { state } = runScene({ packets: 40_000 }, { hostBinS: 0.5, hostBinCount: 20 });
    expect(state.host!.bins.length).toBe(20);
    expect(JSON.stringify(state).length).toBeLessThan(5000);
  });
});

describe('a restart of the sensor', () => {
  const awayS = 3.4;

  /** A second start `awayS` of device time after the last row of the first, its ticks and rows anew. */
  function withRestart(change: Partial<ClockScene>, announced: boolean) {
    const scene = { ...quietScene, packets: 2000, ...change };
    const first = makeScene(scene);
    const second = makeScene({ ...scene, seed: scene.seed + 1000, firstTick: 777, packets: 1000 });
    const lastS = first.at(-1)!.trueFirstS + awayS;
    const again = second.map(({ packet, trueFirstS }, at) => ({
      trueFirstS: trueFirstS + lastS,
      packet: {
        ...packet,
        hostTimeS: packet.hostTimeS! + lastS * (1 + scene.driftPpm * 1e-6),
        afterRestart: announced && at === 0,
      },
    }));
    return { made: [...first, ...again], first: first.length };
  }

  it('goes on by the host clock, announced or not, with an error that fits', () => {
    const runs = 60;
    let inside = 0;
    for (let seed = 1; seed <= runs; seed++) {
      const lateShare = seed % 3 === 0 ? 0.05 : 0;
      const change = { seed, driftPpm: 80, meanExtraDelayS: 0.01, lateShare, lateByS: 0.3, lossShare: 0.02 };
      const { made, first } = withRestart(change, seed % 2 === 0);
      const { timings, estimate } = runClock(made.map(({ packet }) => packet));
      expect(timings.length).toBe(made.length);
      expectRising(timings);
      expect(timings.map((timing) => timing.afterRestart).indexOf(true)).toBe(first);
      expect(estimate.segments.length).toBe(2);
      const { startS, startStandardErrorS, zeroTick } = estimate.segments[1]!;
      expect(timings[first]!.firstTimeS).toBeCloseTo(startS, 12);
      expect(Math.abs(zeroTick - 777)).toBeLessThan(2);
      // The least of eight delays of mean 10 ms scatters by 1.25 ms (exponential). A late one by up to 0.3 s holds up
      // all behind it, often more than eight.
      expect(startStandardErrorS!).toBeLessThan(lateShare === 0 ? 0.0025 : 0.1);
      if (Math.abs(startS - made[first]!.trueFirstS) <= 1.645 * startStandardErrorS!) inside += 1;
      const afterS = timings
        .slice(first)
        .map((timing, at) => timing.firstTimeS - startS - (made[first + at]!.trueFirstS - made[first]!.trueFirstS));
      expect(Math.max(...afterS.map(Math.abs))).toBeLessThan(2e-6);
    }
    expect(inside / runs).toBeGreaterThanOrEqual(coverBounds(runs)[0]);
  });

  it('right after the start claims little', () => {
    const { made, first } = withRestart({ packets: 20 }, true);
    const { estimate } = runClock(made.map(({ packet }) => packet));
    expect(estimate.segments[1]!.startStandardErrorS).toBeGreaterThan(0.04);
    expect(first).toBe(20);
  });

  it('without host times goes on a row later and claims no error', () => {
    const { made, first } = withRestart({ packets: 100 }, true);
    const { timings, estimate } = runClock(made.map(({ packet }) => ({ ...packet, hostTimeS: null })));
    expect(estimate.segments[1]!.startStandardErrorS).toBeNull();
    const before = timings[first - 1]!;
    expect(timings[first]!.firstTimeS - before.firstTimeS).toBeCloseTo(2 / quietScene.trueRateHz, 6);
  });

  it('within the first packets times those that were held', () => {
    const { made } = withRestart({ packets: 3 }, true);
    const { timings } = runClock(made.map(({ packet }) => packet));
    expect(timings.length).toBe(made.length);
    expectRising(timings);
    expect(timings.map((timing) => timing.afterRestart).indexOf(true)).toBe(3);
  });
});

describe('the clock', () => {
  it('refuses parameters outside their range', () => {
    expect(() => deriveSensorClock(1e-6, 100, { hostBinS: Number.NaN })).toThrow(
      'hostBinS = NaN s is outside 0.1..60 s',
    );
  });
});
