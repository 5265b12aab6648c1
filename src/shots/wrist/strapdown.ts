// Longer than most: path, covariance and anchors of one window share the order of the state and its scratch memory.
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
import { Matrix } from 'ml-matrix';
import { standardGravityMps2 } from '../../foundation/constants.ts';
import type { ImuBlock } from '../../foundation/imu-block.ts';
import { inverseSymmetric, sigmaDirections, symmetric } from '../../signal/gaussian.ts';
import { conjugate, multiply, type Quaternion, rotate, stepRotation } from '../../signal/rotation.ts';
import { add, cross, dot, scale, subtract, tangentBasis, unit, type Vec3, vecAt } from '../../signal/vec3.ts';

/** First of each group of unknowns: tilts (2), gyroscope bias (3) and scale (3), accelerometer bias (3), velocity (3). */
export const unknown = { tilt: 0, gyroBias: 2, gyroScale: 5, accelBias: 8, velocity: 11 } as const;
export const unknownCount = 14;
/** Unknowns whose effect is integrated numerically: gyroscope bias and scale, accelerometer bias. */
const integrated = 9;

/** Standard deviations of the unknowns before anything was seen of the motion. */
export interface StrapdownPriors {
  readonly tiltRad: number;
  readonly gyroBiasRadps: number;
  /** Ratio. */
  readonly gyroScale: number;
  readonly accelBiasMps2: number;
  readonly velocityMps: number;
}

/** The motion for one set of values of the unknowns. Samples are counted in the block. */
export interface Motion {
  /** Vertical in the frame, unit vector. */
  readonly up: Vec3;
  velocityMps(i: number): Vec3;
  /** From the place at the reference. */
  positionM(i: number): Vec3;
  /** A direction of the sensor at a sample, in the frame: unit vector. */
  direction(i: number, sensorAxis: Vec3): Vec3;
  /** A vector of the sensor's axes at a sample, in the frame. */
  turned(i: number, inSensor: Vec3): Vec3;
  /** Acceleration in the frame, m/s². */
  accelerationMps2(i: number): Vec3;
}

export class Strapdown {
  readonly block: ImuBlock;
  readonly reference: number;
  /** Specific force in the frame, m/s², interleaved. */
  readonly forceMps2: Float64Array;
  private readonly gyroBias: Vec3;
  private readonly attitude: Float64Array;
  private up: Vec3;
  private basis: readonly [Vec3, Vec3];
  private readonly velocity: Float64Array;
  private readonly position: Float64Array;
  /** By unknown, then sample: derivative of the small rotation of the frame, of velocity and of position, three each. */
  private readonly turnBy: Float64Array;
  private readonly velocityBy: Float64Array;
  private readonly positionBy: Float64Array;
  private readonly information = new Float64Array(unknownCount * unknownCount);
  private readonly weighted = new Float64Array(unknownCount);
  private values: Float64Array = new Float64Array(unknownCount);
  private spread: Matrix | null = null;

  /**
   * @param block samples with a gyroscope.
   * @param reference sample where the frame is anchored and position is zero.
   * @param gyroBiasRadps first guess of the gyroscope's bias, sensor axes.
   * @param up first guess of the vertical in the frame; null: the mean specific force of the window.
   */
  constructor(block: ImuBlock, reference: number, gyroBiasRadps: Vec3, up: Vec3 | null = null) {
    if (!block.gyroRadps) throw new RangeError('a path needs a gyroscope: the block has none');
    const n = block.length;
    this.block = block;
    this.reference = reference;
    this.gyroBias = gyroBiasRadps;
    this.attitude = new Float64Array(4 * n);
    this.forceMps2 = new Float64Array(3 * n);
    this.velocity = new Float64Array(3 * n);
    this.position = new Float64Array(3 * n);
    this.turnBy = new Float64Array(3 * 6 * n);
    this.velocityBy = new Float64Array(3 * integrated * n);
    this.positionBy = new Float64Array(3 * integrated * n);
    this.carry();
    this.up = up ?? meanDirection(this.forceMps2, n);
    this.basis = tangentBasis(this.up);
    this.integrateNominal();
    this.integrateDerivatives();
  }

  /** Moves the first guess of the vertical to the present estimate and forgets all statements. */
  restart(up: Vec3 = this.motion().up): void {
    this.up = up;
    this.basis = tangentBasis(this.up);
    this.integrateNominal();
    this.information.fill(0);
    this.weighted.fill(0);
    this.values = new Float64Array(unknownCount);
    this.spread = null;
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
      for (let k = first; k < first + count; k++) this.addInformation(k, k, 1 / deviation ** 2);
    }
  }

  /** States the vertical in the frame, each of its two tilts with this standard deviation. */
  stateUp(up: Vec3, deviationRad: number): void {
    for (let k = 0; k < 2; k++) {
      const row = new Float64Array(unknownCount);
      row[unknown.tilt + k] = 1;
      this.state(row, dot(this.basis[k] as Vec3, up), deviationRad);
    }
  }

  /** States the velocity at a sample along a direction of the frame (null: all three). */
  stateVelocity(i: number, along: Vec3 | null, valueMps: number, deviationMps: number): void {
    for (const axis of along ? [along] : axes) {
      this.state(this.row(this.velocityBy, i, axis, 1), valueMps - dotAt(this.velocity, i, axis), deviationMps);
    }
  }

  /** States how far sample i lies from sample j along a direction of the frame. */
  statePosition(i: number, j: number, along: Vec3, valueM: number, deviationM: number): void {
    const other = this.row(this.positionBy, j, along, 2);
    const row = this.row(this.positionBy, i, along, 2).map((value, k) => value - (other[k] as number));
    const nominal = dotAt(this.position, i, along) - dotAt(this.position, j, along);
    this.state(row, valueM - nominal, deviationM);
  }

  /** States that the mean acceleration over samples `[from, to)` is zero: the mean specific force is gravity's. */
  stateUnaccelerated(from: number, to: number, deviationMps2: number): void {
    const last = to - 1;
    const spanS = this.timeOf(last) - this.timeOf(from);
    if (!(spanS > 0)) return;
    for (const axis of axes) {
      const start = this.row(this.velocityBy, from, axis, 1);
      const row = this.row(this.velocityBy, last, axis, 1).map((value, k) => (value - (start[k] as number)) / spanS);
      const nominal = (dotAt(this.velocity, last, axis) - dotAt(this.velocity, from, axis)) / spanS;
      this.state(row, -nominal, deviationMps2);
    }
  }

  /** Solves for the unknowns. */
  solve(): void {
    const covariance = inverseSymmetric(symmetric(Matrix.from1DArray(unknownCount, unknownCount, this.information)));
    this.values = Float64Array.from(covariance.mmul(Matrix.columnVector([...this.weighted])).to1DArray());
    this.spread = sigmaDirections(covariance);
  }

  /** @returns standard deviation of unknown `k`. */
  deviationOf(k: number): number {
    return this.spread ? Math.hypot(...this.spread.getRow(k)) : Number.POSITIVE_INFINITY;
  }

  valueOf(k: number): number {
    return this.values[k] as number;
  }

  /** @returns the motion at the solution, moved by one standard deviation along direction `shift` where given. */
  motion(shift: number | null = null): Motion {
    const values = Float64Array.from(this.values);
    if (shift !== null && this.spread) {
      for (let k = 0; k < unknownCount; k++) values[k] = (values[k] as number) + this.spread.get(k, shift);
    }
    const tilt = this.basis.map((b, k) => scale(b, values[unknown.tilt + k] as number));
    const tilted = add(tilt[0] as Vec3, tilt[1] as Vec3);
    const up = unit(add(this.up, tilted));
    const fall = scale(tilted, -standardGravityMps2);
    const v0 = threeOf(values, unknown.velocity);
    const n = this.block.length;
    const sum = (by: Float64Array, count: number, i: number): Vec3 => {
      let [x, y, z] = [0, 0, 0];
      for (let k = 0; k < count; k++) {
        const value = values[unknown.gyroBias + k] as number;
        const at = 3 * (k * n + i);
        x += value * (by[at] as number);
        y += value * (by[at + 1] as number);
        z += value * (by[at + 2] as number);
      }
      return [x, y, z];
    };
    // The same samples are asked for again and again: each is worked out once.
    const velocities: Vec3[] = new Array(n);
    const positions: Vec3[] = new Array(n);
    const velocityMps = (i: number): Vec3 => {
      const known = velocities[i];
      if (known) return known;
      const t = this.timeOf(i) - this.timeOf(this.reference);
      const v = add(add(vecAt(this.velocity, i), sum(this.velocityBy, integrated, i)), add(v0, scale(fall, t)));
      velocities[i] = v;
      return v;
    };
    const positionM = (i: number): Vec3 => {
      const known = positions[i];
      if (known) return known;
      const t = this.timeOf(i) - this.timeOf(this.reference);
      const moved = add(scale(v0, t), scale(fall, (t * t) / 2));
      const p = add(add(vecAt(this.position, i), sum(this.positionBy, integrated, i)), moved);
      positions[i] = p;
      return p;
    };
    const turned = (i: number, v: Vec3): Vec3 => add(v, cross(sum(this.turnBy, 6, i), v));
    const fromSensor = (i: number, v: Vec3): Vec3 => turned(i, rotate(this.quaternion(i), v));
    const direction = (i: number, axis: Vec3): Vec3 => unit(fromSensor(i, axis));
    const bias = threeOf(values, unknown.accelBias);
    const accelerationMps2 = (i: number): Vec3 => {
      const force = add(vecAt(this.forceMps2, i), scale(rotate(this.quaternion(i), bias), -1));
      return add(turned(i, force), scale(up, -standardGravityMps2));
    };
    return { up, velocityMps, positionM, direction, turned: fromSensor, accelerationMps2 };
  }

  timeOf(i: number): number {
    return this.block.timeS[i] as number;
  }

  /** @returns angular rate at a sample in the frame, rad/s, bias taken out. */
  rateRadps(i: number): Vec3 {
    return rotate(this.quaternion(i), this.rateInSensor(i));
  }

  /** @returns angular rate at a sample in the sensor's axes, rad/s, bias taken out. */
  rateInSensor(i: number): Vec3 {
    const raw = vecAt(this.block.gyroRadps as Float64Array, i);
    return subtract(subtract(raw, this.gyroBias), threeOf(this.values, unknown.gyroBias));
  }

  /** @returns sensor axes to the frame at a sample, without what was learnt of the gyroscope. */
  quaternion(i: number): Quaternion {
    const { attitude } = this;
    const at = 4 * i;
    return [attitude[at] as number, attitude[at + 1] as number, attitude[at + 2] as number, attitude[at + 3] as number];
  }

  private carry(): void {
    const { block, attitude, reference, forceMps2 } = this;
    const gyro = block.gyroRadps as Float64Array;
    const rate = (i: number): Vec3 => subtract(vecAt(gyro, i), this.gyroBias);
    attitude[4 * reference] = 1;
    for (const way of [1, -1] as const) {
      for (let i = reference + way; i >= 0 && i < block.length; i += way) {
        const from = i - way;
        const step = stepRotation(
          rate(Math.min(i, from)),
          rate(Math.max(i, from)),
          this.timeOf(Math.max(i, from)) - this.timeOf(Math.min(i, from)),
        );
        const now = multiply(this.quaternion(from), way > 0 ? step : conjugate(step));
        for (let c = 0; c < 4; c++) attitude[4 * i + c] = now[c] as number;
      }
    }
    for (let i = 0; i < block.length; i++) {
      const [x, y, z] = rotate(this.quaternion(i), vecAt(block.accelMps2, i));
      forceMps2[3 * i] = x;
      forceMps2[3 * i + 1] = y;
      forceMps2[3 * i + 2] = z;
    }
  }

  private integrateNominal(): void {
    const { forceMps2, velocity, position, reference } = this;
    const { timeS, length } = this.block;
    const [gx, gy, gz] = scale(this.up, standardGravityMps2);
    for (const way of [1, -1] as const) {
      let [vx, vy, vz] = [0, 0, 0];
      let [px, py, pz] = [0, 0, 0];
      let [ax, ay, az] = [0, 0, 0];
      for (let i = reference; i >= 0 && i < length; i += way) {
        const half = i === reference ? 0 : ((timeS[i] as number) - (timeS[i - way] as number)) / 2;
        const at = 3 * i;
        const bx = (forceMps2[at] as number) - gx;
        const by = (forceMps2[at + 1] as number) - gy;
        const bz = (forceMps2[at + 2] as number) - gz;
        const [wx, wy, wz] = [vx, vy, vz];
        vx += half * (ax + bx);
        vy += half * (ay + by);
        vz += half * (az + bz);
        px += half * (wx + vx);
        py += half * (wy + vy);
        pz += half * (wz + vz);
        velocity[at] = vx;
        velocity[at + 1] = vy;
        velocity[at + 2] = vz;
        position[at] = px;
        position[at + 1] = py;
        position[at + 2] = pz;
        ax = bx;
        ay = by;
        az = bz;
      }
    }
  }

  /** Derivatives by the six unknowns of the gyroscope and by the accelerometer's bias. */
  private integrateDerivatives(): void {
    const n = this.block.length;
    const columns = this.attitudeColumns();
    for (let k = 0; k < integrated; k++) {
      for (const way of [1, -1] as const) this.integrateDerivative(k, way, columns, n);
    }
  }

  /** Columns of every sample's rotation into the frame: where the sensor's axes point, nine a sample. */
  private attitudeColumns(): Float64Array {
    const n = this.block.length;
    const { attitude } = this;
    const columns = new Float64Array(9 * n);
    for (let i = 0; i < n; i++) {
      const w = attitude[4 * i] as number;
      const x = attitude[4 * i + 1] as number;
      const y = attitude[4 * i + 2] as number;
      const z = attitude[4 * i + 3] as number;
      const at = 9 * i;
      columns[at] = 1 - 2 * (y * y + z * z);
      columns[at + 1] = 2 * (x * y + w * z);
      columns[at + 2] = 2 * (x * z - w * y);
      columns[at + 3] = 2 * (x * y - w * z);
      columns[at + 4] = 1 - 2 * (x * x + z * z);
      columns[at + 5] = 2 * (y * z + w * x);
      columns[at + 6] = 2 * (x * z + w * y);
      columns[at + 7] = 2 * (y * z - w * x);
      columns[at + 8] = 1 - 2 * (x * x + y * y);
    }
    return columns;
  }

  /** One unknown, one way from the reference, by trapezoids; plain numbers, for this is where the time goes. */
  private integrateDerivative(k: number, way: 1 | -1, columns: Float64Array, n: number): void {
    const { turnBy, velocityBy, positionBy, forceMps2, reference } = this;
    const timeS = this.block.timeS;
    const gyro = this.block.gyroRadps as Float64Array;
    const axis = k % 3;
    const byGyro = k < 6;
    const bias = this.gyroBias[axis] as number;
    const offset = 3 * k * n;
    let [tx, ty, tz] = [0, 0, 0];
    let [vx, vy, vz] = [0, 0, 0];
    let [px, py, pz] = [0, 0, 0];
    let [rx, ry, rz] = [0, 0, 0];
    let [ax, ay, az] = [0, 0, 0];
    for (let i = reference; i >= 0 && i < n; i += way) {
      const from = 9 * i + 3 * axis;
      const factor = !byGyro || k < 3 ? -1 : bias - (gyro[3 * i + axis] as number);
      const cx = factor * (columns[from] as number);
      const cy = factor * (columns[from + 1] as number);
      const cz = factor * (columns[from + 2] as number);
      const at = offset + 3 * i;
      const half = i === reference ? 0 : ((timeS[i] as number) - (timeS[i - way] as number)) / 2;
      let [bx, by, bz] = [cx, cy, cz];
      if (byGyro) {
        tx += half * (rx + cx);
        ty += half * (ry + cy);
        tz += half * (rz + cz);
        turnBy[at] = tx;
        turnBy[at + 1] = ty;
        turnBy[at + 2] = tz;
        const fx = forceMps2[3 * i] as number;
        const fy = forceMps2[3 * i + 1] as number;
        const fz = forceMps2[3 * i + 2] as number;
        bx = ty * fz - tz * fy;
        by = tz * fx - tx * fz;
        bz = tx * fy - ty * fx;
      }
      const [wx, wy, wz] = [vx, vy, vz];
      vx += half * (ax + bx);
      vy += half * (ay + by);
      vz += half * (az + bz);
      px += half * (wx + vx);
      py += half * (wy + vy);
      pz += half * (wz + vz);
      velocityBy[at] = vx;
      velocityBy[at + 1] = vy;
      velocityBy[at + 2] = vz;
      positionBy[at] = px;
      positionBy[at + 1] = py;
      positionBy[at + 2] = pz;
      rx = cx;
      ry = cy;
      rz = cz;
      ax = bx;
      ay = by;
      az = bz;
    }
  }

  /** Derivative of velocity or position along an axis by every unknown. */
  private row(by: Float64Array, i: number, axis: Vec3, power: 1 | 2): Float64Array {
    const n = this.block.length;
    const t = this.timeOf(i) - this.timeOf(this.reference);
    const row = new Float64Array(unknownCount);
    const byTilt = -standardGravityMps2 * (power === 1 ? t : (t * t) / 2);
    for (let k = 0; k < 2; k++) row[unknown.tilt + k] = byTilt * dot(this.basis[k] as Vec3, axis);
    for (let k = 0; k < integrated; k++) row[unknown.gyroBias + k] = dotAt(by, k * n + i, axis);
    for (let c = 0; c < 3; c++) row[unknown.velocity + c] = (power === 1 ? 1 : t) * (axis[c] as number);
    return row;
  }

  private state(row: Float64Array, value: number, deviation: number): void {
    const weight = 1 / deviation ** 2;
    for (let a = 0; a < unknownCount; a++) {
      const wa = weight * (row[a] as number);
      if (wa === 0) continue;
      this.weighted[a] = (this.weighted[a] as number) + wa * value;
      for (let b = 0; b < unknownCount; b++) this.addInformation(a, b, wa * (row[b] as number));
    }
  }

  private addInformation(a: number, b: number, amount: number): void {
    const at = a * unknownCount + b;
    this.information[at] = (this.information[at] as number) + amount;
  }
}

const axes: readonly Vec3[] = [
  [1, 0, 0],
  [0, 1, 0],
  [0, 0, 1],
];

function threeOf(values: Float64Array, at: number): Vec3 {
  return [values[at] as number, values[at + 1] as number, values[at + 2] as number];
}

function dotAt(values: Float64Array, i: number, axis: Vec3): number {
  return dot(vecAt(values, i), axis);
}

function meanDirection(force: Float64Array, n: number): Vec3 {
  let sum: Vec3 = [0, 0, 0];
  for (let i = 0; i < n; i++) sum = add(sum, vecAt(force, i));
  return unit(sum);
}
