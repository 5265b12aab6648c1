import { type Insufficient, insufficient, requireBetween, requireFinite, requireSameLength } from './checks.ts';
import { lagOneCorrelation, mean } from './descriptive.ts';
import { fUpper } from './f-distribution.ts';
import type { Interval } from './proportion-interval.ts';
import { studentQuantile, studentTwoSided } from './student-t.ts';

export interface LineFit {
  readonly kind: 'line';
  readonly slope: number;
  readonly slopeError: number;
  readonly intercept: number;
  readonly interceptError: number;
  readonly residualSd: number;
  readonly rSquared: number;
  readonly f: number;
  readonly fP: number;
  readonly residuals: Float64Array;
}

/** Straight line by least squares through values y over x, for independent errors. */
export function fitLine(x: ArrayLike<number>, y: ArrayLike<number>): LineFit | Insufficient {
  requireSameLength('x and y', x, y);
  requireFinite('x', x);
  requireFinite('y', y);
  const n = x.length;
  if (n < 3) return insufficient('a slope with its error needs three values');
  const meanX = mean(x);
  const meanY = mean(y);
  let [xx, xy, yy] = [0, 0, 0];
  for (let i = 0; i < n; i++) {
    const dx = x[i]! - meanX;
    const dy = y[i]! - meanY;
    xx += dx * dx;
    xy += dx * dy;
    yy += dy * dy;
  }
  if (!(xx > 0)) return insufficient('all values stand at one place, so there is no slope');
  const slope = xy / xx;
  const intercept = meanY - slope * meanX;
  const residuals = Float64Array.from({ length: n }, (_, i) => y[i]! - meanY - slope * (x[i]! - meanX));
  let rest = 0;
  for (const residual of residuals) rest += residual * residual;
  const residualSd = Math.sqrt(rest / (n - 2));
  const f = rest > 0 ? (slope * xy * (n - 2)) / rest : Number.POSITIVE_INFINITY;
  return {
    kind: 'line',
    slope,
    slopeError: residualSd / Math.sqrt(xx),
    intercept,
    interceptError: residualSd * Math.sqrt(1 / n + meanX ** 2 / xx),
    residualSd,
    rSquared: yy > 0 ? 1 - rest / yy : 0,
    f,
    fP: Number.isFinite(f) ? fUpper(f, 1, n - 2) : 0,
    residuals,
  };
}

export interface TrendResult {
  readonly kind: 'trend';
  /** Change of the value a unit of x. */
  readonly slope: number;
  readonly standardError: number;
  readonly df: number;
  readonly interval: Interval;
  readonly pTwoSided: number;
  /** Correlation of neighbouring residuals that was allowed for. */
  readonly serialCorrelation: number;
}

/**
 * Slope with its interval where neighbouring values hang together: correlation of neighbouring residuals, corrected for what
 * fitting a line hides of it, freed from the data, then least squares (Prais and Winsten 1954; bias about
 * (2 + 4 rho) / n under a line, Tjøstheim and Paulsen 1983, Biometrika 70:389). A negative correlation is taken for none, and degrees of freedom
 * shrink to those of independent values, n (1 - rho) / (1 + rho), less two.
 *
 * @param x place of each value, in order; @param y values; 8 or more.
 */
export function trendWithSerialCorrelation(
  x: ArrayLike<number>,
  y: ArrayLike<number>,
  confidence = 0.95,
): TrendResult | Insufficient {
  requireBetween('confidence', confidence, 0, 1);
  const n = x.length;
  const plain = fitLine(x, y);
  if (plain.kind !== 'line') return plain;
  if (n < 8) return insufficient('a slope with allowance for serial correlation needs eight values');
  const raw = lagOneCorrelation(plain.residuals);
  const rho = Math.max(0, Math.min(0.95, (raw * n + 2) / Math.max(1, n - 4)));
  const first = Math.sqrt(1 - rho * rho);
  let [oo, ox, xx, oy, xy] = [0, 0, 0, 0, 0];
  const rows = Array.from({ length: n }, (_, i) =>
    i === 0 ? [first, first * x[0]!, first * y[0]!] : [1 - rho, x[i]! - rho * x[i - 1]!, y[i]! - rho * y[i - 1]!],
  );
  for (const row of rows) {
    oo += row[0]! * row[0]!;
    ox += row[0]! * row[1]!;
    xx += row[1]! * row[1]!;
    oy += row[0]! * row[2]!;
    xy += row[1]! * row[2]!;
  }
  const information = xx - (ox * ox) / oo;
  const slope = (xy - (ox * oy) / oo) / information;
  const level = (oy - slope * ox) / oo;
  let rest = 0;
  for (const row of rows) rest += (row[2]! - level * row[0]! - slope * row[1]!) ** 2;
  if (!(rest > 0)) return insufficient('the values lie on a line without any spread, so its error is not known');
  const df = Math.max(1, (n * (1 - rho)) / (1 + rho) - 2);
  const standardError = Math.sqrt(rest / (n - 2) / information);
  const half = studentQuantile(0.5 + confidence / 2, df) * standardError;
  return Object.freeze({
    kind: 'trend',
    slope,
    standardError,
    df,
    interval: [slope - half, slope + half] as const,
    pTwoSided: studentTwoSided(slope / standardError, df),
    serialCorrelation: rho,
  });
}
