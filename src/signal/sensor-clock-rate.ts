/**
 * Smooth line through the tick stamps of packets: row index → device time. Two-state Kalman filter (time of a row,
 * period of a row), the period wandering slowly.
 *
 * Source: the two-state clock model of oscillator noise, J. A. Barnes et al., "Characterization of Frequency
 * Stability", IEEE Trans. Instrum. Meas. IM-20 (1971) 105, white and random-walk frequency; filter equations as in any
 * text, R. E. Kalman (1960) doi:10.1115/1.3662552.
 * Deviations: 1. the noise of the stamps is learned from the innovations; 2. a single stamp far off is passed over, a
 * second one in agreement with it is followed ("slip"). Start-up: the caller fits the first packets by `fitFirstStamps`.
 */

/** Plain numbers, storable as JSON. Times in device seconds of the running segment. */
export interface RateState {
  /** Index of the row that `timeS` belongs to. */
  index: number;
  timeS: number;
  periodS: number;
  timeVariance: number;
  covariance: number;
  periodVariance: number;
  /** Variance of the stamps. */
  stampVariance: number;
  /** How far the last stamp was off, when it was passed over; else null. */
  suspectS: number | null;
}

export interface RateCoefficients {
  /** Growth of the relative period variance, per second. */
  readonly wanderVariancePerS: number;
  /** Least variance of a stamp: that of rounding to whole ticks. */
  readonly minStampVariance: number;
  readonly slipSigmas: number;
  readonly learningShare: number;
}

export interface StampedPacket {
  readonly index: number;
  readonly deviceS: number;
}

/**
 * Fits the first packets of a segment by a straight line, passing over single wild stamps.
 *
 * @param packets in order of index, at least one.
 * @param nominalPeriodS used when there is only one packet, with a relative standard error of 5 %.
 */
export function fitFirstStamps(
  coefficients: RateCoefficients,
  packets: readonly StampedPacket[],
  nominalPeriodS: number,
): RateState {
  const last = packets[packets.length - 1]!;
  const only = packets.length < 2;
  const slope = only ? nominalPeriodS : medianSlope(packets);
  const offsets = packets.map((packet) => packet.deviceS - slope * (packet.index - last.index));
  const middle = median(offsets);
  const scatter = 1.4826 * median(offsets.map((offset) => Math.abs(offset - middle)));
  const allowed = Math.max(0.5 * slope, 4 * scatter);
  const inliers = packets.filter((_, at) => Math.abs(offsets[at]! - middle) <= allowed);
  const n = inliers.length;
  const meanIndex = inliers.reduce((sum, packet) => sum + packet.index, 0) / n;
  const meanS = inliers.reduce((sum, packet) => sum + packet.deviceS, 0) / n;
  let sxx = 0;
  let sxy = 0;
  for (const packet of inliers) {
    sxx += (packet.index - meanIndex) ** 2;
    sxy += (packet.index - meanIndex) * (packet.deviceS - meanS);
  }
  const periodS = sxx > 0 ? sxy / sxx : slope;
  let squares = 0;
  for (const packet of inliers) squares += (packet.deviceS - meanS - periodS * (packet.index - meanIndex)) ** 2;
  const stampVariance = Math.max(coefficients.minStampVariance, n > 2 ? squares / (n - 2) : 0);
  const reach = last.index - meanIndex;
  return {
    index: last.index,
    timeS: meanS + periodS * reach,
    periodS,
    timeVariance: sxx > 0 ? stampVariance * (1 / n + (reach * reach) / sxx) : stampVariance,
    covariance: sxx > 0 ? (stampVariance * reach) / sxx : 0,
    periodVariance: sxx > 0 ? stampVariance / sxx : (0.05 * slope) ** 2,
    stampVariance,
    suspectS: null,
  };
}

/**
 * Takes the stamp of the next packet, or none where its stamp is not believed.
 *
 * @param jumpAllowed whether a jump is to be followed at once, as after a pause of the sensor.
 * @returns whether the line jumped.
 */
export function stepRate(
  coefficients: RateCoefficients,
  state: RateState,
  packet: { readonly index: number; readonly deviceS: number | null },
  jumpAllowed: boolean,
): boolean {
  const rows = packet.index - state.index;
  // Random walk of the period, integrated over the rows passed.
  const walk = state.periodS ** 3 * coefficients.wanderVariancePerS;
  state.index = packet.index;
  state.timeS += rows * state.periodS;
  state.timeVariance +=
    2 * rows * state.covariance + rows * rows * state.periodVariance + (walk * rows * rows * rows) / 3;
  state.covariance += rows * state.periodVariance + (walk * rows * rows) / 2;
  state.periodVariance += walk * rows;
  if (packet.deviceS === null) return false;
  const innovation = packet.deviceS - state.timeS;
  const variance = state.timeVariance + state.stampVariance;
  const allowed = Math.max(0.1 * state.periodS, coefficients.slipSigmas * Math.sqrt(variance));
  if (Math.abs(innovation) > allowed) {
    const repeated = state.suspectS !== null && Math.abs(innovation - state.suspectS) <= allowed;
    if (!jumpAllowed && !repeated) {
      state.suspectS = innovation;
      // Stamps that have become noisier must not stay suspects for ever.
      learnStampVariance(coefficients, state, innovation, variance);
      return false;
    }
    state.timeS = packet.deviceS;
    state.timeVariance = state.stampVariance;
    state.covariance = 0;
    state.suspectS = null;
    return true;
  }
  state.suspectS = null;
  const timeGain = state.timeVariance / variance;
  const periodGain = state.covariance / variance;
  learnStampVariance(coefficients, state, innovation, variance);
  state.timeS += timeGain * innovation;
  state.periodS += periodGain * innovation;
  state.periodVariance -= periodGain * state.covariance;
  state.covariance -= timeGain * state.covariance;
  state.timeVariance -= timeGain * state.timeVariance;
  return false;
}

function learnStampVariance(
  coefficients: RateCoefficients,
  state: RateState,
  innovation: number,
  variance: number,
): void {
  const learned = Math.min(innovation * innovation, 9 * variance) - variance;
  state.stampVariance = Math.max(
    coefficients.minStampVariance,
    state.stampVariance + coefficients.learningShare * learned,
  );
}

/** Median of the slopes between all pairs (H. Theil, 1950): a third of the stamps may be wild. */
function medianSlope(packets: readonly StampedPacket[]): number {
  const slopes: number[] = [];
  for (let a = 0; a < packets.length; a++) {
    for (let b = a + 1; b < packets.length; b++) {
      slopes.push((packets[b]!.deviceS - packets[a]!.deviceS) / (packets[b]!.index - packets[a]!.index));
    }
  }
  return median(slopes);
}

function median(values: readonly number[]): number {
  const sorted = [...values].sort((a, b) => a - b);
  const half = sorted.length >> 1;
  return sorted.length % 2 === 1 ? sorted[half]! : (sorted[half - 1]! + sorted[half]!) / 2;
}
