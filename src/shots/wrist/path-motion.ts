import { standardGravityMps2 } from '../../foundation/constants.ts';
import type { ImuBlock } from '../../foundation/imu-block.ts';
import { add, cross, scale, unit, type Vec3 } from '../../signal/vec3.ts';
import { integrated, type PathColumns, turning } from './path-columns.ts';

/** First of each group of unknowns: tilts (2), gyroscope bias (3) and scale (3), accelerometer bias (3), velocity (3). */
export const unknown = { tilt: 0, gyroBias: 2, gyroScale: 5, accelBias: 8, velocity: 11 } as const;
export const unknownCount = 14;

/** The motion for one set of values of the unknowns. Samples are counted in the block. */
export interface Motion {
  /** Vertical in the frame, unit vector. */
  readonly up: Vec3;
  velocityMps(i: number): Vec3;
  /** From the place at the reference. */
  positionM(i: number): Vec3;
  /** Their parts along `up`. */
  riseMps(i: number): number;
  heightM(i: number): number;
  /** A direction of the sensor at a sample, in the frame: unit vector. */
  direction(i: number, sensorAxis: Vec3): Vec3;
  /** A vector of the sensor's axes at a sample, in the frame. */
  turned(i: number, inSensor: Vec3): Vec3;
  /** Acceleration in the frame, m/s². */
  accelerationMps2(i: number): Vec3;
}

/** What a path was linearised about. */
interface PathBase {
  readonly block: ImuBlock;
  readonly reference: number;
  readonly columns: PathColumns;
  /** First guess of the vertical and two directions across it. */
  readonly up: Vec3;
  readonly basis: readonly [Vec3, Vec3];
}

/** Velocities and positions of one motion as far as they were asked for: the same samples are asked for again and again. */
export class MotionCache {
  readonly velocity: Float64Array;
  readonly position: Float64Array;
  readonly hasVelocity: Uint8Array;
  readonly hasPosition: Uint8Array;

  constructor(length: number) {
    this.velocity = new Float64Array(3 * length);
    this.position = new Float64Array(3 * length);
    this.hasVelocity = new Uint8Array(length);
    this.hasPosition = new Uint8Array(length);
  }

  forget(): void {
    this.hasVelocity.fill(0);
    this.hasPosition.fill(0);
  }
}

/** @returns how far the vertical is tilted by these values. */
function tiltOf(basis: readonly [Vec3, Vec3], values: Float64Array): Vec3 {
  return add(scale(basis[0], values[unknown.tilt] as number), scale(basis[1], values[unknown.tilt + 1] as number));
}

/** @returns the vertical for these values of the unknowns. */
export function upOf({ up, basis }: Pick<PathBase, 'up' | 'basis'>, values: Float64Array): Vec3 {
  return unit(add(up, tiltOf(basis, values)));
}

/** A path at some values of the unknowns. */
export class PathMotion implements Motion {
  readonly up: Vec3;
  private readonly base: PathBase;
  private readonly values: Float64Array;
  private readonly fall: Vec3;
  private readonly makeCache: () => MotionCache;
  private made: MotionCache | null = null;

  /**
   * @param values of the unknowns; they stay the motion's own.
   * @param makeCache where to keep what was asked for, when it is first asked.
   */
  constructor(base: PathBase, values: Float64Array, makeCache: () => MotionCache) {
    this.base = base;
    this.values = values;
    this.makeCache = makeCache;
    this.up = upOf(base, values);
    this.fall = scale(tiltOf(base.basis, values), -standardGravityMps2);
  }

  velocityMps(i: number): Vec3 {
    const { velocity } = this.withVelocity(i);
    return [velocity[3 * i] as number, velocity[3 * i + 1] as number, velocity[3 * i + 2] as number];
  }

  positionM(i: number): Vec3 {
    const { position } = this.withPosition(i);
    return [position[3 * i] as number, position[3 * i + 1] as number, position[3 * i + 2] as number];
  }

  riseMps(i: number): number {
    return along(this.withVelocity(i).velocity, i, this.up);
  }

  heightM(i: number): number {
    return along(this.withPosition(i).position, i, this.up);
  }

  direction(i: number, sensorAxis: Vec3): Vec3 {
    return unit(this.turned(i, sensorAxis));
  }

  turned(i: number, inSensor: Vec3): Vec3 {
    return this.turnedOn(i, intoFrame(this.base.columns.attitude, i, inSensor));
  }

  accelerationMps2(i: number): Vec3 {
    const { forceMps2, attitude } = this.base.columns;
    const { values } = this;
    const bias = intoFrame(attitude, i, [
      values[unknown.accelBias] as number,
      values[unknown.accelBias + 1] as number,
      values[unknown.accelBias + 2] as number,
    ]);
    const force: Vec3 = [
      (forceMps2[3 * i] as number) - bias[0],
      (forceMps2[3 * i + 1] as number) - bias[1],
      (forceMps2[3 * i + 2] as number) - bias[2],
    ];
    return add(this.turnedOn(i, force), scale(this.up, -standardGravityMps2));
  }

  /** A vector of the frame, with the small rotation that the gyroscope's unknowns give it. */
  private turnedOn(i: number, v: Vec3): Vec3 {
    const { turnBy, room } = this.base.columns;
    const { values } = this;
    let x = 0;
    let y = 0;
    let z = 0;
    let at = 3 * i;
    for (let k = 0; k < turning; k++, at += 3 * room) {
      const value = values[unknown.gyroBias + k] as number;
      x += value * (turnBy[at] as number);
      y += value * (turnBy[at + 1] as number);
      z += value * (turnBy[at + 2] as number);
    }
    return add(v, cross([x, y, z], v));
  }

  private get cache(): MotionCache {
    this.made ??= this.makeCache();
    return this.made;
  }

  private withVelocity(i: number): MotionCache {
    const { cache } = this;
    if (cache.hasVelocity[i] === 1) return cache;
    const { block, reference, columns } = this.base;
    const t = (block.timeS[i] as number) - (block.timeS[reference] as number);
    this.putMoved(i, columns.velocity, columns.velocityBy, 1, t, cache.velocity);
    cache.hasVelocity[i] = 1;
    return cache;
  }

  private withPosition(i: number): MotionCache {
    const { cache } = this;
    if (cache.hasPosition[i] === 1) return cache;
    const { block, reference, columns } = this.base;
    const t = (block.timeS[i] as number) - (block.timeS[reference] as number);
    this.putMoved(i, columns.position, columns.positionBy, t, (t * t) / 2, cache.position);
    cache.hasPosition[i] = 1;
    return cache;
  }

  /** @param byVelocity what the velocity at the reference counts, and `byFall` the tilted gravity. */
  private putMoved(
    i: number,
    nominal: Float64Array,
    by: Float64Array,
    byVelocity: number,
    byFall: number,
    out: Float64Array,
  ): void {
    const { values, fall } = this;
    const step = 3 * this.base.columns.room;
    let x = 0;
    let y = 0;
    let z = 0;
    let at = 3 * i;
    for (let k = 0; k < integrated; k++, at += step) {
      const value = values[unknown.gyroBias + k] as number;
      x += value * (by[at] as number);
      y += value * (by[at + 1] as number);
      z += value * (by[at + 2] as number);
    }
    const v = unknown.velocity;
    out[3 * i] = (nominal[3 * i] as number) + x + ((values[v] as number) * byVelocity + fall[0] * byFall);
    out[3 * i + 1] = (nominal[3 * i + 1] as number) + y + ((values[v + 1] as number) * byVelocity + fall[1] * byFall);
    out[3 * i + 2] = (nominal[3 * i + 2] as number) + z + ((values[v + 2] as number) * byVelocity + fall[2] * byFall);
  }
}

function along(values: Float64Array, i: number, axis: Vec3): number {
  return (
    (values[3 * i] as number) * axis[0] +
    (values[3 * i + 1] as number) * axis[1] +
    (values[3 * i + 2] as number) * axis[2]
  );
}

/** The same as `rotate` with the attitude at sample `i`. */
function intoFrame(attitude: Float64Array, i: number, v: Vec3): Vec3 {
  const qw = attitude[4 * i] as number;
  const qx = attitude[4 * i + 1] as number;
  const qy = attitude[4 * i + 2] as number;
  const qz = attitude[4 * i + 3] as number;
  const tx = 2 * (qy * v[2] - qz * v[1]);
  const ty = 2 * (qz * v[0] - qx * v[2]);
  const tz = 2 * (qx * v[1] - qy * v[0]);
  return [v[0] + qw * tx + qy * tz - qz * ty, v[1] + qw * ty + qz * tx - qx * tz, v[2] + qw * tz + qx * ty - qy * tx];
}
