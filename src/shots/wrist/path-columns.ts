import { standardGravityMps2 } from '../../foundation/constants.ts';
import type { ImuBlock } from '../../foundation/imu-block.ts';
import type { Vec3 } from '../../signal/vec3.ts';

/**
 * What a path is integrated to, sample by sample, interleaved. The loops are written out in scalars: a practice carries some hundred
 * windows of a thousand samples by nine unknowns.
 */
export class PathColumns {
  /** Samples there is room for. */
  readonly room: number;
  /** Sensor axes to the frame, `w x y z`. */
  readonly attitude: Float64Array;
  /** Specific force in the frame, m/s². */
  readonly forceMps2: Float64Array;
  readonly velocity: Float64Array;
  readonly position: Float64Array;
  /** Where the sensor's axes point in the frame, nine numbers a sample. */
  readonly axes: Float64Array;
  /** By unknown, then sample (`room` of them): derivative of the small rotation of the frame, of velocity and of position, three each. */
  readonly turnBy: Float64Array;
  readonly velocityBy: Float64Array;
  readonly positionBy: Float64Array;

  constructor(room: number) {
    this.room = room;
    this.attitude = new Float64Array(4 * room);
    this.forceMps2 = new Float64Array(3 * room);
    this.velocity = new Float64Array(3 * room);
    this.position = new Float64Array(3 * room);
    this.axes = new Float64Array(9 * room);
    this.turnBy = new Float64Array(3 * turning * room);
    this.velocityBy = new Float64Array(3 * integrated * room);
    this.positionBy = new Float64Array(3 * integrated * room);
  }
}

/** Columns for one path after another: what the last one was put into is used again. */
export class PathMemory {
  private columns: PathColumns | null = null;

  /** @returns columns for a path of `length` samples; those given out before are the same and lose what they held. */
  columnsFor(length: number): PathColumns {
    if (this.columns === null || this.columns.room < length) this.columns = new PathColumns(length + (length >> 2));
    return this.columns;
  }
}

/** Unknowns that turn the frame: gyroscope bias and scale. */
export const turning = 6;
/** Unknowns whose effect is integrated numerically: those, and the accelerometer's bias. */
export const integrated = 9;

/** Carries the attitude by the gyroscope both ways from `reference`, and the force into the frame by it. */
export function carryAttitude(block: ImuBlock, reference: number, gyroBias: Vec3, columns: PathColumns): void {
  const { timeS, accelMps2, length } = block;
  const gyro = block.gyroRadps as Float64Array;
  const { attitude, forceMps2 } = columns;
  const [ox, oy, oz] = gyroBias;
  attitude.set([1, 0, 0, 0], 4 * reference);
  for (let way = 1; way >= -1; way -= 2) {
    for (let i = reference + way; i >= 0 && i < length; i += way) {
      const from = i - way;
      const [early, late] = way > 0 ? [from, i] : [i, from];
      const ax = (gyro[3 * early] as number) - ox;
      const ay = (gyro[3 * early + 1] as number) - oy;
      const az = (gyro[3 * early + 2] as number) - oz;
      const bx = (gyro[3 * late] as number) - ox;
      const by = (gyro[3 * late + 1] as number) - oy;
      const bz = (gyro[3 * late + 2] as number) - oz;
      // The same as `stepRotation`, turned round on the way back.
      const stepS = (timeS[late] as number) - (timeS[early] as number);
      const half = stepS / 2;
      const coning = (stepS * stepS) / 12;
      const tx = (ax + bx) * half + (ay * bz - az * by) * coning;
      const ty = (ay + by) * half + (az * bx - ax * bz) * coning;
      const tz = (az + bz) * half + (ax * by - ay * bx) * coning;
      const angle2 = tx * tx + ty * ty + tz * tz;
      const angle = Math.sqrt(angle2);
      const share = angle2 < 1e-8 ? 0.5 - angle2 / 48 : Math.sin(angle / 2) / angle;
      const c = angle2 < 1e-8 ? 1 - angle2 / 8 : Math.cos(angle / 2);
      const x = way * (share * tx);
      const y = way * (share * ty);
      const z = way * (share * tz);
      const qw = attitude[4 * from] as number;
      const qx = attitude[4 * from + 1] as number;
      const qy = attitude[4 * from + 2] as number;
      const qz = attitude[4 * from + 3] as number;
      attitude[4 * i] = qw * c - qx * x - qy * y - qz * z;
      attitude[4 * i + 1] = qw * x + qx * c + qy * z - qz * y;
      attitude[4 * i + 2] = qw * y - qx * z + qy * c + qz * x;
      attitude[4 * i + 3] = qw * z + qx * y - qy * x + qz * c;
    }
  }
  for (let i = 0; i < length; i++) {
    const qw = attitude[4 * i] as number;
    const qx = attitude[4 * i + 1] as number;
    const qy = attitude[4 * i + 2] as number;
    const qz = attitude[4 * i + 3] as number;
    const x = accelMps2[3 * i] as number;
    const y = accelMps2[3 * i + 1] as number;
    const z = accelMps2[3 * i + 2] as number;
    const tx = 2 * (qy * z - qz * y);
    const ty = 2 * (qz * x - qx * z);
    const tz = 2 * (qx * y - qy * x);
    forceMps2[3 * i] = x + qw * tx + qy * tz - qz * ty;
    forceMps2[3 * i + 1] = y + qw * ty + qz * tx - qx * tz;
    forceMps2[3 * i + 2] = z + qw * tz + qx * ty - qy * tx;
  }
}

/** Integrates force less gravity both ways from `reference`, by trapezoids. */
export function integrateMotion(block: ImuBlock, reference: number, up: Vec3, columns: PathColumns): void {
  const { timeS, length } = block;
  const { forceMps2, velocity, position } = columns;
  const gx = up[0] * standardGravityMps2;
  const gy = up[1] * standardGravityMps2;
  const gz = up[2] * standardGravityMps2;
  for (let way = 1; way >= -1; way -= 2) {
    let vx = 0;
    let vy = 0;
    let vz = 0;
    let px = 0;
    let py = 0;
    let pz = 0;
    let ax = 0;
    let ay = 0;
    let az = 0;
    for (let i = reference; i >= 0 && i < length; i += way) {
      const half = i === reference ? 0 : ((timeS[i] as number) - (timeS[i - way] as number)) / 2;
      const at = 3 * i;
      const bx = (forceMps2[at] as number) - gx;
      const by = (forceMps2[at + 1] as number) - gy;
      const bz = (forceMps2[at + 2] as number) - gz;
      const wx = vx;
      const wy = vy;
      const wz = vz;
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

/** Integrates how frame, velocity and position change with the gyroscope's bias and scale and the accelerometer's bias. */
export function integrateDerivatives(block: ImuBlock, reference: number, gyroBias: Vec3, columns: PathColumns): void {
  putAxes(block.length, columns);
  for (let k = 0; k < integrated; k++) {
    for (const way of [1, -1] as const) integrateDerivative(k, way, block, reference, gyroBias, columns);
  }
}

/** Where the sensor's axes point in the frame, nine numbers a sample. */
function putAxes(length: number, { attitude, axes }: PathColumns): void {
  for (let i = 0; i < length; i++) {
    const w = attitude[4 * i] as number;
    const x = attitude[4 * i + 1] as number;
    const y = attitude[4 * i + 2] as number;
    const z = attitude[4 * i + 3] as number;
    const at = 9 * i;
    axes[at] = 1 - 2 * (y * y + z * z);
    axes[at + 1] = 2 * (x * y + w * z);
    axes[at + 2] = 2 * (x * z - w * y);
    axes[at + 3] = 2 * (x * y - w * z);
    axes[at + 4] = 1 - 2 * (x * x + z * z);
    axes[at + 5] = 2 * (y * z + w * x);
    axes[at + 6] = 2 * (x * z + w * y);
    axes[at + 7] = 2 * (y * z - w * x);
    axes[at + 8] = 1 - 2 * (x * x + y * y);
  }
}

/** One unknown, one way from the reference, by trapezoids. */
function integrateDerivative(
  k: number,
  way: 1 | -1,
  { timeS, gyroRadps, length }: ImuBlock,
  reference: number,
  gyroBias: Vec3,
  { axes, forceMps2, turnBy, velocityBy, positionBy, room }: PathColumns,
): void {
  const gyro = gyroRadps as Float64Array;
  const axis = k % 3;
  const byGyro = k < turning;
  const byScale = byGyro && k >= 3;
  const bias = gyroBias[axis] as number;
  const offset = 3 * k * room;
  let tx = 0;
  let ty = 0;
  let tz = 0;
  let vx = 0;
  let vy = 0;
  let vz = 0;
  let px = 0;
  let py = 0;
  let pz = 0;
  let rx = 0;
  let ry = 0;
  let rz = 0;
  let ax = 0;
  let ay = 0;
  let az = 0;
  for (let i = reference; i >= 0 && i < length; i += way) {
    const from = 9 * i + 3 * axis;
    const factor = byScale ? bias - (gyro[3 * i + axis] as number) : -1;
    const cx = factor * (axes[from] as number);
    const cy = factor * (axes[from + 1] as number);
    const cz = factor * (axes[from + 2] as number);
    const at = offset + 3 * i;
    const half = i === reference ? 0 : ((timeS[i] as number) - (timeS[i - way] as number)) / 2;
    let bx = cx;
    let by = cy;
    let bz = cz;
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
    const wx = vx;
    const wy = vy;
    const wz = vz;
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
