import { type Insufficient, insufficient, requireFinite } from './checks.ts';
import { normalUpper } from './normal-distribution.ts';

export interface CircularSummary {
  readonly kind: 'circular';
  readonly count: number;
  /** Mean direction in (-π, π]. */
  readonly meanRad: number;
  /** Mean resultant length, 0 (spread all round) to 1 (all the same). */
  readonly resultant: number;
  /** sqrt(-2 ln resultant): the standard deviation of a wrapped normal distribution. */
  readonly spreadRad: number;
}

/** Mean direction and concentration of angles (Mardia and Jupp 2000, Directional Statistics, chapter 2; from memory). */
export function summarizeAngles(anglesRad: ArrayLike<number>): CircularSummary | Insufficient {
  requireFinite('anglesRad', anglesRad);
  const n = anglesRad.length;
  if (n === 0) return insufficient('there is no angle');
  let [sine, cosine] = [0, 0];
  for (let i = 0; i < n; i++) {
    sine += Math.sin(anglesRad[i]!);
    cosine += Math.cos(anglesRad[i]!);
  }
  const resultant = Math.min(1, Math.hypot(sine, cosine) / n);
  return Object.freeze({
    kind: 'circular',
    count: n,
    meanRad: Math.atan2(sine, cosine),
    resultant,
    spreadRad: Math.sqrt(Math.max(0, -2 * Math.log(Math.max(resultant, Number.MIN_VALUE)))),
  });
}

/**
 * Whether angles have any direction (Rayleigh): z = n r² and p by Zar's approximation (Zar 1999, Biostatistical Analysis,
 * equation 27.4).
 */
export function rayleighTest(count: number, resultant: number): { readonly z: number; readonly p: number } {
  const length = count * resultant;
  const p = Math.exp(Math.sqrt(1 + 4 * count + 4 * (count * count - length * length)) - (1 + 2 * count));
  return { z: count * resultant * resultant, p: Math.min(1, p) };
}

/** Whether angles gather about a direction given beforehand (V-test; Zar 1999, section 27.1c; normal approximation; from memory). */
export function vTest(
  summary: CircularSummary,
  directionRad: number,
): { readonly v: number; readonly u: number; readonly p: number } {
  const v = summary.count * summary.resultant * Math.cos(summary.meanRad - directionRad);
  const u = v * Math.sqrt(2 / summary.count);
  return { v, u, p: normalUpper(u) };
}
