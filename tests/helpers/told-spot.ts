import { Random } from '../../src/simulate/random.ts';
import type { PracticeSpec } from './play-practice.ts';

/**
 * A practice from one spot of which the analysis is told: distance with an error of 0.3 m (standard deviation, as the setting
 * is defined), release height with 0.06 m.
 */
export function toldSpot(seed: string): Pick<PracticeSpec, 'fixed' | 'settings'> {
  const random = new Random(seed).fork('spot');
  const distanceM = random.between(4.2, 7.2);
  const releaseHeightM = random.between(2, 2.55);
  return {
    fixed: { distanceM, releaseHeightM },
    settings: {
      distanceM: distanceM + random.normal(0, 0.3),
      releaseHeightM: releaseHeightM + random.normal(0, 0.06),
    },
  };
}
