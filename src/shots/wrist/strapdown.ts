/**
 * The path of a sensor over a finished window: strapdown integration both ways from one sample, with what is not known
 * of it as a joint normal distribution.
 *
 * The window is carried by the gyroscope into one frame that stands still in the room (the sensor's own frame at the
 * reference sample). There specific force less gravity is the acceleration, and velocity and position are linear in the
 * unknowns: two tilts of the vertical, bias and scale of the gyroscope, bias of the accelerometer, velocity at the
 * reference. Statements about the motion (still here, not far above there) narrow them; what drifts between two of these
 * anchors is thereby spread between them.
 *
 * Method: error-state strapdown (Titterton and Weston, Strapdown Inertial Navigation Technology, 2nd ed. 2004, chapters
 * 11 to 13) with all statements taken in at once. Deviations: 1. no earth rate; 2. biases constant over the window; 3. linear
 * about the first guess of the vertical, `restart` moves it.
 */
import { standardGravityMps2 } from '../../foundation/constants.ts';
import type { ImuBlock } from '../../foundation/imu-block.ts';
import { factorSymmetric, invertSymmetric } from '../../signal/gaussian.ts';
import { type Quaternion, rotate } from '../../signal/rotation.ts';
import { dot, tangentBasis, unit, type Vec3, vecAt } from '../../signal/vec3.ts';
import {
  carryAttitude,
  integrateDerivatives,
  integrated,
  integrateMotion,
  type PathColumns,
  PathMemory,
} from './path-columns.ts';
import { type Motion, MotionCache, PathMotion, unknown, unknownCount, upOf } from './path-motion.ts';

/** Standard deviations of the unknowns before anything was seen of the motion. */
export interface StrapdownPriors {
  readonly tiltRad: number;
  readonly gyroBiasRadps: number;
  /** Ratio. */
  readonly gyroScale: number;
  readonly accelBiasMps2: number;
  readonly velocityMps: number;
}

export class Strapdown {
  readonly block: ImuBlock;
  readonly reference: number;
  private readonly gyroBias: Vec3;
  private readonly columns: PathColumns;
  private hasMotion = false;
  private up: Vec3;
  private basis: readonly [Vec3, Vec3];
  private readonly information = new Float64Array(unknownCount * unknownCount);
  private readonly weighted = new Float64Array(unknownCount);
  private values: Float64Array = new Float64Array(unknownCount);
  private covariance: Float64Array | null = null;
  /** Factor of the covariance, once it is asked for. */
  private spread: Float64Array | null = null;
  private shifted: MotionCache | null = null;
  /** Angular rates in the frame as far as they were asked for; NaN elsewhere. */
  private readonly rates: Float64Array;

  /**
   * @param block samples with a gyroscope.
   * @param reference sample where the frame is anchored and position is zero.
   * @param gyroBiasRadps first guess of the gyroscope's bias, sensor axes.
   * @param up first guess of the vertical in the frame; null: the mean specific force of the window.
   * @param memory where the path may lie; the one that lay there before is lost.
   */
  constructor(
    block: ImuBlock,
    reference: number,
    gyroBiasRadps: Vec3,
    up: Vec3 | null = null,
    memory: PathMemory = new PathMemory(),
  ) {
    if (!block.gyroRadps) throw new RangeError('a path needs a gyroscope: the block has none');
    this.block = block;
    this.reference = reference;
    this.gyroBias = gyroBiasRadps;
    this.columns = memory.columnsFor(block.length);
    this.rates = new Float64Array(3 * block.length).fill(Number.NaN);
    carryAttitude(block, reference, gyroBiasRadps, this.columns);
    this.up = up ?? meanDirection(this.columns.forceMps2, block.length);
    this.basis = tangentBasis(this.up);
    integrateDerivatives(block, reference, gyroBiasRadps, this.columns);
  }

  /** The vertical in the frame at the solution. */
  get vertical(): Vec3 {
    return upOf({ up: this.up, basis: this.basis }, this.values);
  }

  /** Moves the first guess of the vertical to the present estimate and forgets all statements. */
  restart(up: Vec3 = this.vertical): void {
    this.up = up;
    this.basis = tangentBasis(this.up);
    this.hasMotion = false;
    this.information.fill(0);
    this.weighted.fill(0);
    this.values = new Float64Array(unknownCount);
    this.rates.fill(Number.NaN);
    this.covariance = null;
    this.spread = null;
  }

  /** Velocity and position about the first guess of the vertical, which moves before they are asked for. */
  private withMotion(): PathColumns {
    const { columns } = this;
    if (!this.hasMotion) integrateMotion(this.block, this.reference, this.up, columns);
    this.hasMotion = true;
    return columns;
  }

  /** Takes in what is known beforehand. */
  assume(priors: StrapdownPriors): void {
    const groups: readonly (readonly [number, number, number])[] = [
      [unknown.tilt, 2, priors.tiltRad],
      [unknown.gyroBias, 3, priors.gyroBiasRadps],
      [unknown.gyroScale, 3, priors.gyroScale],
      [unknown.accelBias, 3, priors.accelBiasMps2],
      [unknown.velocity, 3, priors.velocityMps],
    ];
    for (const [first, count, deviation] of groups) {
      for (let k = first; k < first + count; k++) {
        const at = k * unknownCount + k;
        this.information[at] = (this.information[at] as number) + 1 / deviation ** 2;
      }
    }
  }

  /** States the vertical in the frame, each of its two tilts with this standard deviation. */
  stateUp(up: Vec3, deviationRad: number): void {
    for (let k = 0; k < 2; k++) {
      rowHere.fill(0);
      rowHere[unknown.tilt + k] = 1;
      this.state(rowHere, dot(this.basis[k] as Vec3, up), deviationRad);
    }
  }

  /** States the velocity at a sample along a direction of the frame (null: all three). */
  stateVelocity(i: number, along: Vec3 | null, valueMps: number, deviationMps: number): void {
    const { velocity } = this.withMotion();
    for (const axis of along ? [along] : axes) {
      this.putRow(i, axis, 1, rowHere);
      this.state(rowHere, valueMps - dotAt(velocity, i, axis), deviationMps);
    }
  }

  /** States how far sample i lies from sample j along a direction of the frame. */
  statePosition(i: number, j: number, along: Vec3, valueM: number, deviationM: number): void {
    const { position } = this.withMotion();
    this.putRow(j, along, 2, rowThere);
    this.putRow(i, along, 2, rowHere);
    for (let k = 0; k < unknownCount; k++) rowHere[k] = (rowHere[k] as number) - (rowThere[k] as number);
    const nominal = dotAt(position, i, along) - dotAt(position, j, along);
    this.state(rowHere, valueM - nominal, deviationM);
  }

  /** States that the mean acceleration over samples `[from, to)` is zero: the mean specific force is gravity's. */
  stateUnaccelerated(from: number, to: number, deviationMps2: number): void {
    const last = to - 1;
    const spanS = this.timeOf(last) - this.timeOf(from);
    if (!(spanS > 0)) return;
    const { velocity } = this.withMotion();
    for (const axis of axes) {
      this.putRow(from, axis, 1, rowThere);
      this.putRow(last, axis, 1, rowHere);
      for (let k = 0; k < unknownCount; k++) rowHere[k] = ((rowHere[k] as number) - (rowThere[k] as number)) / spanS;
      const nominal = (dotAt(velocity, last, axis) - dotAt(velocity, from, axis)) / spanS;
      this.state(rowHere, -nominal, deviationMps2);
    }
  }

  /** Solves for the unknowns. */
  solve(): void {
    const n = unknownCount;
    const information = this.information.slice();
    for (let a = 0; a < n; a++) {
      for (let b = 0; b < a; b++) {
        const mean = ((information[a * n + b] as number) + (information[b * n + a] as number)) * 0.5;
        information[a * n + b] = mean;
        information[b * n + a] = mean;
      }
    }
    const covariance = invertSymmetric(information, n);
    const values = new Float64Array(n);
    for (let a = 0; a < n; a++) {
      let sum = 0;
      for (let b = 0; b < n; b++) sum += (covariance[a * n + b] as number) * (this.weighted[b] as number);
      values[a] = sum;
    }
    this.values = values;
    this.rates.fill(Number.NaN);
    this.covariance = covariance;
    this.spread = null;
  }

  /** @returns standard deviation of unknown `k`. */
  deviationOf(k: number): number {
    const directions = this.directions();
    if (directions === null) return Number.POSITIVE_INFINITY;
    return Math.hypot(...directions.subarray(k * unknownCount, (k + 1) * unknownCount));
  }

  valueOf(k: number): number {
    return this.values[k] as number;
  }

  /**
   * @returns the motion at the solution, moved by one standard deviation along direction `shift` where given; such a one is good until the
   *   next is asked for.
   */
  motion(shift: number | null = null): Motion {
    const values = Float64Array.from(this.values);
    const directions = shift === null ? null : this.directions();
    if (shift !== null && directions) {
      for (let k = 0; k < unknownCount; k++) {
        values[k] = (values[k] as number) + (directions[k * unknownCount + shift] as number);
      }
    }
    const { block, reference, up, basis } = this;
    const base = { block, reference, columns: this.withMotion(), up, basis };
    return new PathMotion(base, values, shift === null ? () => new MotionCache(this.block.length) : this.shiftedCache);
  }

  private readonly shiftedCache = (): MotionCache => {
    this.shifted ??= new MotionCache(this.block.length);
    this.shifted.forget();
    return this.shifted;
  };

  /** The covariance's factor, its columns the one-sigma directions; null before there is a solution. */
  private directions(): Float64Array | null {
    if (this.covariance === null) return null;
    this.spread ??= factorSymmetric(this.covariance, unknownCount);
    return this.spread;
  }

  timeOf(i: number): number {
    return this.block.timeS[i] as number;
  }

  /** @returns angular rate at a sample in the frame, rad/s, bias taken out. */
  rateRadps(i: number): Vec3 {
    const { rates } = this;
    if (Number.isNaN(rates[3 * i] as number)) rates.set(rotate(this.quaternion(i), this.rateInSensor(i)), 3 * i);
    return vecAt(rates, i);
  }

  /** @returns angular rate at a sample in the sensor's axes, rad/s, bias taken out. */
  rateInSensor(i: number): Vec3 {
    const gyro = this.block.gyroRadps as Float64Array;
    const { gyroBias, values } = this;
    const at = 3 * i;
    const learnt = unknown.gyroBias;
    return [
      (gyro[at] as number) - gyroBias[0] - (values[learnt] as number),
      (gyro[at + 1] as number) - gyroBias[1] - (values[learnt + 1] as number),
      (gyro[at + 2] as number) - gyroBias[2] - (values[learnt + 2] as number),
    ];
  }

  /** @returns sensor axes to the frame at a sample, without what was learnt of the gyroscope. */
  quaternion(i: number): Quaternion {
    const { attitude } = this.columns;
    const at = 4 * i;
    return [attitude[at] as number, attitude[at + 1] as number, attitude[at + 2] as number, attitude[at + 3] as number];
  }

  /** Derivative of velocity (`power` 1) or position (2) along an axis by every unknown. */
  private putRow(i: number, axis: Vec3, power: 1 | 2, row: Float64Array): void {
    const { velocityBy, positionBy, room } = this.columns;
    const by = power === 1 ? velocityBy : positionBy;
    const t = this.timeOf(i) - this.timeOf(this.reference);
    const byTilt = -standardGravityMps2 * (power === 1 ? t : (t * t) / 2);
    for (let k = 0; k < 2; k++) row[unknown.tilt + k] = byTilt * dot(this.basis[k] as Vec3, axis);
    for (let k = 0; k < integrated; k++) row[unknown.gyroBias + k] = dotAt(by, room * k + i, axis);
    for (let c = 0; c < 3; c++) row[unknown.velocity + c] = (power === 1 ? 1 : t) * (axis[c] as number);
  }

  private state(row: Float64Array, value: number, deviation: number): void {
    const { information, weighted } = this;
    const weight = 1 / deviation ** 2;
    for (let a = 0; a < unknownCount; a++) {
      const wa = weight * (row[a] as number);
      if (wa === 0) continue;
      weighted[a] = (weighted[a] as number) + wa * value;
      const at = a * unknownCount;
      for (let b = 0; b < unknownCount; b++) {
        information[at + b] = (information[at + b] as number) + wa * (row[b] as number);
      }
    }
  }
}

/** Two rows of a statement, used anew by each. */
const [rowHere, rowThere] = [new Float64Array(unknownCount), new Float64Array(unknownCount)];

const axes: readonly Vec3[] = [
  [1, 0, 0],
  [0, 1, 0],
  [0, 0, 1],
];

function dotAt(values: Float64Array, i: number, axis: Vec3): number {
  const at = 3 * i;
  return (values[at] as number) * axis[0] + (values[at + 1] as number) * axis[1] + (values[at + 2] as number) * axis[2];
}

function meanDirection(force: Float64Array, n: number): Vec3 {
  let [x, y, z] = [0, 0, 0];
  for (let at = 0; at < 3 * n; at += 3) {
    x += force[at] as number;
    y += force[at + 1] as number;
    z += force[at + 2] as number;
  }
  return unit([x, y, z]);
}
