import { describe, expect, it } from 'vitest';
import { type ImuBlock, sampleFlag } from '../../src/foundation/imu-block.ts';
import { resolveParams } from '../../src/foundation/parameters.ts';
import { encodeNotification } from '../../src/protocol/notification.ts';
import { NotificationParser, type NotificationParserState } from '../../src/protocol/notification-parser.ts';
import {
  initialMountObserver,
  type MountObserverState,
  stepMountObserver,
} from '../../src/shots/wrist/mount-observer.ts';
import { mountParams } from '../../src/shots/wrist/mount-params.ts';
import type { AttitudeState } from '../../src/signal/attitude-state.ts';
import { AttitudeStream } from '../../src/signal/attitude-track.ts';
import {
  deriveSensorClock,
  estimateSensorClock,
  finishSensorClock,
  stepSensorClock,
} from '../../src/signal/sensor-clock.ts';
import { initialSensorClockState, type SensorClockState } from '../../src/signal/sensor-clock-state.ts';
import { type TripleTapState, TripleTapStream } from '../../src/signal/triple-tap.ts';
import { deriveCusum, initialCusum, stepCusum } from '../../src/study/cusum-chart.ts';
import { deriveEvidence, evidenceAgainst, initialEvidence, stepEvidence } from '../../src/study/evidence.ts';
import { deriveEwma, initialEwma, stepEwma } from '../../src/study/ewma-chart.ts';
import { plainStream, streamFrame } from '../protocol/made-frames.ts';
import { madeNoise } from '../signal/made-motion.ts';
import { makeScene, quietScene } from '../signal/simulated-sensor-clock.ts';

/** A stream with memory: pushed piece by piece, stopped at any place, and gone on with from its state as JSON. */
interface Resumable {
  readonly name: string;
  readonly inputs: readonly unknown[];
  /** @returns what the stream gives for each input, and its state afterwards. */
  readonly run: (inputs: readonly unknown[], state: unknown) => { outputs: unknown[]; state: unknown };
  readonly finish: (state: unknown) => unknown;
}

const parser: Resumable = {
  name: 'notification parser',
  inputs: disturbedNotifications(),
  run(inputs, state) {
    const stream = new NotificationParser({ sensorName: 'ball-2' }, (state ?? undefined) as NotificationParserState);
    return { outputs: inputs.flatMap((bytes) => stream.push(bytes as Uint8Array, 1)), state: stream.state() };
  },
  finish: (state) => new NotificationParser({ sensorName: 'ball-2' }, state as NotificationParserState).finish(),
};

const clockCoefficients = deriveSensorClock(quietScene.tickUnitS, 104, { hostBinS: 0.2, hostBinCount: 20 });
const clock: Resumable = {
  name: 'sensor clock',
  inputs: disturbedClockPackets(),
  run(inputs, given) {
    const state = (given ?? initialSensorClockState()) as SensorClockState;
    const packets = inputs as ReturnType<typeof disturbedClockPackets>;
    return { outputs: packets.flatMap((packet) => stepSensorClock(clockCoefficients, state, packet)), state };
  },
  finish(given) {
    const state = given as SensorClockState;
    return [finishSensorClock(clockCoefficients, state), estimateSensorClock(clockCoefficients, state)];
  },
};

const attitude: Resumable = {
  name: 'attitude filter',
  inputs: disturbedMotion(),
  run(inputs, given) {
    const stream = new AttitudeStream({ restTimeS: 0.2 }, given as AttitudeState | null);
    return { outputs: inputs.map((block) => stream.push(block as ImuBlock)), state: stream.state() };
  },
  finish: (given) => given,
};

const mountSearch: Resumable = {
  name: 'search for the mount',
  inputs: disturbedMotion(),
  run(inputs, given) {
    const state = (given ?? initialMountObserver()) as MountObserverState;
    const params = resolveParams(mountParams, { quietLeastS: 0.2 });
    const outputs = inputs.map((input) => {
      const block = input as ImuBlock;
      for (let i = 0; i < block.length; i++) stepMountObserver(params, state, block, i, [0.01, 0, 0]);
      return structuredClone(state.evidence);
    });
    return { outputs, state };
  },
  finish: (given) => given,
};

const shotValues = Array.from({ length: 30 }, (_, i) => Math.sin(7 * i) + 0.05 * i);

/** A stream whose whole memory is the state that each step gives. */
function pureSteps<State>(
  name: string,
  initial: State,
  step: (state: State, value: number) => readonly [State, unknown],
) {
  return {
    name,
    inputs: shotValues,
    run(inputs: readonly unknown[], given: unknown) {
      let state = (given ?? initial) as State;
      const outputs = inputs.map((value) => {
        const [next, output] = step(state, value as number);
        state = next;
        return output;
      });
      return { outputs, state };
    },
    finish: (given: unknown) => given,
  };
}

const evidenceCoefficients = deriveEvidence();
const evidence = pureSteps('evidence', initialEvidence, (state, value) => {
  const next = stepEvidence(evidenceCoefficients, state, { value, nuisance: 1, covariate: value > 0.5 ? 1 : 0 });
  return [next, evidenceAgainst(evidenceCoefficients, next, 0.2)];
});
const ewmaCoefficients = deriveEwma(0, 1);
const ewma = pureSteps('moving average', initialEwma(ewmaCoefficients), (state, value) => {
  const point = stepEwma(ewmaCoefficients, state, value);
  return [{ count: point.count, average: point.average }, point];
});
const cusumCoefficients = deriveCusum(0, 1);
const cusum = pureSteps('cumulative sum', initialCusum, (state, value) => {
  const point = stepCusum(cusumCoefficients, state, value);
  return [point, point];
});

const threeTaps: Resumable = {
  name: 'search for three taps',
  inputs: disturbedMotion(),
  run(inputs, given) {
    const params = { quietMps2: 6, tapMps2: 7, stillAroundS: 0.06 };
    const stream = new TripleTapStream(params, given as TripleTapState | null);
    return { outputs: inputs.map((block) => stream.push(block as ImuBlock)), state: stream.state() };
  },
  finish: (given) => given,
};

const streams = [parser, clock, attitude, mountSearch, evidence, ewma, cusum, threeTaps];

describe.each(streams)('the $name', ({ inputs, run, finish }) => {
  const whole = run(inputs, null);

  it('gives something to compare', () => {
    expect(whole.outputs.length).toBeGreaterThan(10);
  });

  it('gives the same when it goes on from its state, through JSON, at every place', () => {
    const end = finish(structuredClone(whole.state));
    for (let cut = 0; cut <= inputs.length; cut++) {
      const before = run(inputs.slice(0, cut), null);
      const after = run(inputs.slice(cut), JSON.parse(JSON.stringify(before.state)));
      expect([...before.outputs, ...after.outputs]).toEqual(whole.outputs);
      expect(finish(JSON.parse(JSON.stringify(after.state)))).toEqual(end);
    }
  });

  it('leaves its input as it was', () => {
    const before = structuredClone(inputs);
    run(inputs, null);
    expect(inputs).toEqual(before);
  });

  it('keeps nothing outside its state', () => {
    expect(run(inputs, null)).toEqual(whole);
  });
});

/** A stream with a late packet, one twice, a loss, damage, and a new start. */
function disturbedNotifications(): Uint8Array[] {
  const packet = (at: number) => encodeNotification(streamFrame(plainStream, at));
  const again = { ...plainStream, startNumber: 4 };
  const damaged = packet(9);
  damaged[20]! ^= 8;
  return [
    ...[0, 1, 2, 4, 5, 3, 3, 6, 8].map(packet),
    damaged,
    ...[10, 11, 12, 100, 101].map(packet),
    ...[0, 1, 2, 3].map((at) => encodeNotification(streamFrame(again, at))),
  ];
}

function disturbedClockPackets() {
  const first = makeScene({ ...quietScene, packets: 120, stampNoiseS: 1e-4, lossShare: 0.05, meanExtraDelayS: 0.01 });
  const second = makeScene({ ...quietScene, packets: 40, firstTick: 5 });
  const packets = first.map(({ packet }, at) => (at === 70 ? { ...packet, tick: packet.tick + 9e6 } : packet));
  return [...packets, ...second.map(({ packet }, at) => (at === 0 ? { ...packet, afterRestart: true } : packet))];
}

/** Blocks of uneven length of a sensor that is moved and laid down, with a gap, a clipped rate and uneven steps. */
function disturbedMotion(): ImuBlock[] {
  const noise = madeNoise(5);
  let timeS = 0;
  return [1, 2, 3, 5, 8, 1, 40, 3, 20, 4, 2, 1].map((length, at) => {
    const moved = at < 6 ? 3 : 0;
    const block: ImuBlock = {
      length,
      timeS: new Float64Array(length),
      accelMps2: Float64Array.from({ length: 3 * length }, (_, k) => (k % 3 === 2 ? 9.8 : 0) + moved * noise()),
      gyroRadps: Float64Array.from({ length: 3 * length }, () => 0.02 + moved * noise()),
      flags: new Uint8Array(length),
    };
    for (let i = 0; i < length; i++) {
      timeS += 0.01 + 0.001 * Math.abs(noise());
      block.timeS[i] = timeS;
    }
    if (at === 3) block.flags[1] = sampleFlag.gyroClipped;
    if (at === 4) {
      timeS += 0.1;
      block.timeS[7] = timeS;
      block.flags[7] = sampleFlag.gapBefore;
    }
    return block;
  });
}
