import { standardGravityMps2 } from '../../foundation/constants.ts';
import { type ImuBlock, sampleFlag } from '../../foundation/imu-block.ts';
import type { Quaternion } from '../../signal/rotation.ts';
import type { Vec3 } from '../../signal/vec3.ts';

/** What the way before release depends on; sigma points shift these together. */
export interface WalkStart {
  /** Attitude of the sensor at the start sample in the frozen frame. */
  readonly attitude: Quaternion;
  readonly velocityMps: Vec3;
  readonly up: Vec3;
  readonly biasMps2: Vec3;
  readonly offsetM: Vec3;
  /** True rate = measured · (1 + scale) + bias, per axis. */
  readonly rateScale: Vec3;
  readonly rateBiasRadps: Vec3;
}

/** Path of the ball's centre going back from the start sample, in the frozen frame; entry k is sample `from − k`. */
export interface Walk {
  readonly length: number;
  readonly timeS: Float64Array;
  readonly positionM: Float64Array;
  readonly velocityMps: Float64Array;
  /** Specific force without bias and lever, turned into the frozen frame, m/s². */
  readonly forceMps2: Float64Array;
  /** Angular rate in the frozen frame, rad/s. */
  readonly spinRadps: Float64Array;
  /** Attitude of the sensor in the frozen frame, 4 per entry. */
  readonly attitude: Float64Array;
}

/**
 * Integrates backward in time from release (strapdown inertial navigation, as in Savage 1998, J. Guidance 21:19, with one
 * coning term): trapezoid rule for velocity and position; across missing samples force and rate follow a cubic through their
 * slopes on either side.
 *
 * Sample `from` is the start; time zero of the state is `startS`, which may lie up to a sample after it.
 *
 * @param block samples with a gyroscope.
 * @param from index of the last sample at or before the start instant.
 * @param to index of the earliest sample wanted.
 */
export function walkBack(block: ImuBlock, from: number, to: number, start: WalkStart): Walk {
  // Written out in scalars: sigma points walk the same second some fifty times for every shot.
  const gyro = block.gyroRadps as Float64Array;
  const accel = block.accelMps2;
  const time = block.timeS;
  const length = from - to + 1;
  const timeS = new Float64Array(length);
  const positionM = new Float64Array(3 * length);
  const velocityMps = new Float64Array(3 * length);
  const forceMps2 = new Float64Array(3 * length);
  const spinRadps = new Float64Array(3 * length);
  const attitude = new Float64Array(4 * length);
  const g = standardGravityMps2;
  const [kx, ky, kz] = [1 + start.rateScale[0], 1 + start.rateScale[1], 1 + start.rateScale[2]];
  const [c0, c1, c2] = start.rateBiasRadps;
  const [bx, by, bz] = start.biasMps2;
  const [rx, ry, rz] = start.offsetM;
  const [gx, gy, gz] = [g * start.up[0], g * start.up[1], g * start.up[2]];
  let [qw, qx, qy, qz] = start.attitude;
  let [vx, vy, vz] = start.velocityMps;
  let x = 0;
  let y = 0;
  let z = 0;
  let wx = 0;
  let wy = 0;
  let wz = 0;
  let fx = 0;
  let fy = 0;
  let fz = 0;
  // Velocity that the straight line across a gap misses, known one sample behind it.
  let bendS2 = 0;
  for (let k = 0; k < length; k++) {
    const i = from - k;
    const j = 3 * i;
    const nx = (gyro[j] as number) * kx + c0;
    const ny = (gyro[j + 1] as number) * ky + c1;
    const nz = (gyro[j + 2] as number) * kz + c2;
    const h = k > 0 ? (time[i] as number) - (time[i + 1] as number) : 0;
    if (k > 0) {
      // Rotation over the step with the coning term, as a quaternion by its series (steps turn by far less than 1 rad).
      const half = h / 2;
      const coning = (h * h) / 12;
      let tx = (wx + nx) * half + (wy * nz - wz * ny) * coning;
      let ty = (wy + ny) * half + (wz * nx - wx * nz) * coning;
      let tz = (wz + nz) * half + (wx * ny - wy * nx) * coning;
      if (isGap(block, i + 1) && isSmooth(block, i + 2) && isSmooth(block, i)) {
        tx -= bend(gyro, time, i, 0);
        ty -= bend(gyro, time, i, 1);
        tz -= bend(gyro, time, i, 2);
      }
      const angle2 = tx * tx + ty * ty + tz * tz;
      const angle = Math.sqrt(angle2);
      const s = angle2 < 1e-8 ? 0.5 - angle2 / 48 : Math.sin(angle / 2) / angle;
      const c = angle2 < 1e-8 ? 1 - angle2 / 8 : Math.cos(angle / 2);
      const ex = s * tx;
      const ey = s * ty;
      const ez = s * tz;
      const pw = qw * c - qx * ex - qy * ey - qz * ez;
      const px = qw * ex + qx * c + qy * ez - qz * ey;
      const py = qw * ey - qx * ez + qy * c + qz * ex;
      const pz = qw * ez + qx * ey - qy * ex + qz * c;
      qw = pw;
      qx = px;
      qy = py;
      qz = pz;
    }
    const before = i > 0 ? i - 1 : 0;
    const after = i + 1 < block.length ? i + 1 : i;
    const dt = (time[after] as number) - (time[before] as number);
    const dx = ((gyro[3 * after] as number) - (gyro[3 * before] as number)) / dt;
    const dy = ((gyro[3 * after + 1] as number) - (gyro[3 * before + 1] as number)) / dt;
    const dz = ((gyro[3 * after + 2] as number) - (gyro[3 * before + 2] as number)) / dt;
    const wr = nx * rx + ny * ry + nz * rz;
    const ww = nx * nx + ny * ny + nz * nz;
    const sx = (accel[j] as number) - bx - (nx * wr - ww * rx + dy * rz - dz * ry);
    const sy = (accel[j + 1] as number) - by - (ny * wr - ww * ry + dz * rx - dx * rz);
    const sz = (accel[j + 2] as number) - bz - (nz * wr - ww * rz + dx * ry - dy * rx);
    const ux = 2 * (qy * sz - qz * sy);
    const uy = 2 * (qz * sx - qx * sz);
    const uz = 2 * (qx * sy - qy * sx);
    const ax = sx + qw * ux + qy * uz - qz * uy;
    const ay = sy + qw * uy + qz * ux - qx * uz;
    const az = sz + qw * uz + qx * uy - qy * ux;
    if (k > 0) {
      const half = h / 2;
      const mx = vx + half * (fx + ax) - h * gx;
      const my = vy + half * (fy + ay) - h * gy;
      const mz = vz + half * (fz + az) - h * gz;
      x += half * (vx + mx);
      y += half * (vy + my);
      z += half * (vz + mz);
      vx = mx;
      vy = my;
      vz = mz;
      if (bendS2 > 0) {
        // f(k−2) and f(k−3) stand behind the gap, f(k−1) and this one before it.
        const o = 3 * (k - 1);
        const lateS = (timeS[k - 3] as number) - (timeS[k - 2] as number);
        const missed = (at: number, now: number): number => {
          const [f1, f2, f3] = [
            forceMps2[o + at] as number,
            forceMps2[o - 3 + at] as number,
            forceMps2[o - 6 + at] as number,
          ];
          return limited(bendS2 * ((f1 - now) / -h - (f3 - f2) / lateS), f1, f2, bendS2);
        };
        const [cx, cy, cz] = [missed(0, ax), missed(1, ay), missed(2, az)];
        velocityMps[o] = (velocityMps[o] as number) - cx;
        velocityMps[o + 1] = (velocityMps[o + 1] as number) - cy;
        velocityMps[o + 2] = (velocityMps[o + 2] as number) - cz;
        vx -= cx;
        vy -= cy;
        vz -= cz;
        x -= h * cx;
        y -= h * cy;
        z -= h * cz;
      }
      bendS2 = k > 1 && isGap(block, i + 1) && isSmooth(block, i + 2) && isSmooth(block, i) ? (h * h) / 12 : 0;
    }
    wx = nx;
    wy = ny;
    wz = nz;
    fx = ax;
    fy = ay;
    fz = az;
    const ox = 2 * (qy * nz - qz * ny);
    const oy = 2 * (qz * nx - qx * nz);
    const oz = 2 * (qx * ny - qy * nx);
    spinRadps[3 * k] = nx + qw * ox + qy * oz - qz * oy;
    spinRadps[3 * k + 1] = ny + qw * oy + qz * ox - qx * oz;
    spinRadps[3 * k + 2] = nz + qw * oz + qx * oy - qy * ox;
    timeS[k] = time[i] as number;
    positionM[3 * k] = x;
    positionM[3 * k + 1] = y;
    positionM[3 * k + 2] = z;
    velocityMps[3 * k] = vx;
    velocityMps[3 * k + 1] = vy;
    velocityMps[3 * k + 2] = vz;
    forceMps2[3 * k] = fx;
    forceMps2[3 * k + 1] = fy;
    forceMps2[3 * k + 2] = fz;
    attitude[4 * k] = qw;
    attitude[4 * k + 1] = qx;
    attitude[4 * k + 2] = qy;
    attitude[4 * k + 3] = qz;
  }
  return { length, timeS, positionM, velocityMps, forceMps2, spinRadps, attitude };
}

/** Whether samples are missing right before sample `i`. */
function isGap(block: ImuBlock, i: number): boolean {
  return ((block.flags[i] as number) & sampleFlag.gapBefore) !== 0;
}

/** Whether the step from sample `i` − 1 to `i` gives a slope. */
function isSmooth(block: ImuBlock, i: number): boolean {
  return i > 0 && i < block.length && !isGap(block, i);
}

/**
 * What a straight line across the gap behind sample `i` misses of the integral of one axis, by the cubic through the slopes on
 * either side.
 */
function bend(values: Float64Array, timeS: Float64Array, i: number, axis: number): number {
  const at = (sample: number) => values[3 * sample + axis] as number;
  const t = (sample: number) => timeS[sample] as number;
  const lengthS = t(i + 1) - t(i);
  const early = (at(i) - at(i - 1)) / (t(i) - t(i - 1));
  const late = (at(i + 2) - at(i + 1)) / (t(i + 2) - t(i + 1));
  const bendS2 = (lengthS * lengthS) / 12;
  return limited(bendS2 * (early - late), at(i), at(i + 1), bendS2);
}

/** A cubic's part of an integral, kept to a quarter of what the larger end would give by itself. */
function limited(missed: number, a: number, b: number, bendS2: number): number {
  const most = 0.25 * Math.sqrt(12 * bendS2) * Math.max(Math.abs(a), Math.abs(b));
  return Math.min(most, Math.max(-most, missed));
}
