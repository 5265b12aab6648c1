/**
 * Bayesian straight line y = slope · x + offset with a normal prior on both, known errors of each point and an unknown
 * scatter about the line.
 *
 * Given the scatter everything is normal (Gelman et al. 2013, Bayesian Data Analysis, 3rd ed., section 14.8, prior as extra
 * data). The scatter is integrated over a grid of its logarithm, so the predictions are mixtures of normals; with a flat
 * prior and no other errors they are Student's t of classical regression.
 */

/** One point. */
export interface LinePoint {
  readonly x: number;
  readonly y: number;
  /** Variance of y's measurement alone. */
  readonly knownVariance: number;
  /** The unknown scatter, times this, is the standard deviation about the line here. */
  readonly scatterScale: number;
}

export interface LinePrior {
  readonly slope: number;
  readonly slopeSd: number;
  readonly offset: number;
  readonly offsetSd: number;
  /** Logarithm of the prior density of the scatter's logarithm, up to a constant. */
  readonly logScatterDensity: (logScatter: number) => number;
  /** Ends of the scatter's grid. */
  readonly scatterFrom: number;
  readonly scatterTo: number;
}

/** The line as one value of the scatter has it. */
interface LinePart {
  readonly weight: number;
  readonly scatter: number;
  readonly slope: number;
  readonly offset: number;
  readonly slopeVariance: number;
  readonly offsetVariance: number;
  readonly covariance: number;
}

/** What is believed of the line: a mixture over the scatter. */
export interface LineBelief {
  readonly parts: readonly LinePart[];
}

const gridSteps = 61;

/** @returns the belief after the points; without points the prior. */
export function believeLine(points: readonly LinePoint[], prior: LinePrior): LineBelief {
  const parts: LinePart[] = [];
  const logs: number[] = [];
  const from = Math.log(prior.scatterFrom);
  const to = Math.log(prior.scatterTo);
  for (let k = 0; k < gridSteps; k++) {
    const logScatter = from + ((to - from) * k) / (gridSteps - 1);
    const scatter = Math.exp(logScatter);
    // Normal equations, with the prior as two more points.
    let xx = prior.slopeSd ** -2;
    let xo = 0;
    let oo = prior.offsetSd ** -2;
    let xy = prior.slope * xx;
    let oy = prior.offset * oo;
    let log = prior.logScatterDensity(logScatter);
    let yy = prior.slope ** 2 * xx + prior.offset ** 2 * oo;
    for (const { x, y, knownVariance, scatterScale } of points) {
      const w = 1 / (knownVariance + (scatter * scatterScale) ** 2);
      xx += w * x * x;
      xo += w * x;
      oo += w;
      xy += w * x * y;
      oy += w * y;
      yy += w * y * y;
      log += 0.5 * Math.log(w);
    }
    const determinant = xx * oo - xo * xo;
    const slope = (xy * oo - oy * xo) / determinant;
    const offset = (oy * xx - xy * xo) / determinant;
    logs.push(log - 0.5 * Math.log(determinant) - 0.5 * (yy - slope * xy - offset * oy));
    parts.push({
      weight: 0,
      scatter,
      slope,
      offset,
      slopeVariance: oo / determinant,
      offsetVariance: xx / determinant,
      covariance: -xo / determinant,
    });
  }
  const most = Math.max(...logs);
  const weights = logs.map((log) => Math.exp(log - most));
  const sum = weights.reduce((a, b) => a + b, 0);
  return { parts: parts.map((part, k) => ({ ...part, weight: weights[k]! / sum })) };
}

/** A predicted value: mean, standard deviation and the interval of probability 90 %. */
export interface LinePrediction {
  readonly mean: number;
  readonly standardDeviation: number;
  readonly interval90: readonly [number, number];
  /** @returns the probability of a value as far out as `y` or further, both tails together. */
  readonly tailShare: (y: number) => number;
}

/**
 * Predicts y of a new point.
 *
 * @param x where.
 * @param xVariance variance of x itself.
 * @param scatterScale as in the points.
 * @param knownVariance further variance of what will be measured; 0 for the true value.
 */
export function predictLine(
  belief: LineBelief,
  x: number,
  xVariance: number,
  scatterScale: number,
  knownVariance = 0,
): LinePrediction {
  const normals = belief.parts.map((part) => ({
    weight: part.weight,
    mean: part.slope * x + part.offset,
    variance:
      part.slopeVariance * x * x +
      2 * part.covariance * x +
      part.offsetVariance +
      (part.scatter * scatterScale) ** 2 +
      (part.slope ** 2 + part.slopeVariance) * xVariance +
      knownVariance,
  }));
  const mean = normals.reduce((sum, n) => sum + n.weight * n.mean, 0);
  const variance = normals.reduce((sum, n) => sum + n.weight * (n.variance + (n.mean - mean) ** 2), 0);
  const below = (y: number) =>
    normals.reduce((sum, n) => sum + n.weight * normalBelow((y - n.mean) / Math.sqrt(n.variance)), 0);
  const sd = Math.sqrt(variance);
  return {
    mean,
    standardDeviation: sd,
    interval90: [quantile(below, 0.05, mean, sd), quantile(below, 0.95, mean, sd)],
    tailShare: (y) => 2 * Math.min(below(y), 1 - below(y)),
  };
}

function quantile(below: (y: number) => number, share: number, mean: number, sd: number): number {
  // Whatever the mixture, a twentieth of it lies beyond no more than √19 standard deviations (Cantelli's inequality).
  let low = mean - 4.5 * sd;
  let high = mean + 4.5 * sd;
  for (let k = 0; k < 40; k++) {
    const middle = (low + high) / 2;
    if (below(middle) < share) low = middle;
    else high = middle;
  }
  return (low + high) / 2;
}

/**
 * Standard normal distribution function, relative error below 1e-7: the complementary error function as a Chebyshev
 * expansion in exponential form (Press et al. 1992, Numerical Recipes, 2nd ed., section 6.2).
 */
export function normalBelow(z: number): number {
  const x = Math.abs(z) / Math.SQRT2;
  const t = 1 / (1 + 0.5 * x);
  const coefficients = [
    -1.26551223, 1.00002368, 0.37409196, 0.09678418, -0.18628806, 0.27886807, -1.13520398, 1.48851587, -0.82215223,
    0.17087277,
  ];
  let sum = 0;
  for (let k = coefficients.length - 1; k >= 0; k--) sum = sum * t + coefficients[k]!;
  const tail = 0.5 * t * Math.exp(-x * x + sum);
  return z > 0 ? 1 - tail : tail;
}
