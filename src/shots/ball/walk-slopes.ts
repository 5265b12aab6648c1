import { standardGravityMps2 } from '../../foundation/constants.ts';
import type { ImuBlock } from '../../foundation/imu-block.ts';
import type { Vec3 } from '../../signal/vec3.ts';
import type { Walk, WalkStart } from './walk-back.ts';

/** A small change of what a walk starts from. */
export interface WalkShift {
  /** Turn of the sensor at the start sample, in the frozen frame, rad. */
  readonly turnRad: Vec3;
  readonly velocityMps: Vec3;
  readonly up: Vec3;
  /** Changes of bias x y z (m/s²), offset x y z (m), rate scale x y z and rate bias x y z (rad/s). */
  readonly sensor: readonly number[];
}

/** How a walk changes with what it starts from, entry by entry. */
export interface WalkSlopes {
  readonly walk: Walk;
  /** Entries for which the slopes are known. */
  readonly length: number;
  /** Change of attitude with rate scale and rate bias, velocity and position with all of `WalkShift.sensor`: 90 per entry. */
  readonly table: Float64Array;
  /** Parts of the walk that `shiftWalk` may be asked for. */
  readonly parts: readonly WalkPart[];
  /** Of their entries, one part after the other: the attitude's columns and how attitude and force change there, 54 each. */
  readonly local: Float64Array;
  readonly block: ImuBlock;
  readonly from: number;
  readonly start: WalkStart;
}

const places = { turn: 0, velocity: 18, position: 54, count: 90 } as const;

/**
 * Differentiates a walk once with respect to everything it starts from: errors of attitude, velocity and position obey linear
 * equations along it (Savage 1998, J. Guidance 21:19). A hundred shifted walks then cost as much as a few.
 *
 * @param length entries from the start for which slopes are wanted.
 * @param wanted parts that `shiftWalk` is to be asked for.
 */
export function walkSlopes(
  block: ImuBlock,
  from: number,
  walk: Walk,
  length: number,
  start: WalkStart,
  wanted: readonly WalkPart[],
): WalkSlopes {
  const n = Math.min(length, walk.length);
  const parts = wanted.map(({ first, last }) => ({ first: Math.max(0, first), last: Math.min(last, n - 1) }));
  const table = new Float64Array(places.count * n);
  const now = new Float64Array(localCount);
  const before = new Float64Array(localCount);
  const local = new Float64Array(localCount * parts.reduce((sum, part) => sum + entriesOf(part), 0));
  for (let k = 0; k < n; k++) {
    const at = places.count * k;
    const h = k > 0 ? (walk.timeS[k] as number) - (walk.timeS[k - 1] as number) : 0;
    const half = h / 2;
    turnRates(block, from - k, walk, k, now);
    if (k > 0) {
      for (let c = 0; c < 18; c++) {
        table[at + c] = (table[at - places.count + c] as number) + half * ((now[c] as number) + (before[c] as number));
      }
    }
    forceSlopes(block, from - k, walk, k, start, table, at, now);
    if (k > 0) {
      for (let c = 0; c < 36; c++) {
        const v = at + places.velocity + c;
        const old = table[v - places.count] as number;
        const next = old + half * ((now[18 + c] as number) + (before[18 + c] as number));
        table[v] = next;
        table[v + 36] = (table[v + 36 - places.count] as number) + half * (old + next);
      }
    }
    let o = 0;
    for (const part of parts) {
      if (k >= part.first && k <= part.last) local.set(now, o + localCount * (k - part.first));
      o += localCount * entriesOf(part);
    }
    before.set(now);
  }
  return { walk, length: n, table, parts, local, block, from, start };
}

/** Columns of the attitude (9), the attitude's change (9) and the force's (36) at one entry. */
const localCount = 9 + 9 + 36;

function entriesOf({ first, last }: WalkPart): number {
  return Math.max(0, last - first + 1);
}

/** Rate of the attitude's change with rate scale (3 × 3 by rows) and rate bias (3 × 3) in the frozen frame. */
function turnRates(block: ImuBlock, i: number, walk: Walk, k: number, out: Float64Array): void {
  const w = walk.attitude[4 * k] as number;
  const x = walk.attitude[4 * k + 1] as number;
  const y = walk.attitude[4 * k + 2] as number;
  const z = walk.attitude[4 * k + 3] as number;
  out[9] = 1 - 2 * (y * y + z * z);
  out[10] = 2 * (x * y - w * z);
  out[11] = 2 * (x * z + w * y);
  out[12] = 2 * (x * y + w * z);
  out[13] = 1 - 2 * (x * x + z * z);
  out[14] = 2 * (y * z - w * x);
  out[15] = 2 * (x * z - w * y);
  out[16] = 2 * (y * z + w * x);
  out[17] = 1 - 2 * (x * x + y * y);
  const gyro = block.gyroRadps as Float64Array;
  for (let c = 0; c < 3; c++) {
    const rate = gyro[3 * i + c] as number;
    for (let r = 0; r < 3; r++) out[3 * r + c] = (out[9 + 3 * r + c] as number) * rate;
  }
}

/** Change of the force in the frozen frame with all of `WalkShift.sensor`, 3 × 12 by rows, behind the rotation in `out`. */
function forceSlopes(
  block: ImuBlock,
  i: number,
  walk: Walk,
  k: number,
  start: WalkStart,
  table: Float64Array,
  at: number,
  out: Float64Array,
): void {
  const gyro = block.gyroRadps as Float64Array;
  const [rx, ry, rz] = start.offsetM;
  const mx = gyro[3 * i] as number;
  const my = gyro[3 * i + 1] as number;
  const mz = gyro[3 * i + 2] as number;
  const wx = mx * (1 + start.rateScale[0]) + start.rateBiasRadps[0];
  const wy = my * (1 + start.rateScale[1]) + start.rateBiasRadps[1];
  const wz = mz * (1 + start.rateScale[2]) + start.rateBiasRadps[2];
  const before = i > 0 ? i - 1 : 0;
  const after = i + 1 < block.length ? i + 1 : i;
  const dt = (block.timeS[after] as number) - (block.timeS[before] as number);
  const dx = ((gyro[3 * after] as number) - (gyro[3 * before] as number)) / dt;
  const dy = ((gyro[3 * after + 1] as number) - (gyro[3 * before + 1] as number)) / dt;
  const dz = ((gyro[3 * after + 2] as number) - (gyro[3 * before + 2] as number)) / dt;
  const ww = wx * wx + wy * wy + wz * wz;
  const wr = wx * rx + wy * ry + wz * rz;
  const fx = walk.forceMps2[3 * k] as number;
  const fy = walk.forceMps2[3 * k + 1] as number;
  const fz = walk.forceMps2[3 * k + 2] as number;
  for (let r = 0; r < 3; r++) {
    const r0 = out[9 + 3 * r] as number;
    const r1 = out[10 + 3 * r] as number;
    const r2 = out[11 + 3 * r] as number;
    const o = 18 + 12 * r;
    out[o] = -r0;
    out[o + 1] = -r1;
    out[o + 2] = -r2;
    // The lever's acceleration per offset: ω ωᵀ − ω² + [ω̇]×.
    const rw = r0 * wx + r1 * wy + r2 * wz;
    out[o + 3] = -(rw * wx - r0 * ww + r1 * dz - r2 * dy);
    out[o + 4] = -(rw * wy - r1 * ww + r2 * dx - r0 * dz);
    out[o + 5] = -(rw * wz - r2 * ww + r0 * dy - r1 * dx);
    // And per rate: (ω · r) + ω rᵀ − 2 r ωᵀ.
    const rr = r0 * rx + r1 * ry + r2 * rz;
    const lx = -(r0 * wr + rw * rx - 2 * rr * wx);
    const ly = -(r1 * wr + rw * ry - 2 * rr * wy);
    const lz = -(r2 * wr + rw * rz - 2 * rr * wz);
    out[o + 6] = lx * mx;
    out[o + 7] = ly * my;
    out[o + 8] = lz * mz;
    out[o + 9] = lx;
    out[o + 10] = ly;
    out[o + 11] = lz;
  }
  // The force turns with the attitude.
  for (let c = 0; c < 6; c++) {
    const from = at + (c < 3 ? c : 6 + c);
    const tx = table[from] as number;
    const ty = table[from + 3] as number;
    const tz = table[from + 6] as number;
    out[24 + c] = (out[24 + c] as number) + ty * fz - tz * fy;
    out[36 + c] = (out[36 + c] as number) + tz * fx - tx * fz;
    out[48 + c] = (out[48 + c] as number) + tx * fy - ty * fx;
  }
}

/** Shifts as plain numbers: turn, velocity, up and sensor, 21 each. */
type PackedShifts = Float64Array;

const packed = { velocity: 3, up: 6, sensor: 9, count: 21 } as const;

export function packShifts(shifts: readonly WalkShift[]): PackedShifts {
  const all = new Float64Array(packed.count * shifts.length);
  for (const [c, { turnRad, velocityMps, up, sensor }] of shifts.entries()) {
    const o = packed.count * c;
    for (let axis = 0; axis < 3; axis++) {
      all[o + axis] = turnRad[axis] as number;
      all[o + packed.velocity + axis] = velocityMps[axis] as number;
      all[o + packed.up + axis] = up[axis] as number;
    }
    for (let i = 0; i < 12; i++) all[o + packed.sensor + i] = sensor[i] as number;
  }
  return all;
}

/** Change of velocity (m/s) and position (m) at entry `k` by each shift, frozen frame: six values each put into `out`. */
export function shiftsAt(slopes: WalkSlopes, shifts: PackedShifts, k: number, out: Float64Array): void {
  const { walk, table, start } = slopes;
  const g = standardGravityMps2;
  const s = (walk.timeS[k] as number) - (walk.timeS[0] as number);
  const { velocityMps: v, positionM: x } = walk;
  const [ux, uy, uz] = start.up;
  // First and second integral of the force: a turn at the start turns both.
  const fx = (v[3 * k] as number) - (v[0] as number) + g * ux * s;
  const fy = (v[3 * k + 1] as number) - (v[1] as number) + g * uy * s;
  const fz = (v[3 * k + 2] as number) - (v[2] as number) + g * uz * s;
  const hs = (g * s * s) / 2;
  const px = (x[3 * k] as number) - (v[0] as number) * s + hs * ux;
  const py = (x[3 * k + 1] as number) - (v[1] as number) * s + hs * uy;
  const pz = (x[3 * k + 2] as number) - (v[2] as number) * s + hs * uz;
  const at = places.count * k + places.velocity;
  for (let o = 0, to = 0; o < shifts.length; o += packed.count, to += 6) {
    const tx = shifts[o] as number;
    const ty = shifts[o + 1] as number;
    const tz = shifts[o + 2] as number;
    const ax = shifts[o + 3] as number;
    const ay = shifts[o + 4] as number;
    const az = shifts[o + 5] as number;
    const dx = shifts[o + 6] as number;
    const dy = shifts[o + 7] as number;
    const dz = shifts[o + 8] as number;
    let v0 = ax + ty * fz - tz * fy - g * s * dx;
    let v1 = ay + tz * fx - tx * fz - g * s * dy;
    let v2 = az + tx * fy - ty * fx - g * s * dz;
    let x0 = ax * s + ty * pz - tz * py - hs * dx;
    let x1 = ay * s + tz * px - tx * pz - hs * dy;
    let x2 = az * s + tx * py - ty * px - hs * dz;
    for (let c = 0; c < 12; c++) {
      const share = shifts[o + packed.sensor + c] as number;
      if (share === 0) continue;
      v0 += share * (table[at + c] as number);
      v1 += share * (table[at + 12 + c] as number);
      v2 += share * (table[at + 24 + c] as number);
      x0 += share * (table[at + 36 + c] as number);
      x1 += share * (table[at + 48 + c] as number);
      x2 += share * (table[at + 60 + c] as number);
    }
    out[to] = v0;
    out[to + 1] = v1;
    out[to + 2] = v2;
    out[to + 3] = x0;
    out[to + 4] = x1;
    out[to + 5] = x2;
  }
}

/** Entries `[first, last]` of a walk. */
export interface WalkPart {
  readonly first: number;
  readonly last: number;
}

/** @returns memory for walks as long as this one that share its instants. */
export function walkLike(walk: Walk): Walk {
  const { length, timeS } = walk;
  const three = () => new Float64Array(3 * length);
  return {
    length,
    timeS,
    positionM: three(),
    velocityMps: three(),
    forceMps2: three(),
    spinRadps: three(),
    attitude: new Float64Array(4 * length),
  };
}

/** Puts the shifted walk's entries of the slopes' parts into `out`, made by `walkLike`; other entries of it mean nothing. */
export function shiftWalk(slopes: WalkSlopes, shift: WalkShift, out: Walk): void {
  const { walk, table, block, from, parts, local } = slopes;
  const gyro = block.gyroRadps as Float64Array;
  const moved = new Float64Array(6);
  const [b, s] = [shift.sensor, shift.turnRad];
  const alone = packShifts([shift]);
  let l = -localCount;
  for (const { first, last } of parts) {
    for (let k = first; k <= last; k++) {
      l += localCount;
      const at = places.count * k;
      const o = 3 * k;
      shiftsAt(slopes, alone, k, moved);
      const [fx, fy, fz] = [walk.forceMps2[o], walk.forceMps2[o + 1], walk.forceMps2[o + 2]] as [
        number,
        number,
        number,
      ];
      const [wx, wy, wz] = [walk.spinRadps[o], walk.spinRadps[o + 1], walk.spinRadps[o + 2]] as [
        number,
        number,
        number,
      ];
      const turn: [number, number, number] = [s[0], s[1], s[2]];
      for (let r = 0; r < 3; r++) {
        out.velocityMps[o + r] = (walk.velocityMps[o + r] as number) + (moved[r] as number);
        out.positionM[o + r] = (walk.positionM[o + r] as number) + (moved[3 + r] as number);
        let force = walk.forceMps2[o + r] as number;
        for (let c = 0; c < 12; c++) force += (b[c] as number) * (local[l + 18 + 12 * r + c] as number);
        out.forceMps2[o + r] = force;
        let spin = walk.spinRadps[o + r] as number;
        for (let c = 0; c < 3; c++) {
          const rate = (b[6 + c] as number) * (gyro[3 * (from - k) + c] as number) + (b[9 + c] as number);
          spin += (local[l + 9 + 3 * r + c] as number) * rate;
          turn[r] = (turn[r] as number) + (b[6 + c] as number) * (table[at + 3 * r + c] as number);
          turn[r] = (turn[r] as number) + (b[9 + c] as number) * (table[at + 9 + 3 * r + c] as number);
        }
        out.spinRadps[o + r] = spin;
      }
      // What the sensor's own part turned the force by is counted already.
      const [tx, ty, tz] = s;
      out.forceMps2[o] = (out.forceMps2[o] as number) + ty * fz - tz * fy;
      out.forceMps2[o + 1] = (out.forceMps2[o + 1] as number) + tz * fx - tx * fz;
      out.forceMps2[o + 2] = (out.forceMps2[o + 2] as number) + tx * fy - ty * fx;
      const [ax, ay, az] = turn;
      out.spinRadps[o] = (out.spinRadps[o] as number) + ay * wz - az * wy;
      out.spinRadps[o + 1] = (out.spinRadps[o + 1] as number) + az * wx - ax * wz;
      out.spinRadps[o + 2] = (out.spinRadps[o + 2] as number) + ax * wy - ay * wx;
      const qw = walk.attitude[4 * k] as number;
      const qx = walk.attitude[4 * k + 1] as number;
      const qy = walk.attitude[4 * k + 2] as number;
      const qz = walk.attitude[4 * k + 3] as number;
      out.attitude[4 * k] = qw - 0.5 * (ax * qx + ay * qy + az * qz);
      out.attitude[4 * k + 1] = qx + 0.5 * (ax * qw + ay * qz - az * qy);
      out.attitude[4 * k + 2] = qy + 0.5 * (ay * qw + az * qx - ax * qz);
      out.attitude[4 * k + 3] = qz + 0.5 * (az * qw + ax * qy - ay * qx);
    }
  }
}
