import { describe, expect, it } from 'vitest';
import { sampleFlag } from '../../../src/foundation/imu-block.ts';
import { defaultBallSettings } from '../../../src/shots/shot.ts';
import { simulatePractice } from '../../../src/simulate/practice.ts';
import { practiceOptions, trackBlock } from '../../helpers/play-practice.ts';

describe('a shot whose release and first touch both fell into lost packets', () => {
  it('stands in time by its touch, given as anywhere within the gap', () => {
    const options = practiceOptions({
      seed: 'both ends',
      shots: 5,
      decoys: 0,
      sensor: { lossShare: 0 },
      path: 'samples',
    });
    const { block, truth, traits } = simulatePractice(options);
    const shot = truth.shots[3];
    if (!shot || shot.contactS === null) throw new Error('expected a fourth shot that met something');
    const lost = [shot.releaseS, shot.contactS].map((t) => t + traits.filterDelayS);
    const kept: number[] = [];
    const flags: number[] = [];
    let gap = false;
    for (let i = 0; i < block.length; i++) {
      if (lost.some((t) => Math.abs((block.timeS[i] as number) - t) < 0.022)) {
        gap = true;
        continue;
      }
      kept.push(i);
      flags.push((block.flags[i] as number) | (gap ? sampleFlag.gapBefore : 0));
      gap = false;
    }
    const three = (column: Float64Array) =>
      Float64Array.from(kept.flatMap((i) => [0, 1, 2].map((axis) => column[3 * i + axis] as number)));
    const holed = {
      length: kept.length,
      timeS: Float64Array.from(kept.map((i) => block.timeS[i] as number)),
      accelMps2: three(block.accelMps2),
      gyroRadps: three(block.gyroRadps as Float64Array),
      flags: Uint8Array.from(flags),
    };
    const told = trackBlock(holed, traits, defaultBallSettings).flatMap((event) =>
      event.kind === 'shot' && event.shot.stage === 'final' ? [event.shot] : [],
    );
    const found = told.find((s) => Math.abs((s.contactS ?? -1) - (shot.contactS as number)) < 0.05);
    expect(found?.releaseS).toBeNull();
    expect(found?.timeReasons.release).toBe('gap');
    // A uniform distribution over the 44 to 54 ms between the samples left.
    expect(found?.timeErrorsS.contact).toBeGreaterThan(0.044 / Math.sqrt(12));
    expect(found?.timeErrorsS.contact).toBeLessThan(0.055 / Math.sqrt(12));
    expect(told.every((s) => s.releaseS !== null || s.contactS !== null)).toBe(true);
  });
});
