import { describe, expect, it } from 'vitest';
import { sampleFlag } from '../../../src/foundation/imu-block.ts';
import { decodeNotification } from '../../../src/protocol/notification.ts';
import { decodeSensorDescription } from '../../../src/protocol/sensor-description.ts';
import { encodePairedPractice, encodeWristPractice } from '../../../src/simulate/arm/wrist-encoded.ts';
import { simulatePairedPractice, simulateWristPractice } from '../../../src/simulate/arm/wrist-practice.ts';
import {
  wristScenarioNames,
  wristScenarioPractice,
  wristScenarios,
} from '../../../src/simulate/arm/wrist-scenarios.ts';
import { scenarioNames } from '../../../src/simulate/scenarios.ts';

type Practice = ReturnType<typeof simulateWristPractice>;
const played = new Map<string, Practice>();

function play(name: string): Practice {
  let practice = played.get(name);
  if (!practice) {
    practice = simulateWristPractice(wristScenarioPractice(name));
    played.set(name, practice);
  }
  return practice;
}

const starts = (name: string) => play(name).truth.shots.map((shot) => shot.startKind);
const flagged = (name: string, bit: number) => [...play(name).block.flags].filter((bits) => bits & bit).length;

/** What each scenario is there to show, seen in its truth or its samples. */
const shows: Record<string, () => void> = {
  'wrist-free-throw': () => {
    expect(starts('wrist-free-throw')).toEqual(['hold', 'hold']);
    expect(play('wrist-free-throw').truth.shots.map((shot) => shot.landingS)).toEqual([null, null]);
  },
  'wrist-pull-up': () => {
    expect(starts('wrist-pull-up')).toEqual(['dribble', 'dribble']);
    for (const shot of play('wrist-pull-up').truth.shots) {
      expect((shot.landingS as number) - (shot.takeOffS as number)).toBeGreaterThan(0.25);
    }
  },
  'wrist-catch-and-shoot': () => expect(starts('wrist-catch-and-shoot')).toEqual(['catch', 'catch', 'catch']),
  'wrist-left-hand': () => expect(play('wrist-left-hand').truth.player.hand).toBe('left'),
  'wrist-set-point': () => {
    for (const shot of play('wrist-set-point').truth.shots) {
      expect(shot.measures.pauseS.value).toBeGreaterThan(0.28);
      expect(shot.pauseAt).toBe('high');
    }
  },
  'wrist-turn-in-air': () => {
    const [left, right] = play('wrist-turn-in-air').truth.shots.map((shot) => shot.setting.bodyTurnDeg);
    expect(left).toBeGreaterThan(15);
    expect(right).toBeLessThan(-15);
  },
  'wrist-child': () => expect(play('wrist-child').truth.player.statureM).toBeCloseTo(1.35, 9),
  'wrist-accel-only': () => {
    expect(play('wrist-accel-only').block.gyroRadps).toBeNull();
    expect(play('wrist-accel-only').traits.nominalRateHz).toBe(50);
  },
  'wrist-loose-strap': () => expect(flagged('wrist-loose-strap', sampleFlag.gyroClipped)).toBeGreaterThan(4),
  'wrist-gap-at-release': () => {
    const { truth, block } = play('wrist-gap-at-release');
    const events = [truth.shots[0]?.releaseS, truth.shots[1]?.pickupS] as number[];
    for (const event of events) for (const t of block.timeS) expect(Math.abs(t - event)).toBeGreaterThan(0.019);
  },
  'wrist-arm-shown': () => {
    const { block, truth } = play('wrist-arm-shown');
    const rate = (i: number) =>
      Math.hypot(...[0, 1, 2].map((k) => (block.gyroRadps as Float64Array)[3 * i + k] as number));
    const turning = [...block.timeS.keys()].filter((i) => (block.timeS[i] as number) < 14 && rate(i) > 3);
    expect(truth.shots[0]?.pickupS).toBeGreaterThan(10);
    // Two seconds and more of hanging come before the first turn.
    expect(block.timeS[turning[0] as number]).toBeGreaterThan(2);
    expect(turning.length).toBeGreaterThan(200);
  },
  'wrist-everyday': () => expect(play('wrist-everyday').truth.decoys).toHaveLength(6),
  'wrist-ball-handling': () => expect(play('wrist-ball-handling').truth.decoys).toHaveLength(8),
  'wrist-practice': () => expect(play('wrist-practice').truth.decoys).toHaveLength(6),
  'pair-free-throw': () => expect(play('pair-free-throw').truth.player.mount).toBe('back-of-hand'),
  'pair-lossy-link': () => expect(flagged('pair-lossy-link', sampleFlag.gapBefore)).toBeGreaterThan(20),
  'pair-practice': () => expect(play('pair-practice').truth.shots).toHaveLength(4),
};

describe('the scenarios with a wrist sensor', () => {
  it('are each described by what they show, under names of their own', () => {
    expect(Object.keys(shows).sort()).toEqual([...wristScenarioNames()].sort());
    const names = [...scenarioNames(), ...wristScenarioNames()];
    expect(new Set(names).size).toBe(names.length);
  });

  it.each(wristScenarioNames())('%s shows it', (name) => {
    const scenario = wristScenarios.find((one) => one.name === name);
    expect(play(name).truth.shots).toHaveLength(scenario?.mixture?.shots ?? scenario?.shots.length ?? -1);
    (shows[name] as () => void)();
  });

  it('refuse a name that is none and say which there are', () => {
    expect(() => wristScenarioPractice('three-pointer')).toThrow('expected one of wrist-free-throw');
  });
});

describe('encoded', () => {
  it.each([
    ['wrist-pull-up', 6, 'back-of-hand'],
    ['wrist-accel-only', 3, 'wrist-forearm'],
  ] as const)('%s decodes to the very samples of the block', (name, axes, placement) => {
    const { block, truth } = play(name);
    const { description, chunks } = encodeWristPractice(wristScenarioPractice(name));
    const described = decodeSensorDescription(description);
    expect(described.placement).toBe(placement);
    expect(described.gyroRateHz === null).toBe(axes === 3);
    let at = 0;
    let shots = 0;
    for (const chunk of chunks) {
      shots += chunk.shots.length;
      for (const { bytes } of chunk.notifications) {
        const decoded = decodeNotification(bytes);
        if (decoded.kind !== 'frame') throw new Error(decoded.problem);
        expect(decoded.frame.axes).toBe(axes);
        for (let i = 0; i < decoded.frame.samples.length; i += axes, at++) {
          // The description carries scales in nano-units: 32767 of them can be off by 2e-9 of the value at most.
          expect((decoded.frame.samples[i] as number) * described.accelScaleMps2PerLsb).toBeCloseTo(
            block.accelMps2[3 * at] as number,
            3,
          );
        }
      }
    }
    expect(at).toBe(block.length);
    expect(shots).toBe(truth.shots.length);
  });

  it('brings a pair in the order of the host, each with its own truth', () => {
    const options = wristScenarioPractice('pair-free-throw');
    const { ball, wrist } = simulatePairedPractice(options);
    const { chunks, sensors } = encodePairedPractice(options);
    const counts = new Map<string, number>();
    let lastS = 0;
    const [ballShots, wristShots] = [[] as unknown[], [] as unknown[]];
    for (const chunk of chunks) {
      ballShots.push(...chunk.ball.shots);
      wristShots.push(...chunk.wrist.shots);
      for (const { sensorId, bytes, hostTimeS } of chunk.notifications) {
        expect(hostTimeS).toBeGreaterThanOrEqual(lastS);
        lastS = hostTimeS;
        const decoded = decodeNotification(bytes);
        if (decoded.kind !== 'frame') throw new Error(decoded.problem);
        counts.set(sensorId, (counts.get(sensorId) ?? 0) + decoded.frame.samples.length / 6);
      }
    }
    expect(counts.get(sensors.ball.sensorId)).toBe(ball.block.length);
    expect(counts.get(sensors.wrist.sensorId)).toBe(wrist.block.length);
    expect(ballShots).toEqual(ball.truth.shots);
    expect(wristShots).toEqual(wrist.truth.shots);
  });
});
