import { type Measured, notMeasured } from '../../foundation/measured.ts';
import type { WristSettings } from '../shot.ts';
import { estimateBackspin, spinModel } from './backspin.ts';

const radians = Math.PI / 180;

/**
 * Backspin of a shot from its snap peak.
 *
 * @param snapPeakDegps of the shot.
 * @param settings mount and reference shots of the player; without a mount there is no model.
 * @returns the spin by the model, or the reason of the snap peak where there is none.
 */
export function backspinOf(snapPeakDegps: Measured, settings: WristSettings): Measured {
  if (snapPeakDegps.value === null) return snapPeakDegps;
  const { mount, spinReferences = [] } = settings;
  if (mount === null) return notMeasured('mount-unknown');
  const { value, standardError } = snapPeakDegps;
  return estimateBackspin(spinModel(mount, spinReferences), value * radians, standardError * radians);
}
