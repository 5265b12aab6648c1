import { standardGravityMps2 } from '../../foundation/constants.ts';
import type { ImuBlock } from '../../foundation/imu-block.ts';
import { norm, subtract, type Vec3, vecAt } from '../../signal/vec3.ts';
import type { WristParams } from './wrist-params.ts';

const look = { backS: 0.5, onS: 0.35, fastestBackS: 0.25, fastestOnS: 0.05, afterS: 0.29, againDoubt: 0.35 } as const;
/** Doubt of the vertical and of the speed is far smaller than this over the time of one push. */
const leniency = 0.5;

/**
 * Whether a snap may be that of a shot: the hand was pushed upward just before and has stopped rising and turning soon
 * after. It costs a hundredth of the full study and passes everything that the study might take.
 *
 * @param snap sample of the snap in the block.
 * @param up vertical in the sensor's axes at the snap.
 * @param bias of the gyroscope.
 */
export function mayBeShot(block: ImuBlock, snap: number, up: Vec3, bias: Vec3, params: WristParams): boolean {
  const gyro = block.gyroRadps as Float64Array;
  const snapS = block.timeS[snap] as number;
  const speeds: { readonly sinceS: number; readonly mps: number }[] = [];
  for (const way of [-1, 1] as const) {
    let [x, y, z] = up;
    let speed = 0;
    let before = rise(block, snap, [x, y, z]);
    for (let i = snap + way; i >= 0 && i < block.length; i += way) {
      const sinceS = (block.timeS[i] as number) - snapS;
      if (sinceS < -look.backS || sinceS > look.onS) break;
      const stepS = (block.timeS[i] as number) - (block.timeS[i - way] as number);
      // The vertical turns against the sensor.
      const [p, q, r] = vecAt(gyro, i);
      const [dx, dy, dz] = [y * r - z * q, z * p - x * r, x * q - y * p];
      x += stepS * dx;
      y += stepS * dy;
      z += stepS * dz;
      const now = rise(block, i, [x, y, z]);
      speed += (stepS * (before + now)) / 2;
      before = now;
      speeds.push({ sinceS, mps: speed });
    }
  }
  let most = 0;
  let mostS = 0;
  for (const { sinceS, mps } of speeds) {
    if (sinceS < -look.fastestBackS || sinceS > look.fastestOnS || mps < most) continue;
    most = mps;
    mostS = sinceS;
  }
  let least = most;
  let later = most;
  for (const { sinceS, mps } of speeds) {
    if (sinceS <= mostS && sinceS > mostS - 0.3) least = Math.min(least, mps);
    if (sinceS > mostS) later = Math.min(later, mps);
  }
  if (most - least < leniency * params.pushGainMps || most - later < leniency * params.pushGainMps) return false;
  return settles(block, snap, bias, params);
}

/** Whether the turning ends soon after the snap and does not begin again at once. */
function settles(block: ImuBlock, snap: number, bias: Vec3, params: WristParams): boolean {
  const gyro = block.gyroRadps as Float64Array;
  const snapS = block.timeS[snap] as number;
  const peak = norm(subtract(vecAt(gyro, snap), bias));
  let settledS: number | null = null;
  for (let i = snap; i < block.length; i++) {
    const sinceS = (block.timeS[i] as number) - snapS;
    const share = norm(subtract(vecAt(gyro, i), bias)) / peak;
    if (settledS !== null) {
      if (sinceS - settledS > look.afterS) return true;
      if (share > params.againShare + look.againDoubt) return false;
    } else if (share < params.followRateShare) settledS = sinceS;
    else if (sinceS > params.settleS / leniency) return false;
  }
  return settledS !== null;
}

function rise(block: ImuBlock, i: number, up: Vec3): number {
  const [x, y, z] = vecAt(block.accelMps2, i);
  return x * up[0] + y * up[1] + z * up[2] - standardGravityMps2;
}
