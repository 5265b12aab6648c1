/**
 * Bias and scale of a gyroscope from turns of known angle on a table: it lies still, is turned about the upright by whole
 * turns, and lies still again as before. Gravity says which way was up, so that no side has to be chosen exactly.
 *
 * With the corrected rate (reading − bias) / scale, the angle about the upright must be the known one. Bias is read from the
 * stillness before and after; the three scales are fitted with priors for ordinary parts.
 *
 * Source: common practice (rate integration over known angles).
 */
import { estimateSmallMap } from './small-map.ts';
import { dot, type Vec3 } from './vec3.ts';

/** What a turn was seen as. */
export interface SeenTurn {
  /** Integral of the reading less the bias of before and after, rad, by axis. */
  readonly angleRad: Vec3;
  /** Upright in the sensor's axes, of length 1. */
  readonly up: Vec3;
  /** Known size of the angle, rad. */
  readonly knownRad: number;
}

export interface GyroCalibration {
  /** True = (reading − bias) / scale. */
  readonly biasRadps: Vec3;
  readonly scale: Vec3;
  readonly scaleStandardError: Vec3;
  /** Size of each corrected turn less the known one, rad. */
  readonly residualsRad: readonly number[];
}

const scaleSigma = 0.03;
/** How exactly a hand brings a thing back to a mark, and what tilting on the way adds. */
const turnSigmaRad = (1.5 * Math.PI) / 180;

/**
 * @param biasRadps reading at rest.
 * @returns null without turns or where they make no sense.
 */
export function fitKnownTurns(turns: readonly SeenTurn[], biasRadps: Vec3): GyroCalibration | null {
  if (turns.length === 0) return null;
  const errorsOf = (scales: readonly number[]) =>
    turns.map(({ angleRad, up, knownRad }) => {
      const corrected = angleRad.map((angle, axis) => angle / scales[axis]!) as unknown as Vec3;
      return Math.abs(dot(corrected, up)) - knownRad;
    });
  const priors = [0, 1, 2].map(() => ({ value: 1, sigma: scaleSigma }));
  const estimate = estimateSmallMap(priors, (scales) => errorsOf(scales).map((error) => error / turnSigmaRad));
  if (estimate === null) return null;
  return Object.freeze({
    biasRadps,
    scale: Object.freeze(estimate.values) as unknown as Vec3,
    scaleStandardError: Object.freeze(estimate.standardErrors) as unknown as Vec3,
    residualsRad: Object.freeze(errorsOf(estimate.values)),
  });
}
