import type { Measured } from '../../foundation/measured.ts';

/** How the sign of a measure is said: as it is, or by the side it points to. */
export type SignWords = 'plain' | 'left-right' | 'clockwise';

const sideWords = { 'left-right': ['left', 'right'], clockwise: ['clockwise', 'counter'] } as const;

/**
 * @returns a measured number as a person reads it: `0.612 ±0.008`, `4.1 ±0.6 left`, an interval where the error is
 *   lopsided, flags behind it; or the reason word where there is no number.
 */
export function measuredText(measured: Measured, signs: SignWords): string {
  if (measured.value === null) return measured.reason;
  const { value, standardError, interval90, flags = [] } = measured;
  const decimals = decimalsFor(interval90 ? (interval90[1] - interval90[0]) / 3.29 : standardError);
  const side = signs === 'plain' ? null : sideWords[signs][value < 0 ? 1 : 0];
  const flip = side !== null && value < 0 ? -1 : 1;
  const shown = rounded(flip * value, decimals);
  const ends = interval90?.map((end) => rounded(flip * end, decimals));
  if (ends && flip < 0) ends.reverse();
  const error = ends ? `(${ends[0]} to ${ends[1]})` : `±${roundedError(standardError, decimals)}`;
  const words = [shown, error];
  if (side !== null && Number(shown) !== 0) words.push(side);
  return [...words, ...flags].join(' ');
}

/** @returns a time with the decimals that its error allows, `12.345 ±0.002`. */
export function timeText(timeS: number | null, errorS: number | null, reason: string | undefined): string {
  if (timeS === null) return reason ?? '–';
  if (errorS === null) return timeS.toFixed(3);
  const decimals = decimalsFor(errorS);
  return `${rounded(timeS, decimals)} ±${roundedError(errorS, decimals)}`;
}

/** Two significant digits of the error where its first is 1, else one; at most a thousandth. */
function decimalsFor(error: number): number {
  if (!(error > 0)) return 3;
  const exponent = Math.floor(Math.log10(error));
  const first = error / 10 ** exponent;
  return Math.min(3, Math.max(0, (first < 1.95 ? 1 : 0) - exponent));
}

function rounded(value: number, decimals: number): string {
  const text = value.toFixed(decimals);
  return Number(text) === 0 ? text.replace('-', '') : text;
}

/** An error is never rounded away. */
function roundedError(error: number, decimals: number): string {
  return rounded(error > 0 ? Math.max(error, 10 ** -decimals) : error, decimals);
}
