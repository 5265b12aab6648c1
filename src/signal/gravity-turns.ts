/**
 * Whether gyroscope and gravity tell of the same turns.
 *
 * While a sensor is turned about by hand, gravity's direction g in its axes moves as g' = g × ω. A matrix M is fitted with
 * which g' = g × (M ω) holds best over short spans: the identity where scale, signs and axes of both sensors agree. The
 * component of a turn along g moves nothing, so that all entries show only once the sensor was turned in several ways.
 *
 * Source: elementary kinematics (Poisson's equation for a fixed vector seen from a turning frame). Deviations: the
 * direction of the force stands for gravity's; spans in which its size is not gravity's are left out. Memory: sums alone.
 */
import { Matrix, SingularValueDecomposition } from 'ml-matrix';
import type { ImuBlock } from '../foundation/imu-block.ts';
import { sampleFlag } from '../foundation/imu-block.ts';
import { add, norm, scale, unit, type Vec3, vecAt } from './vec3.ts';

/** Short enough that a turn by hand is nearly even over it, long enough for gravity to move visibly. */
const spanS = 0.12;
/** Size of the force at both ends, over that at rest. */
const forceShare = 0.12;
/** Fewer spans than these say nothing. */
const leastSpans = 40;
/** Gravity moved by more than this in a span, RMS, rad: more than what a hand adds. */
const movedRad = 0.1;
/** Gravity moved, and the gyroscope does not know of most of it. */
const unexplainedShare = 0.5;

export interface TurnAgreement {
  /** True turn over the turn that is read. */
  readonly gain: number;
  /** Of the entry of M that is known worst. */
  readonly gainStandardError: number;
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
  readonly #normal = Matrix.zeros(9, 9);
  readonly #right = Array.from({ length: 9 }, () => 0);
  #squares = 0;
  #spans = 0;
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
      if ((flags & sampleFlag.gapBefore) !== 0 || bad) this.#clear();
      if (bad) continue;
      if (this.#times.length > 0 && timeS - this.#times[0]! >= spanS) {
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
    if (this.#spans < leastSpans) return null;
    const svd = new SingularValueDecomposition(this.#normal, { autoTranspose: true });
    const values = svd.diagonal;
    if (!(values[8]! > 1e-9 * values[0]!)) return null;
    const solution = svd.solve(Matrix.columnVector(this.#right)).to1DArray();
    const explained = solution.reduce((sum, each, at) => sum + each * this.#right[at]!, 0);
    const variance = Math.max(0, this.#squares - explained) / Math.max(1, 2 * this.#spans - 9);
    const largest = Math.max(...solution.map(Math.abs));
    const worstError = Math.sqrt(variance / values[8]!);
    const unexplained = Math.max(0, 1 - explained / this.#squares);
    const disagree = unexplained > unexplainedShare && Math.sqrt(this.#squares / this.#spans) > movedRad;
    // Above that an axis with the wrong sign could not be told from one that was not turned.
    if (!(worstError < 0.2 * largest) && !disagree) return null;
    return Object.freeze({ ...nearestAxes(solution), gainStandardError: worstError, unexplained });
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
    const before = mean(this.#accel.slice(0, third));
    const after = mean(this.#accel.slice(n - third));
    for (const force of [before, after]) {
      if (!(Math.abs(norm(force) / this.#restSize - 1) < forceShare)) return;
    }
    // From the middle of the first third to that of the last.
    let turn: Vec3 = [0, 0, 0];
    const from = (third - 1) / 2;
    const to = n - 1 - from;
    for (let at = Math.ceil(from); at < to; at++) {
      const step = this.#times[at + 1]! - this.#times[at]!;
      turn = add(turn, scale(add(this.#gyro[at]!, this.#gyro[at + 1]!), step / 2));
    }
    this.#add(unit(before), unit(after), scale(turn, (to - from) / Math.max(1, Math.ceil(to) - Math.ceil(from))));
  }

  #add(before: Vec3, after: Vec3, turn: Vec3): void {
    const g = unit(add(before, after));
    const rows = [
      [0, -g[2], g[1]],
      [g[2], 0, -g[0]],
      [-g[1], g[0], 0],
    ];
    for (let c = 0; c < 3; c++) {
      const moved = after[c]! - before[c]!;
      const row = Array.from({ length: 9 }, (_, k) => rows[c]![Math.floor(k / 3)]! * turn[k % 3]!);
      for (let i = 0; i < 9; i++) {
        this.#right[i]! += row[i]! * moved;
        for (let j = 0; j < 9; j++) this.#normal.set(i, j, this.#normal.get(i, j) + row[i]! * row[j]!);
      }
      this.#squares += moved * moved;
    }
    this.#spans += 1;
  }
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
