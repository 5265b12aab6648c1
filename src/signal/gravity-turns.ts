/**
 * Whether gyroscope and gravity tell of the same turns.
 *
 * While a sensor is turned about by hand, gravity's direction g in its axes moves as g' = g × ω. A matrix M is fitted with
 * which g' = g × (M ω) holds best over short spans: the identity where scale, signs and axes of both sensors agree. The
 * component of a turn along g moves nothing, so that all entries show only once the sensor was turned in several ways.
 *
 * Source: elementary kinematics (Poisson's equation for a fixed vector seen from a turning frame). Deviations: the
 * direction of the force stands for gravity's; spans in which its size is not gravity's are left out, and spans in which the hand pushed lose their weight (iterated
 * reweighting, common practice). Memory: `mostSpans` spans.
 */
import { Matrix, SingularValueDecomposition } from 'ml-matrix';
import type { ImuBlock } from '../foundation/imu-block.ts';
import { sampleFlag } from '../foundation/imu-block.ts';
import { add, cross, norm, scale, subtract, unit, type Vec3, vecAt } from './vec3.ts';

/** Short enough that a turn by hand is nearly even over it, long enough for gravity to move visibly. */
const spanS = 0.12;
/** A span ends sooner where gravity has moved so far, rad: beyond that the sum of rates is not the turn. */
const spanRad = 0.35;
const leastSamples = 6;
/** Spans that are kept; more of them would say no more. */
const mostSpans = 20_000;
/** Rounds in which spans that fit badly, since a hand pushed, lose their weight. */
const rounds = 6;
const tailSigmas = 2.5;
/** Size of the force, over that at rest, as long as the hand does not push. */
const forceShare = 0.12;
/** Fewer spans than these say nothing. */
const leastSpans = 60;
/** Gravity moved by more than this in a span, RMS, rad: more than what a hand adds. */
const movedRad = 0.1;
/** Gravity moved, and the gyroscope does not know of most of it. */
const unexplainedShare = 0.5;

export interface TurnAgreement {
  /** True turn over the turn that is read. */
  readonly gain: number;
  readonly gainStandardError: number;
  /** Standard error of what is known worst of M. */
  readonly worstError: number;
  /**
   * Which read axis, with which sign, is the true x, y, z: `[1, 2, 3]` where all is right. As in the axis maps of sensor
   * descriptions.
   */
  readonly axes: readonly [number, number, number];
  /** What of M is not gain and axes, as a share of it. */
  readonly misfit: number;
  /** Share of gravity's movement that M does not explain. */
  readonly unexplained: number;
}

/** Collects spans; `fit` says what they show. */
export class GravityTurns {
  readonly #restSize: number;
  readonly #spans: Span[] = [];
  /** The last span, while it is not known what follows; null where it was not calm. */
  #candidate: Span | null = null;
  #calmBefore = false;
  #times: number[] = [];
  #accel: Vec3[] = [];
  #gyro: Vec3[] = [];

  /** @param restSize size of the force at rest, in the stream's unit. */
  constructor(restSize: number) {
    this.#restSize = restSize;
  }

  push(block: ImuBlock): void {
    if (block.gyroRadps === null) return;
    for (let at = 0; at < block.length; at++) {
      const flags = block.flags[at]!;
      const timeS = block.timeS[at]!;
      const bad = (flags & (sampleFlag.accelClipped | sampleFlag.gyroClipped)) !== 0;
      if ((flags & sampleFlag.gapBefore) !== 0 || bad) {
        this.#clear();
        this.#candidate = null;
        this.#calmBefore = false;
      }
      if (bad) continue;
      if (this.#times.length > 0 && (timeS - this.#times[0]! >= spanS || this.#hasMovedFar())) {
        this.#close();
        this.#clear();
      }
      this.#times.push(timeS);
      this.#accel.push(vecAt(block.accelMps2, at));
      this.#gyro.push(vecAt(block.gyroRadps, at));
    }
  }

  /** @returns null where it was not turned about enough. */
  fit(): TurnAgreement | null {
    const spans = this.#spans;
    if (spans.length < leastSpans) return null;
    let weights = spans.map(() => 1);
    let solved = solve(spans, weights);
    for (let round = 0; round < rounds && solved !== null; round++) {
      const { entries } = solved;
      const errors = spans.map((span) => norm(subtract(span.moved, moveOf(span, entries))));
      const usual = [...errors].sort((one, other) => one - other)[Math.floor(errors.length / 2)]!;
      weights = errors.map((error) => 1 / (1 + (error / (tailSigmas * usual + 1e-12)) ** 2) ** 2);
      solved = solve(spans, weights);
    }
    if (solved === null) return null;
    const { entries, errorOf, worstError, unexplained, movedRms } = solved;
    const disagree = unexplained > unexplainedShare && movedRms > movedRad;
    const nearest = nearestAxes(entries);
    // Above that an axis with the wrong sign could not be told from one that was not turned.
    if (!(worstError < 0.2 * nearest.gain) && !disagree) return null;
    const third = Array.from({ length: 9 }, (_, at) => {
      const code = nearest.axes[Math.floor(at / 3)]!;
      return Math.abs(code) - 1 === at % 3 ? Math.sign(code) / 3 : 0;
    });
    return Object.freeze({ ...nearest, gainStandardError: errorOf(third), worstError, unexplained });
  }

  #hasMovedFar(): boolean {
    const n = this.#accel.length;
    return n >= leastSamples && norm(subtract(unit(this.#accel[n - 1]!), unit(this.#accel[0]!))) > spanRad;
  }

  #clear(): void {
    this.#times = [];
    this.#accel = [];
    this.#gyro = [];
  }

  #close(): void {
    const n = this.#times.length;
    const third = Math.floor(n / 3);
    if (third < 1) return;
    const calm = this.#accel.every((force) => Math.abs(norm(force) / this.#restSize - 1) < forceShare);
    const span = calm ? this.#spanOf(n, third) : null;
    // A hand that pushes pushes for longer than a span: one counts only between two others that are calm as well.
    if (span !== null && this.#candidate !== null && this.#calmBefore && this.#spans.length < mostSpans) {
      this.#spans.push(this.#candidate);
    }
    this.#calmBefore = this.#candidate !== null;
    this.#candidate = span;
  }

  #spanOf(n: number, third: number): Span {
    const before = mean(this.#accel.slice(0, third));
    const after = mean(this.#accel.slice(n - third));
    // From the middle of the first third to that of the last.
    let turn: Vec3 = [0, 0, 0];
    const from = (third - 1) / 2;
    const to = n - 1 - from;
    for (let at = Math.ceil(from); at < to; at++) {
      const step = this.#times[at + 1]! - this.#times[at]!;
      turn = add(turn, scale(add(this.#gyro[at]!, this.#gyro[at + 1]!), step / 2));
    }
    const share = (to - from) / Math.max(1, Math.ceil(to) - Math.ceil(from));
    const gravity = unit(add(before, after));
    return { gravity, moved: subtract(unit(after), unit(before)), turn: scale(turn, share) };
  }
}

/** One stretch of turning. */
interface Span {
  /** Its direction in the middle, of length 1, and how it moved. */
  readonly gravity: Vec3;
  readonly moved: Vec3;
  /** Sum of the read rates over it. */
  readonly turn: Vec3;
}

/** How gravity moves in a span by M, entries row by row: g × (M ω). */
function moveOf({ gravity, turn }: Span, m: readonly number[]): Vec3 {
  const row = (axis: number): number =>
    m[3 * axis]! * turn[0] + m[3 * axis + 1]! * turn[1] + m[3 * axis + 2]! * turn[2];
  return cross(gravity, [row(0), row(1), row(2)]);
}

interface Solved {
  readonly entries: readonly number[];
  /** Standard error of a linear combination of the entries. */
  readonly errorOf: (combination: readonly number[]) => number;
  readonly worstError: number;
  readonly unexplained: number;
  readonly movedRms: number;
}

/** Weighted least squares for the nine entries of M; null where the spans do not determine them. */
function solve(spans: readonly Span[], weights: readonly number[]): Solved | null {
  const normal = Matrix.zeros(9, 9);
  const right = Array.from({ length: 9 }, () => 0);
  let squares = 0;
  let total = 0;
  for (const [at, { gravity: g, moved, turn }] of spans.entries()) {
    const weight = weights[at]!;
    const crossed = [
      [0, -g[2], g[1]],
      [g[2], 0, -g[0]],
      [-g[1], g[0], 0],
    ];
    for (let c = 0; c < 3; c++) {
      const row = Array.from({ length: 9 }, (_, k) => crossed[c]![Math.floor(k / 3)]! * turn[k % 3]!);
      for (let i = 0; i < 9; i++) {
        right[i]! += weight * row[i]! * moved[c]!;
        for (let j = 0; j < 9; j++) normal.set(i, j, normal.get(i, j) + weight * row[i]! * row[j]!);
      }
      squares += weight * moved[c]! ** 2;
    }
    total += weight;
  }
  const svd = new SingularValueDecomposition(normal, { autoTranspose: true });
  const values = svd.diagonal;
  if (!(values[8]! > 1e-9 * values[0]!)) return null;
  const entries = svd.solve(Matrix.columnVector(right)).to1DArray();
  const explained = entries.reduce((sum, each, at) => sum + each * right[at]!, 0);
  const variance = Math.max(0, squares - explained) / Math.max(1, 2 * total - 9);
  return {
    entries,
    errorOf(combination) {
      const column = Matrix.columnVector([...combination]);
      return Math.sqrt(Math.max(0, variance * column.transpose().mmul(svd.solve(column)).get(0, 0)));
    },
    worstError: Math.sqrt(variance / values[8]!),
    unexplained: squares > 0 ? Math.max(0, 1 - explained / squares) : 0,
    movedRms: Math.sqrt(squares / total),
  };
}

function mean(vectors: readonly Vec3[]): Vec3 {
  return scale(
    vectors.reduce((sum, each) => add(sum, each), [0, 0, 0] as Vec3),
    1 / vectors.length,
  );
}

const orders = [
  [0, 1, 2],
  [0, 2, 1],
  [1, 0, 2],
  [1, 2, 0],
  [2, 0, 1],
  [2, 1, 0],
] as const;

/** The map of axes and the gain that are nearest to M, row by row. */
function nearestAxes(matrix: readonly number[]): Pick<TurnAgreement, 'gain' | 'axes' | 'misfit'> {
  const size = (order: readonly number[]) =>
    order.reduce((sum, read, axis) => sum + Math.abs(matrix[3 * axis + read]!), 0);
  const best = [...orders].sort((one, other) => size(other) - size(one))[0]!;
  const gain = size(best) / 3;
  const axes = best.map((read, axis) => (matrix[3 * axis + read]! < 0 ? -(read + 1) : read + 1));
  let rest = 0;
  for (let axis = 0; axis < 3; axis++) {
    for (let read = 0; read < 3; read++) {
      const wanted = best[axis] === read ? gain * Math.sign(axes[axis]!) : 0;
      rest += (matrix[3 * axis + read]! - wanted) ** 2;
    }
  }
  return {
    gain,
    axes: axes as unknown as TurnAgreement['axes'],
    misfit: Math.sqrt(rest / 3) / gain,
  };
}
