import { describe, expect, it } from 'vitest';
import { type ImuBlock, sampleFlag } from '../../src/foundation/imu-block.ts';
import { TripleTapStream } from '../../src/signal/triple-tap.ts';
import { drawEndlessPlan } from '../../src/simulate/draw-plan.ts';
import { simulatePractice } from '../../src/simulate/practice.ts';
import { drawSensor } from '../../src/simulate/sensor-model.ts';
import { madeNoise } from './made-motion.ts';

interface Scene {
  readonly rateHz?: number;
  readonly durationS?: number;
  /** Instants of blows, and their peaks in m/s². */
  readonly blows?: readonly (readonly [number, number])[];
  /** Length of a blow, s. */
  readonly blowS?: number;
  readonly tremorMps2?: number;
  readonly hasGyro?: boolean;
  readonly change?: (block: ImuBlock) => void;
}

/** A sensor in a hand that holds it still, with short blows: half waves of a sine. */
function held(scene: Scene): ImuBlock {
  const { rateHz = 200, durationS = 6, blows = [], blowS = 0.02, tremorMps2 = 0.15, hasGyro = true, change } = scene;
  const noise = madeNoise(11);
  const length = Math.round(rateHz * durationS);
  const timeS = Float64Array.from({ length }, (_, i) => i / rateHz);
  const accelMps2 = new Float64Array(3 * length);
  for (let i = 0; i < length; i++) {
    const at = timeS[i] as number;
    let blow = 0;
    for (const [startS, peak] of blows) {
      const phase = (at - startS) / blowS;
      if (phase >= 0 && phase <= 1) blow += peak * Math.sin(Math.PI * phase);
    }
    accelMps2[3 * i] = 3 + 0.8 * blow + tremorMps2 * noise();
    accelMps2[3 * i + 1] = -1 + 0.6 * blow + tremorMps2 * noise();
    accelMps2[3 * i + 2] = 9.3 + tremorMps2 * noise();
  }
  const gyroRadps = hasGyro ? Float64Array.from({ length: 3 * length }, () => 0.05 * noise()) : null;
  const block = { length, timeS, accelMps2, gyroRadps, flags: new Uint8Array(length) };
  change?.(block);
  return block;
}

const taps = (...atS: number[]) => atS.map((startS) => [startS, 12] as const);
const found = (block: ImuBlock) => new TripleTapStream().push(block);

describe('three taps', () => {
  it.each([50, 100, 200, 833])('are found at %d Hz, within a sample', (rateHz) => {
    // A slow sensor sees of a short blow one sample or two.
    const blowS = Math.max(0.02, 2.2 / rateHz);
    const [result, ...more] = found(held({ rateHz, blowS, blows: taps(2, 2.35, 2.71) }));
    expect(more).toEqual([]);
    const middles = [2, 2.35, 2.71].map((startS) => startS + blowS / 2);
    for (const [index, middleS] of middles.entries()) {
      // The centre of gravity of the samples of a blow lies within a sample of its middle.
      expect(Math.abs((result?.tapsS[index] ?? 0) - middleS)).toBeLessThan(1 / rateHz);
    }
    expect(result?.standardErrorS).toBeCloseTo(1 / rateHz / Math.sqrt(12), 6);
  });

  it('are found without a gyroscope, and twice in a row', () => {
    const blows = taps(1, 1.3, 1.6, 4, 4.4, 4.8);
    expect(found(held({ hasGyro: false, blows }))).toHaveLength(2);
  });

  it('are found again after the sensor was turned', () => {
    const turned = (block: ImuBlock) => {
      for (let i = 0; i < block.length; i++) {
        if ((block.timeS[i] as number) < 2) continue;
        const [x, z] = [block.accelMps2[3 * i] as number, block.accelMps2[3 * i + 2] as number];
        block.accelMps2[3 * i] = -z;
        block.accelMps2[3 * i + 2] = x;
      }
    };
    expect(found(held({ blows: taps(4, 4.3, 4.6), change: turned }))).toHaveLength(1);
  });
});

describe('is not taken for three taps', () => {
  it.each([
    ['two taps', taps(2, 2.3)],
    ['four taps', taps(2, 2.3, 2.6, 2.9)],
    ['three that are far apart', taps(1, 2.2, 3.4)],
    ['an uneven beat', taps(2, 2.15, 2.75)],
    ['weak ones', taps(2, 2.3, 2.6).map(([at]) => [at, 3] as const)],
    ['a weak one among them', [...taps(2, 2.3), [2.6, 3.5] as const]],
  ])('%s', (_, blows) => {
    expect(found(held({ blows }))).toEqual([]);
  });

  it('long pushes', () => {
    expect(found(held({ blowS: 0.18, blows: taps(2, 2.4, 2.8) }))).toEqual([]);
  });

  it('taps in a movement', () => {
    const moved = (block: ImuBlock) => {
      for (let i = 0; i < block.length; i++)
        (block.gyroRadps as Float64Array)[3 * i] = 3 * Math.sin(4 * (block.timeS[i] as number));
    };
    expect(found(held({ blows: taps(2, 2.3, 2.6), change: moved }))).toEqual([]);
  });

  it('taps of which one may lie in a gap', () => {
    const gap = (block: ImuBlock) => {
      block.flags[490] = sampleFlag.gapBefore;
    };
    expect(found(held({ blows: taps(2, 2.3, 2.6), change: gap }))).toEqual([]);
  });

  it('what a ball goes through in play: dribbles, catches, bounces, shots', () => {
    for (const seed of ['taps 1', 'taps 2', 'taps 3']) {
      const plan = drawEndlessPlan(seed);
      const acts = Array.from({ length: 25 }, () => plan.next().value).filter((act) => act !== undefined);
      const { block } = simulatePractice({ seed, acts, sensor: drawSensor(seed) });
      expect(block.length).toBeGreaterThan(10_000);
      expect(found(block)).toEqual([]);
    }
  });
});
