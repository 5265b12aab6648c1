/**
 * Bias and scale of an accelerometer from gravity alone: lying still, whichever way up, it must read 1 g.
 *
 * Reading of axis i at rest: bias_i + scale_i × (gravity along i). The six values are fitted so that the corrected size is g
 * in every position, with priors for ordinary parts. How the case stands to the axes does not matter, so that a ball can be
 * calibrated by hand; axes that are not square to each other are not seen. Further positions check the result.
 *
 * Source: common practice (six-position or scalar calibration); see e.g. J. C. Lötters et al., "Procedure for in-use
 * calibration of triaxial accelerometers in medical applications", Sensors and Actuators A 68 (1998).
 */
import { standardGravityMps2 } from '../foundation/constants.ts';
import { estimateSmallMap } from './small-map.ts';
import { norm, scale, type Vec3 } from './vec3.ts';

export interface AccelCalibration {
  /** True = (reading − bias) / scale. */
  readonly biasMps2: Vec3;
  readonly biasStandardErrorMps2: Vec3;
  readonly scale: Vec3;
  readonly scaleStandardError: Vec3;
  /** Size of the corrected reading less g, by position. */
  readonly residualsMps2: readonly number[];
}

/** Prior of ordinary parts: bias up to some tens of milli-g, scale within a few per cent. */
const biasSigmaMps2 = 0.6;
const scaleSigma = 0.03;
/** A position's mean: noise averages out, what is left is how still it lay and how straight the axes are. */
const positionSigmaMps2 = 0.01;

/** Sides of the sensor, in the order in which they are told. */
export const sides = ['+x', '-x', '+y', '-y', '+z', '-z'] as const;
export type Side = (typeof sides)[number];

/** A side counts as up within this angle. */
const sideWithinDegrees = 40;

/** @returns the side that is up, or null where it stands between two. */
export function sideUp(force: Vec3): Side | null {
  const size = norm(force);
  if (!(size > 0)) return null;
  const least = Math.cos((sideWithinDegrees * Math.PI) / 180);
  const at = sides.findIndex((_, index) => {
    const along = force[index >> 1]! / size;
    return (index % 2 === 0 ? along : -along) >= least;
  });
  return at < 0 ? null : sides[at]!;
}

/**
 * @param positions mean reading of each position, m/s²; all six sides among them.
 * @returns null where a side is missing or the readings make no sense.
 */
export function fitSixPositions(positions: readonly Vec3[]): AccelCalibration | null {
  const up = new Set(positions.map(sideUp));
  if (!sides.every((side) => up.has(side))) return null;
  const priors = [0, 1, 2, 3, 4, 5].map((k) =>
    k < 3 ? { value: 0, sigma: biasSigmaMps2 } : { value: 1, sigma: scaleSigma },
  );
  const errorsOf = (values: readonly number[]) =>
    positions.map((reading) => norm(correct(reading, values)) - standardGravityMps2);
  const estimate = estimateSmallMap(priors, (values) => errorsOf(values).map((error) => error / positionSigmaMps2));
  if (estimate === null) return null;
  const { values, standardErrors } = estimate;
  return Object.freeze({
    biasMps2: three(values, 0),
    biasStandardErrorMps2: three(standardErrors, 0),
    scale: three(values, 3),
    scaleStandardError: three(standardErrors, 3),
    residualsMps2: Object.freeze(errorsOf(values)),
  });
}

/** @returns size of a reading after the calibration, less g, m/s². */
export function gravityError(calibration: AccelCalibration, reading: Vec3): number {
  return norm(correct(reading, [...calibration.biasMps2, ...calibration.scale])) - standardGravityMps2;
}

/** @returns a reading after the calibration. */
export function correctAccel(calibration: AccelCalibration, reading: Vec3): Vec3 {
  return correct(reading, [...calibration.biasMps2, ...calibration.scale]);
}

function correct(reading: Vec3, values: readonly number[]): Vec3 {
  return [
    (reading[0] - values[0]!) / values[3]!,
    (reading[1] - values[1]!) / values[4]!,
    (reading[2] - values[2]!) / values[5]!,
  ];
}

function three(values: readonly number[], from: number): Vec3 {
  return Object.freeze([values[from]!, values[from + 1]!, values[from + 2]!]) as unknown as Vec3;
}

/** A position's mean over its windows, weighted alike. */
export function meanOf(vectors: readonly Vec3[]): Vec3 {
  const sum = vectors.reduce((total, each) => [total[0] + each[0], total[1] + each[1], total[2] + each[2]] as Vec3, [
    0, 0, 0,
  ] as Vec3);
  return scale(sum, 1 / vectors.length);
}
