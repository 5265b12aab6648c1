import { type Motion, unknownCount } from './path-motion.ts';
import type { SnapStudy } from './snap-study.ts';
import type { Way } from './ways.ts';
import type { Instants, WristNumbers } from './wrist-numbers.ts';

/** Reads the numbers off a motion of the sensor. */
export type Read = (of: Motion, instants: Instants) => WristNumbers;

/** What an error of the pickup alone does to the numbers: read at the ends of its own error, and at every other moment that it may have been. */
export function shiftsOf(
  study: SnapStudy,
  read: Read,
  instants: Instants,
  at: WristNumbers,
  ways: readonly Way[],
): PickupShifts {
  const { pickupS, releaseS } = instants;
  const shifts = { pauseS: 0, sideM: 0, planarity: 0, ownDipM: 0 };
  if (pickupS === null) return shifts;
  const readAt = (timeS: number, held: boolean): WristNumbers => {
    const within = Math.min(releaseS - 0.1, Math.max(study.path.timeOf(0), timeS));
    return read(study.motion, { ...instants, pickupS: within, held });
  };
  const first = ways[0];
  for (const sign of first ? [-1, 1] : []) {
    const moved = readAt(pickupS + sign * (first as Way).sdS, instants.held);
    for (const key of pickupKeys) shifts[key] = Math.max(shifts[key], Math.abs((moved[key] ?? 0) - (at[key] ?? 0)));
    shifts.ownDipM = Math.max(shifts.ownDipM, Math.abs((moved.dipM ?? 0) - (at.dipM ?? 0)));
  }
  for (const { timeS, share, held } of ways.slice(1)) {
    if (share < leastShare) continue;
    const moved = readAt(timeS, held);
    for (const key of pickupKeys) {
      shifts[key] = Math.hypot(shifts[key], Math.sqrt(share) * ((moved[key] ?? 0) - (at[key] ?? 0)));
    }
  }
  return shifts;
}

/** Pickups less likely than this change no number's error. */
const leastShare = 0.01;

const pickupKeys = ['pauseS', 'sideM', 'planarity'] as const;

interface PickupShifts {
  readonly pauseS: number;
  readonly sideM: number;
  readonly planarity: number;
  /** What the dip changes by an error of the told pickup's own time. */
  readonly ownDipM: number;
}

interface Spreads {
  readonly sideM: number;
  readonly planarity: number;
  readonly tiltRad: number;
}

/** Standard deviations by what is not known of the path: the numbers are read again at each one-sigma shift. */
export function spreadsOf(study: SnapStudy, read: Read, instants: Instants, at: WristNumbers): Spreads {
  const sum = { sideM: 0, planarity: 0, tiltRad: 0 };
  const tilt = (n: WristNumbers): number => Math.atan2(-n.releaseRateRadps[2], n.releaseRateRadps[1]);
  for (let shift = 0; shift < unknownCount; shift++) {
    const moved = read(study.path.motion(shift), instants);
    for (const key of ['sideM', 'planarity'] as const) {
      sum[key] += ((moved[key] ?? 0) - (at[key] ?? 0)) ** 2;
    }
    sum.tiltRad += (tilt(moved) - tilt(at)) ** 2;
  }
  return {
    sideM: Math.sqrt(sum.sideM),
    planarity: Math.sqrt(sum.planarity),
    tiltRad: Math.sqrt(sum.tiltRad),
  };
}
