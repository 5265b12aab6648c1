import { requireBetween } from './checks.ts';

/** Straight borders of Wald's test in the plane of tries n and successes: at or above `reject`, at or below `accept`. */
export interface RatioBorders {
  readonly slope: number;
  readonly acceptIntercept: number;
  readonly rejectIntercept: number;
}

/**
 * Borders of Wald's sequential probability ratio test of a proportion p0 against a larger p1 (Wald 1945, Ann. Math. Stat.
 * 16:117). Error rates are held to Wald's approximation, which ignores the overshoot and so is a little on the safe side.
 *
 * @param alpha chance to reject p0 where it holds; @param beta chance to accept p0 where p1 holds.
 */
export function ratioBorders(p0: number, p1: number, alpha: number, beta: number): RatioBorders {
  requireBetween('p0', p0, 0, 1);
  requireBetween('p1', p1, p0, 1);
  requireBetween('alpha', alpha, 0, 1);
  requireBetween('beta', beta, 0, 1);
  const success = Math.log(p1 / p0);
  const failure = Math.log((1 - p0) / (1 - p1));
  const whole = success + failure;
  return Object.freeze({
    slope: failure / whole,
    acceptIntercept: Math.log(beta / (1 - alpha)) / whole,
    rejectIntercept: Math.log((1 - beta) / alpha) / whole,
  });
}

/** @returns what the test says after `tries` with `successes`. */
export function decideRatio(borders: RatioBorders, tries: number, successes: number): 'accept' | 'reject' | 'go-on' {
  const line = borders.slope * tries;
  if (successes >= borders.rejectIntercept + line) return 'reject';
  if (successes <= borders.acceptIntercept + line) return 'accept';
  return 'go-on';
}
