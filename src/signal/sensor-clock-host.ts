/**
 * Straight line under the delays: host time against recording time, from the lower edge.
 *
 * A notification is never early, and late by anything from milliseconds to a second; so only the earliest of each
 * stretch of a few seconds counts, and of these the late ones count less. After S. B. Moon, P. Skelly, D. Towsley,
 * "Estimation and removal of clock skew from network delay measurements", IEEE INFOCOM 1999.
 * Deviations: 1. instead of a line that touches the lowest points (one wrong stamp tips it), a line through the minima
 * with weights that fall for late ones, lowered by their scatter: the least of many delays lies above the edge by as
 * much as it scatters when it is distributed exponentially; 2. old stretches are forgotten, since a crystal drifts with
 * temperature. A constant delay cannot be told from an offset: the offset includes the least delay of the way.
 */

import type { SensorClockParams } from './sensor-clock-params.ts';

/** The earliest notification of a stretch. `excessS` is host time − recording time − the base of the state. */
export interface EarliestPoint {
  readonly timeS: number;
  readonly excessS: number;
}

/** host time = base + recording time + offsetS + drift × (recording time − referenceS). */
export interface HostLine {
  readonly referenceS: number;
  readonly offsetS: number;
  readonly offsetStandardErrorS: number;
  /** Seconds the host's clock gains on the device's per second of the device. */
  readonly drift: number;
  readonly driftStandardError: number;
}

export interface DriftPrior {
  readonly drift: number;
  readonly standardError: number;
}

/** What is remembered for the host fit: plain numbers, storable as JSON. */
export interface HostState {
  /** Host time − recording time of the first point, so that excesses are small numbers. */
  baseS: number;
  bins: EarliestPoint[];
  current: { bin: number; point: EarliestPoint } | null;
  line: HostLine | null;
  prior: DriftPrior;
  /** Least excess over the line of runs of `warmUpPackets` packets: what a restart will be measured with. */
  run: { count: number; leastS: number };
  runs: number;
  runMeanS: number;
  runVarianceS2: number;
}

/** Share by which each run of packets moves the learned mean and variance of its least delay. */
const runLearningShare = 0.05;
const iterations = 12;
/** With fewer minima than this their scatter is assumed, not measured. */
const fewPoints = 6;
/** Least scatter believed of the minima: a host stamps to about 0.1 ms at best. */
const minScatterS = 1e-4;

/**
 * @param points minima of equal stretches, at least one.
 * @param fewScatterS scatter assumed while there are fewer than six minima.
 */
export function fitHostLine(points: readonly EarliestPoint[], prior: DriftPrior, fewScatterS: number): HostLine {
  const n = points.length;
  const residuals = new Float64Array(n);
  const weights = new Float64Array(n).fill(1);
  const sizes = new Float64Array(n);
  let scatter = fewScatterS;
  let drift = prior.drift;
  let referenceS = 0;
  let offset = 0;
  let sumW = 0;
  let sumWtt = 0;
  for (let pass = 0; pass < iterations; pass++) {
    sumW = 0;
    let sumT = 0;
    for (let at = 0; at < n; at++) {
      sumW += weights[at]!;
      sumT += weights[at]! * points[at]!.timeS;
    }
    referenceS = sumT / sumW;
    let sumE = 0;
    for (let at = 0; at < n; at++) sumE += weights[at]! * points[at]!.excessS;
    offset = sumE / sumW;
    sumWtt = 0;
    let sumTe = 0;
    for (let at = 0; at < n; at++) {
      const t = points[at]!.timeS - referenceS;
      sumWtt += weights[at]! * t * t;
      sumTe += weights[at]! * t * (points[at]!.excessS - offset);
    }
    const priorWeight = (scatter / prior.standardError) ** 2;
    drift = (sumTe + priorWeight * prior.drift) / (sumWtt + priorWeight);
    for (let at = 0; at < n; at++) {
      const point = points[at]!;
      residuals[at] = point.excessS - offset - drift * (point.timeS - referenceS);
    }
    if (n < fewPoints) break;
    scatter = Math.max(minScatterS, 1.4826 * medianSize(residuals, sizes));
    for (let at = 0; at < n; at++) {
      const late = Math.max(0, residuals[at]!) / (2 * scatter);
      weights[at] = 1 / (1 + late * late) ** 2;
    }
  }
  // Errors from the residuals themselves (sandwich form, P. J. Huber 1967), because the weights say nothing of the true
  // scatter; what a residual moves is the slope of weight × residual, not the weight.
  let pull = 0;
  let pullTt = 0;
  let offsetSquares = 0;
  let driftSquares = 0;
  let scatterSquares = 0;
  for (let at = 0; at < n; at++) {
    const wr = (weights[at]! * residuals[at]!) ** 2;
    const tt = (points[at]!.timeS - referenceS) ** 2;
    const late = (Math.max(0, residuals[at]!) / (2 * scatter)) ** 2;
    const slope = (1 - 3 * late) / (1 + late) ** 3;
    pull += slope;
    pullTt += slope * tt;
    offsetSquares += wr;
    driftSquares += wr * tt;
    scatterSquares += weights[at]! * residuals[at]! ** 2;
  }
  // Two numbers were fitted, and the scatter of few residuals is itself uncertain (variance of Student's t).
  const few = (n / (n - 2)) * ((n - 2) / (n - 4));
  const edge = n < fewPoints ? 0 : Math.max(minScatterS, Math.sqrt((few * scatterSquares) / sumW));
  const priorWeight = (scatter / prior.standardError) ** 2;
  const breadTt = Math.max(pullTt, 0.25 * sumWtt) + priorWeight;
  const driftVariance =
    n < fewPoints
      ? scatter ** 2 / (sumWtt + priorWeight)
      : (few * driftSquares + priorWeight ** 2 * prior.standardError ** 2) / breadTt ** 2;
  // The step from the minima down to the edge is known to about half its size, whatever the delays' distribution.
  const offsetVariance =
    n < fewPoints ? scatter ** 2 / n : (few * offsetSquares) / Math.max(pull, 0.25 * sumW) ** 2 + (edge / 2) ** 2;
  return {
    referenceS,
    offsetS: offset - edge,
    offsetStandardErrorS: Math.sqrt(offsetVariance),
    drift,
    driftStandardError: Math.sqrt(driftVariance),
  };
}

/** @param sizes memory as long as the values, for their sizes. */
function medianSize(values: Float64Array, sizes: Float64Array): number {
  const n = values.length;
  for (let at = 0; at < n; at++) sizes[at] = Math.abs(values[at]!);
  const half = n >> 1;
  const upper = selectNth(sizes, half);
  if (n % 2 === 1) return upper;
  let lower = sizes[0]!;
  for (let at = 1; at < half; at++) lower = Math.max(lower, sizes[at]!);
  return (lower + upper) / 2;
}

/** Puts the value with `n` smaller ones in its place, smaller ones before it (C. A. R. Hoare 1961, Commun. ACM 4:321, "Find"). */
function selectNth(values: Float64Array, n: number): number {
  let left = 0;
  let right = values.length - 1;
  while (left < right) {
    const pivot = values[(left + right) >> 1]!;
    let i = left;
    let j = right;
    while (i <= j) {
      while (values[i]! < pivot) i++;
      while (values[j]! > pivot) j--;
      if (i <= j) {
        const swapped = values[i]!;
        values[i] = values[j]!;
        values[j] = swapped;
        i++;
        j--;
      }
    }
    if (n <= j) right = j;
    else if (n >= i) left = i;
    else break;
  }
  return values[n]!;
}

/** @returns the state before the first host time; `baseS` is host time minus recording time, roughly. */
export function emptyHost(baseS: number, prior: DriftPrior): HostState {
  return {
    baseS,
    bins: [],
    current: null,
    line: null,
    prior,
    run: { count: 0, leastS: 0 },
    runs: 0,
    runMeanS: 0,
    runVarianceS2: 0,
  };
}

/** Takes the host time of a notification whose last row was taken at recording time `timeS`. */
export function stepHost(params: SensorClockParams, host: HostState, hostTimeS: number, timeS: number): void {
  const point = { timeS, excessS: hostTimeS - timeS - host.baseS };
  const bin = Math.floor(timeS / params.hostBinS);
  if (host.current !== null && host.current.bin !== bin) {
    host.bins.push(host.current.point);
    if (host.bins.length > params.hostBinCount) host.bins.shift();
    host.current = null;
    host.line = fitHostLine(host.bins, host.prior, params.unknownDelayS);
  }
  const drift = host.line?.drift ?? host.prior.drift;
  const known = host.current?.point;
  if (known === undefined || point.excessS - known.excessS < drift * (point.timeS - known.timeS)) {
    host.current = { bin, point };
  }
  if (host.line === null) return;
  const aboveS = point.excessS - host.line.offsetS - drift * (point.timeS - host.line.referenceS);
  host.run.leastS = host.run.count === 0 ? aboveS : Math.min(host.run.leastS, aboveS);
  host.run.count += 1;
  if (host.run.count < params.warmUpPackets) return;
  host.runs += 1;
  const share = Math.max(1 / host.runs, runLearningShare);
  const off = host.run.leastS - host.runMeanS;
  host.runMeanS += share * off;
  host.runVarianceS2 = (1 - share) * (host.runVarianceS2 + share * off * off);
  host.run.count = 0;
}

/** @returns the line of the closed stretches, or of the running one while none is closed. */
export function hostLineNow(params: SensorClockParams, host: HostState): HostLine | null {
  if (host.line !== null) return host.line;
  if (host.current === null) return null;
  return fitHostLine([host.current.point], host.prior, params.unknownDelayS);
}
