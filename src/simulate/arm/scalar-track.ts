import { type PathPoint, type Piece, quinticPiece } from '../track.ts';
import type { Vec3 } from '../vectors.ts';

/** A value to be passed at a time; rate and bend are zero where they are not given. */
export interface Knot {
  readonly atS: number;
  readonly value: number;
  readonly rate?: number;
  readonly bend?: number;
}

/** Value over time through knots by quintics (twice continuously differentiable), constant before and after. */
export class ScalarTrack {
  readonly #knots: readonly Knot[];
  readonly #pieces: Piece[] = [];
  #at = 0;

  /** @param knots times must rise by at least a tenth of a millisecond. */
  constructor(knots: readonly Knot[]) {
    this.#knots = knots;
    if (knots.length === 0) throw new RangeError('a track needs at least one knot, got none');
    for (let i = 1; i < knots.length; i++) {
      const from = knots[i - 1] as Knot;
      const to = knots[i] as Knot;
      if (!(to.atS - from.atS >= 1e-4)) throw new RangeError(`knot at ${to.atS} s does not come after ${from.atS} s`);
      this.#pieces.push(quinticPiece(point(from), point(to), to.atS - from.atS));
    }
  }

  get startS(): number {
    return (this.#knots[0] as Knot).atS;
  }

  get endS(): number {
    return (this.#knots[this.#knots.length - 1] as Knot).atS;
  }

  at(timeS: number): number {
    const knots = this.#knots;
    if (timeS <= this.startS) return (knots[0] as Knot).value;
    if (timeS >= this.endS) return (knots[knots.length - 1] as Knot).value;
    let i = this.#at;
    if ((knots[i] as Knot).atS > timeS) i = 0;
    while ((knots[i + 1] as Knot).atS <= timeS) i++;
    this.#at = i;
    const u = timeS - (knots[i] as Knot).atS;
    const c = (this.#pieces[i] as Piece).x;
    let f = 0;
    for (let k = c.length - 1; k >= 0; k--) f = f * u + (c[k] as number);
    return f;
  }
}

function point(knot: Knot): PathPoint {
  return { value: [knot.value, 0, 0], slope: [knot.rate ?? 0, 0, 0], bend: [knot.bend ?? 0, 0, 0] };
}

/** The same for three axes at once. */
export interface VectorKnot {
  readonly atS: number;
  readonly value: Vec3;
  readonly rate?: Vec3;
  readonly bend?: Vec3;
}

export class VectorTrack {
  readonly #axes: readonly [ScalarTrack, ScalarTrack, ScalarTrack];
  readonly endS: number;

  constructor(knots: readonly VectorKnot[]) {
    const axis = (i: 0 | 1 | 2) =>
      new ScalarTrack(
        knots.map(({ atS, value, rate, bend }) => ({
          atS,
          value: value[i],
          rate: rate?.[i] ?? 0,
          bend: bend?.[i] ?? 0,
        })),
      );
    this.#axes = [axis(0), axis(1), axis(2)];
    this.endS = this.#axes[0].endS;
  }

  at(timeS: number): Vec3 {
    return [this.#axes[0].at(timeS), this.#axes[1].at(timeS), this.#axes[2].at(timeS)];
  }
}

/** Knots through values that are passed without stopping: rates are those of the parabola through the neighbours. */
export function passing(knots: readonly Knot[], rateLimit = Number.POSITIVE_INFINITY): Knot[] {
  return knots.map((knot, i) => {
    const before = knots[i - 1];
    const after = knots[i + 1];
    if (knot.rate !== undefined || !before || !after) return knot;
    const rate = (after.value - before.value) / (after.atS - before.atS);
    return { ...knot, rate: Math.min(rateLimit, Math.max(-rateLimit, rate)) };
  });
}

/** Value, rate and bend of a function of time just before `atS`, by backward differences. */
export function stateBefore(f: (timeS: number) => Vec3, atS: number): Required<Omit<VectorKnot, 'atS'>> {
  const h = 5e-4;
  const [a, b, c, d] = [f(atS), f(atS - h), f(atS - 2 * h), f(atS - 3 * h)];
  const each = (g: (a: number, b: number, c: number, d: number) => number): Vec3 => [
    g(a[0], b[0], c[0], d[0]),
    g(a[1], b[1], c[1], d[1]),
    g(a[2], b[2], c[2], d[2]),
  ];
  return {
    value: a,
    rate: each((p, q, r, s) => (11 * p - 18 * q + 9 * r - 2 * s) / (6 * h)),
    bend: each((p, q, r, s) => (2 * p - 5 * q + 4 * r - s) / (h * h)),
  };
}

/** The same just after `atS`, by forward differences. */
export function stateAfter(f: (timeS: number) => Vec3, atS: number): Required<Omit<VectorKnot, 'atS'>> {
  const mirrored = stateBefore((t) => f(-t), -atS);
  return { ...mirrored, rate: [-mirrored.rate[0], -mirrored.rate[1], -mirrored.rate[2]] };
}
