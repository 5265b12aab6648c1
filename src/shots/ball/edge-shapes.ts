/**
 * Sharpens the instant at which a force begins or ends to below one sample, through the sensor's own low-pass filter.
 *
 * The force is taken as one of a family of shapes (ramps of several lengths that level off or fall again; fades that end straight,
 * gently or quickly, some with fingertips dragging behind them), the filter as a second-order Butterworth low-pass of the given group delay τ (cut-off √2 / τ rad/s),
 * whose answers to step, ramp and parabola are known in closed form. Every shape and instant on a grid is weighed by how
 * well it explains the samples around the edge (Bayes with flat priors; its size is free); mean and spread of the instant
 * follow. Source of the filter's answers: inverse Laplace transform of ω² / (s (s² + √2 ω s + ω²)) and its integrals.
 */

/** The samples around one edge. */
export interface EdgeSamples {
  readonly timeS: readonly number[];
  /** Size of the force per unit mass, m/s². */
  readonly forceMps2: readonly number[];
  /** Whether the force was at least this, since the sensor was at its end; nowhere where it is left out. */
  readonly atLeast?: readonly boolean[];
  /** Noise of one of them. */
  readonly noiseMps2: number;
  readonly filterDelayS: number;
  /** Whether a hand met the ball: it may push hard and yet not at once. */
  readonly byHand?: boolean;
}

export interface EdgeInstant {
  /** Instant at which the unfiltered force passes the touch threshold, s, later than the motion by the filter's delay. */
  readonly timeS: number;
  readonly standardErrorS: number;
}

interface Shape {
  /** Seconds from the edge to the full size. */
  readonly lengthS: number;
  /** Filtered force at `x` seconds after the edge for unit size. */
  readonly at: (x: number) => number;
  /** Seconds from the edge (start or end of the force) to a force of `share` of the size. */
  readonly toShare: (share: number) => number;
  /** How likely the shape is before anything was seen, against the others. */
  readonly weight: number;
}

/** A shape with the sizes of its filtered force as far as they were needed yet: there are few, asked for again and again. */
interface TabledShape extends Shape {
  /** At `tabled.stepS` apart from -`tabled.halfS` on; NaN where nobody asked yet. */
  readonly sizes: Float64Array;
}

/** Finer than a hundredth of a sample at 500 Hz; between two of them the force runs straight. */
const tabled = { halfS: 0.12, stepS: 2e-5 } as const;
const tabledCount = 2 * Math.round(tabled.halfS / tabled.stepS) + 1;

/** @returns where in a shape's table the size at `x` seconds after the edge stands, with a fraction; −1 beyond it. */
function placeOf(x: number): number {
  const at = (x + tabled.halfS) / tabled.stepS;
  // Written this way round because a comparison with NaN is false.
  return at >= 0 && at < tabledCount - 1 ? at : -1;
}

/** Works out one size of a shape's table. */
function tabledSize(shape: TabledShape, i: number): number {
  const size = Math.abs(shape.at(i * tabled.stepS - tabled.halfS));
  shape.sizes[i] = size;
  return size;
}

/** Steps of the grid of instants per sample interval. */
const gridPerSample = 10;
/**
 * Shapes are only caricatures: each sample may miss by this share of itself and of the largest one. Hands let go in ways that the
 * family of fades holds nearly; what iron, net and wood do at first is less well told.
 */
const shapeError = {
  onset: { ofItself: 0.12, ofLargest: 0.005 },
  fade: { ofItself: 0.06, ofLargest: 0.006 },
} as const;
/**
 * Least error of an instant: a share of the sample interval, and for a hand's fade, whose last part is anyone's guess, a
 * time of its own, s.
 */
const leastError = { onset: 0.12, fade: 0.15, fadeS: 0.0004 } as const;

/** exp(-40) of the likelihood of the best. */
const hopelessCost = 80;

/**
 * Fingertips that drag behind the push: how long, s, with which share of its size, over what time they let go, s, behind which pushes, and
 * how common that is against a push without it.
 */
const tails = {
  lastS: [0.008, 0.014, 0.02, 0.028],
  share: [0.02, 0.04, 0.08],
  endS: 0.003,
  leastFadeS: 0.015,
  weight: 0.4,
} as const;

/**
 * Balls that bounce for 8 to 15 ms off iron, glass or wood and change their speed by 4 to 16 m/s begin to be pushed this steeply, m/s³, and so
 * many natural logarithms apart: a half sine of impulse J and length T rises by π² J / (2 T²). It tells what a sensor at its end hides.
 */
const bounceSlope = { usualMps3: 5e5, spread: 0.8 } as const;

/** A force that comes to this size within a few samples is no net's and no hand's, m/s², and has its size after this time, s. */
const hardTouch = { forceMps2: 90, lengthS: 0.01 } as const;

/** @returns answer of the sensor's filter, of this group delay, to a ramp of slope 1 that starts at 0. */
export function ramp(t: number, delayS: number): number {
  if (t <= 0) return 0;
  if (delayS === 0) return t;
  const x = t / delayS;
  return t - delayS + delayS * Math.exp(-x) * Math.cos(x);
}

/** Answer of the filter to t². */
function parabola(t: number, delayS: number): number {
  if (t <= 0) return 0;
  if (delayS === 0) return t * t;
  const x = t / delayS;
  return t * t - 2 * delayS * t + delayS * delayS * (1 + Math.exp(-x) * (Math.sin(x) - Math.cos(x)));
}

/** Answer of the filter to t³. */
function cubic(t: number, delayS: number): number {
  if (t <= 0) return 0;
  if (delayS === 0) return t * t * t;
  const x = t / delayS;
  return t * t * t - 3 * delayS * t * t + 3 * delayS * delayS * t - 3 * delayS ** 3 * Math.exp(-x) * Math.sin(x);
}

/** Forces that begin at 0. */
function onsetShapes(delayS: number): Shape[] {
  const shapes: Shape[] = [];
  for (const length of [0.0005, 0.002, 0.005, 0.01, 0.02, 0.045]) {
    shapes.push({
      lengthS: length,
      at: (x) => (ramp(x, delayS) - ramp(x - length, delayS)) / length,
      toShare: (share) => share * length,
      weight: 1,
    });
    shapes.push({
      lengthS: length,
      at: (x) => (ramp(x, delayS) - 2 * ramp(x - length, delayS) + ramp(x - 2 * length, delayS)) / length,
      toShare: (share) => share * length,
      weight: 1,
    });
  }
  for (const length of [0.01, 0.02, 0.045]) {
    shapes.push({
      lengthS: length,
      at: (x) => parabola(x, delayS) / (length * length),
      toShare: (share) => Math.sqrt(share) * length,
      weight: 1,
    });
  }
  // What gives way and stiffens at once, as hands and foam do, hardly pushes at first, and levels off as gently.
  for (const length of [0.005, 0.01, 0.016, 0.025]) {
    shapes.push({
      lengthS: length,
      at: (x) =>
        (2 / length ** 2) * (parabola(x, delayS) - 2 * parabola(x - length / 2, delayS) + parabola(x - length, delayS)),
      toShare: (share) => length * Math.sqrt(share / 2),
      weight: 0.75,
    });
    shapes.push({
      lengthS: length,
      at: (x) =>
        (4 / length ** 3) * (cubic(x, delayS) - cubic(x - length, delayS)) -
        (12 / length ** 2) * parabola(x - length / 2, delayS),
      toShare: (share) => length * Math.cbrt(share / 4),
      weight: 0.75,
    });
  }
  return shapes;
}

/** Forces that end at 0: straight, ever more gently, and ever more quickly, some with the fingertips still dragging behind. */
function fadeShapes(delayS: number): Shape[] {
  const shapes: Shape[] = [];
  const straight = (length: number) => (x: number) => 1 - (ramp(x + length, delayS) - ramp(x, delayS)) / length;
  for (const length of [0.001, 0.004, 0.008, 0.015, 0.03, 0.06]) {
    const l2 = length * length;
    const bent = (x: number) => (parabola(x + length, delayS) - parabola(x, delayS)) / l2;
    const gentle = (x: number) => 1 - (2 / length) * ramp(x + length, delayS) + bent(x);
    const plain: Shape[] = [
      { lengthS: length, at: straight(length), toShare: (share) => -share * length, weight: 1 },
      { lengthS: length, at: gentle, toShare: (share) => -Math.sqrt(share) * length, weight: 1 },
      {
        lengthS: length,
        at: (x) => 1 - bent(x) + (2 / length) * ramp(x, delayS),
        toShare: (share) => -(1 - Math.sqrt(1 - Math.min(1, share))) * length,
        weight: 0.4,
      },
      {
        lengthS: length,
        at: (x) =>
          1 - (2 / l2) * (parabola(x + length, delayS) - 2 * parabola(x + length / 2, delayS) + parabola(x, delayS)),
        toShare: (share) => -length * (share < 0.5 ? Math.sqrt(share / 2) : 1 - Math.sqrt(Math.max(0, 1 - share) / 2)),
        weight: 1,
      },
    ];
    shapes.push(...plain);
    if (length < tails.leastFadeS) continue;
    const tail = straight(tails.endS);
    for (const lastsS of tails.lastS) {
      for (const share of tails.share) {
        shapes.push({
          lengthS: length + lastsS,
          at: (x) => (1 - share) * gentle(x + lastsS) + share * tail(x),
          toShare: (wanted) =>
            wanted < share
              ? (-wanted / share) * tails.endS
              : -lastsS - Math.sqrt((wanted - share) / (1 - share)) * length,
          weight: tails.weight / (tails.lastS.length * tails.share.length),
        });
      }
    }
  }
  return shapes;
}

/** A stream has one delay; a few are kept. */
const shapeCache = new Map<string, TabledShape[]>();
const largestCache = 8;

function shapesFor(kind: 'onset' | 'fade', delayS: number): TabledShape[] {
  const key = `${kind} ${delayS}`;
  let shapes = shapeCache.get(key);
  if (!shapes) {
    if (shapeCache.size >= largestCache) shapeCache.clear();
    const family = kind === 'onset' ? onsetShapes(delayS) : fadeShapes(delayS);
    shapes = family.map((shape) => ({ ...shape, sizes: new Float64Array(tabledCount).fill(Number.NaN) }));
    shapeCache.set(key, shapes);
  }
  return shapes;
}

/**
 * Estimates the instant of an edge.
 *
 * @param kind `onset`: the force begins; `fade`: it ends.
 * @param fromS earliest instant, on the sensor's delayed time.
 * @param toS latest instant.
 * @param stepS sample interval.
 * @param touchMps2 force that counts as touch.
 * @returns the instant, or null where no shape explains the samples.
 */
export function estimateEdge(
  kind: 'onset' | 'fade',
  samples: EdgeSamples,
  fromS: number,
  toS: number,
  stepS: number,
  touchMps2: number,
): EdgeInstant | null {
  const { timeS, forceMps2, atLeast = [], noiseMps2, filterDelayS } = samples;
  const n = timeS.length;
  const largest = Math.max(...forceMps2);
  const { ofItself, ofLargest } = shapeError[kind];
  const forces = Float64Array.from(forceMps2);
  const weights = forces.map((f) => {
    const error = noiseMps2 + ofItself * f + ofLargest * largest;
    return 1 / (error * error);
  });
  const step = stepS / gridPerSample;
  // The grid runs over true instants; the samples are later by the filter's delay.
  const first = fromS - 2 * filterDelayS;
  const count = Math.ceil((toS - first) / step);
  const instants: number[] = [];
  const costs: number[] = [];
  let least = Infinity;
  const model = new Float64Array(n);
  // All shapes are asked for the same instants.
  const places = new Float64Array((count + 1) * n);
  for (let k = 0; k <= count; k++) {
    const edge = first + k * step;
    for (let i = 0; i < n; i++) places[k * n + i] = placeOf((timeS[i] as number) - edge);
  }
  // Iron, wood and floor are done in a hundredth; only net and hands take longer.
  const clipped = atLeast.some(Boolean);
  const beyond = kind === 'onset' && clipped;
  const hard = kind === 'onset' && !samples.byHand && (largest > hardTouch.forceMps2 || beyond);
  for (const shape of shapesFor(kind, filterDelayS)) {
    if (hard && shape.lengthS > hardTouch.lengthS) continue;
    const { sizes } = shape;
    const rarity = -2 * Math.log(shape.weight);
    for (let k = 0; k <= count; k++) {
      const edge = first + k * step;
      let mm = 0;
      let mf = 0;
      for (let i = 0; i < n; i++) {
        const at = places[k * n + i] as number;
        // A filter swings to the other side after a sudden end: only the size was seen.
        let m: number;
        if (at < 0) m = Math.abs(shape.at((timeS[i] as number) - edge));
        else {
          const before = Math.floor(at);
          let a = sizes[before] as number;
          let b = sizes[before + 1] as number;
          if (Number.isNaN(a)) a = tabledSize(shape, before);
          if (Number.isNaN(b)) b = tabledSize(shape, before + 1);
          m = (before + 1 - at) * a + (at - before) * b;
        }
        model[i] = m;
        if (clipped && atLeast[i]) continue;
        const weighed = (weights[i] as number) * m;
        mm += weighed * m;
        mf += weighed * (forces[i] as number);
      }
      let size = mm > 0 && mf > 0 ? mf / mm : 0;
      // Where the sensor was at its end, the force may have been anything above.
      for (let i = 0; clipped && i < n; i++) {
        if (atLeast[i] && (model[i] as number) > 0.05)
          size = Math.max(size, (forces[i] as number) / (model[i] as number));
      }
      if (size <= touchMps2) continue;
      const slope = beyond ? Math.log(size / shape.lengthS / bounceSlope.usualMps3) / bounceSlope.spread : 0;
      let cost = slope * slope + rarity;
      // What is this far behind the best weighs less than the last digit of a number.
      const hopeless = least + hopelessCost;
      for (let i = 0; i < n && cost <= hopeless; i++) {
        const miss = (forces[i] as number) - size * (model[i] as number);
        if (clipped && atLeast[i] && miss < 0) continue;
        cost += (weights[i] as number) * miss * miss;
      }
      if (cost > hopeless) continue;
      instants.push(edge + shape.toShare(touchMps2 / size));
      costs.push(cost);
      least = Math.min(least, cost);
    }
  }
  if (!Number.isFinite(least)) return null;
  let sum = 0;
  let mean = 0;
  let square = 0;
  const origin = timeS[0] as number;
  for (let k = 0; k < costs.length; k++) {
    const w = Math.exp(-0.5 * ((costs[k] as number) - least));
    const t = (instants[k] as number) - origin;
    sum += w;
    mean += w * t;
    square += w * t * t;
  }
  mean /= sum;
  const variance = Math.max(0, square / sum - mean * mean);
  const floor = kind === 'onset' ? leastError.onset * stepS : Math.hypot(leastError.fade * stepS, leastError.fadeS);
  return { timeS: origin + mean + filterDelayS, standardErrorS: Math.sqrt(variance + floor * floor) };
}
