import type { Vec3 } from './vectors.ts';

/** One polynomial piece in three axes: coefficients by rising power of the time since the piece began. */
export interface Piece {
  readonly durationS: number;
  readonly x: readonly number[];
  readonly y: readonly number[];
  readonly z: readonly number[];
}

/** Value, first and second derivative of a smooth path. */
export interface PathPoint {
  readonly value: Vec3;
  readonly slope: Vec3;
  readonly bend: Vec3;
}

/** Piecewise polynomial in three axes, from time zero on. */
export class Track {
  readonly durationS: number;
  readonly #startsS: number[] = [];
  readonly #pieces: readonly Piece[];
  #at = 0;

  constructor(pieces: readonly Piece[]) {
    let sum = 0;
    for (const piece of pieces) {
      this.#startsS.push(sum);
      sum += piece.durationS;
    }
    this.durationS = sum;
    this.#pieces = pieces;
  }

  /** Writes value, slope and (where `bend` ≥ 0) second derivative at time `t` into `out` at the given offsets. */
  at(t: number, out: Float64Array, value: number, slope: number, bend: number): void {
    let i = this.#at;
    if ((this.#startsS[i] as number) > t) i = 0;
    while (i + 1 < this.#pieces.length && (this.#startsS[i + 1] as number) <= t) i++;
    this.#at = i;
    const piece = this.#pieces[i] as Piece;
    const u = t - (this.#startsS[i] as number);
    evaluate(piece.x, u, out, value, slope, bend);
    evaluate(piece.y, u, out, value + 1, slope + 1, bend < 0 ? -1 : bend + 1);
    evaluate(piece.z, u, out, value + 2, slope + 2, bend < 0 ? -1 : bend + 2);
  }
}

function evaluate(
  c: readonly number[],
  u: number,
  out: Float64Array,
  value: number,
  slope: number,
  bend: number,
): void {
  let f = 0;
  let d = 0;
  let b = 0;
  for (let i = c.length - 1; i >= 0; i--) {
    b = b * u + 2 * d;
    d = d * u + f;
    f = f * u + (c[i] as number);
  }
  out[value] = f;
  out[slope] = d;
  if (bend >= 0) out[bend] = b;
}

/** Quintic through two points with their slopes and bends: the path is C2 where pieces meet. */
export function quinticPiece(from: PathPoint, to: PathPoint, durationS: number): Piece {
  return {
    durationS,
    x: quintic(from, to, durationS, 0),
    y: quintic(from, to, durationS, 1),
    z: quintic(from, to, durationS, 2),
  };
}

function quintic(from: PathPoint, to: PathPoint, t: number, i: 0 | 1 | 2): number[] {
  const p0 = from.value[i];
  const v0 = from.slope[i];
  const a0 = from.bend[i];
  const dp = to.value[i] - p0 - v0 * t - 0.5 * a0 * t * t;
  const dv = to.slope[i] - v0 - a0 * t;
  const da = to.bend[i] - a0;
  return [
    p0,
    v0,
    a0 / 2,
    (10 * dp - 4 * dv * t + 0.5 * da * t * t) / t ** 3,
    (-15 * dp + 7 * dv * t - da * t * t) / t ** 4,
    (6 * dp - 3 * dv * t + 0.5 * da * t * t) / t ** 5,
  ];
}

/** Cubic through two values with their slopes. */
export function cubicPiece(
  from: { value: Vec3; slope: Vec3 },
  to: { value: Vec3; slope: Vec3 },
  durationS: number,
): Piece {
  const axis = (i: 0 | 1 | 2) => {
    const d = (to.value[i] - from.value[i]) / durationS;
    return [
      from.value[i],
      from.slope[i],
      (3 * d - 2 * from.slope[i] - to.slope[i]) / durationS,
      (from.slope[i] + to.slope[i] - 2 * d) / durationS ** 2,
    ];
  };
  return { durationS, x: axis(0), y: axis(1), z: axis(2) };
}

/**
 * Shape of a force that grows from nothing: s(0) = 0, s(1) = 1, as polynomial coefficients by rising power.
 * `linear` starts with a kink, `square` and `smooth` (3u² − 2u³) with zero slope, `cube` softest.
 */
export const growthShapes = {
  linear: [0, 1],
  square: [0, 0, 1],
  smooth: [0, 0, 3, -2],
  cube: [0, 0, 0, 1],
} as const satisfies Record<string, readonly number[]>;
export type GrowthShape = keyof typeof growthShapes;

/**
 * A hand taking the ball: the acceleration starts at that of free flight and the extra part grows by the shape to
 * `extraMps2` within the duration.
 */
export function growingForcePiece(from: PathPoint, extraMps2: Vec3, shape: GrowthShape, durationS: number): Piece {
  const axis = (i: 0 | 1 | 2) => {
    const c = [from.value[i], from.slope[i], from.bend[i] / 2];
    growthShapes[shape].forEach((s, power) => {
      c[power + 2] = (c[power + 2] ?? 0) + (s * extraMps2[i]) / (durationS ** power * (power + 1) * (power + 2));
    });
    return c;
  };
  return { durationS, x: axis(0), y: axis(1), z: axis(2) };
}

/** The mirror image in time: a hand letting go, the extra force dying by the shape until the ball is at `to`. */
export function fadingForcePiece(to: PathPoint, extraMps2: Vec3, shape: GrowthShape, durationS: number): Piece {
  const back: PathPoint = { value: to.value, slope: [-to.slope[0], -to.slope[1], -to.slope[2]], bend: to.bend };
  const mirrored = growingForcePiece(back, extraMps2, shape, durationS);
  return {
    durationS,
    x: reflect(mirrored.x, durationS),
    y: reflect(mirrored.y, durationS),
    z: reflect(mirrored.z, durationS),
  };
}

/** Coefficients in t of the polynomial c(d − t). */
function reflect(c: readonly number[], d: number): number[] {
  let out: number[] = [];
  for (let i = c.length - 1; i >= 0; i--) {
    const next = new Array<number>(out.length + 1).fill(0);
    out.forEach((value, power) => {
      next[power] = (next[power] as number) + d * value;
      next[power + 1] = (next[power + 1] as number) - value;
    });
    next[0] = (next[0] as number) + (c[i] as number);
    out = next;
  }
  return out;
}

/** Value, slope and bend of a piece at time `t` since it began. */
export function pointOf(piece: Piece, t: number): PathPoint {
  const out = new Float64Array(9);
  evaluate(piece.x, t, out, 0, 3, 6);
  evaluate(piece.y, t, out, 1, 4, 7);
  evaluate(piece.z, t, out, 2, 5, 8);
  const [a, b, c, d, e, f, g, h, i] = out as unknown as readonly [
    number,
    number,
    number,
    number,
    number,
    number,
    number,
    number,
    number,
  ];
  return { value: [a, b, c], slope: [d, e, f], bend: [g, h, i] };
}
