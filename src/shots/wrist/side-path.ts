import { type Measured, measured } from '../../foundation/measured.ts';
import { norm, type Vec3 } from '../../signal/vec3.ts';
import { unseenDriftMps } from './path-doubt.ts';
import type { Motion } from './path-motion.ts';
import type { Instant } from './release.ts';
import type { Strapdown } from './strapdown.ts';
import { type Instants, levelTravelM, readNumbers, type WristNumbers } from './wrist-numbers.ts';

const normal90 = 1.6448536269514722;

/**
 * The way of the ball is ahead of the hand's travel only so well, rad: a hand that comes in from the side pushes on across (5 to 10° in shots
 * from the side, none where it comes straight); and skin and snap move the hand so far aside, m, which turns a short way ahead more.
 */
const aheadSd = { rad: 0.1, asideM: 0.02, mostRad: 0.6 } as const;

/** What an error of the way ahead does to the path to the side, m. */
export function aheadShiftM(path: Strapdown, motion: Motion, instants: Instants, lever: Vec3 | null): number {
  const wayM = norm(levelTravelM(path, motion, instants.releaseS));
  const sdRad = Math.min(aheadSd.mostRad, Math.hypot(aheadSd.rad, aheadSd.asideM / Math.max(wayM, aheadSd.asideM)));
  const side = (turnedRad: number): number => readNumbers(path, motion, instants, lever, turnedRad).sideM ?? 0;
  const told = side(0);
  return Math.max(Math.abs(side(sdRad) - told), Math.abs(side(-sdRad) - told));
}

/** @returns what an error of the speed over the floor that the path does not know of, the same until release, does to the way aside by then, m. */
export function driftM({ sideS }: WristNumbers, { timeS }: Instant): number {
  return sideS === null ? 0 : unseenDriftMps * Math.max(0, timeS - sideS);
}

/**
 * Share of the sides that are told as sure and are the wrong ones, however much larger they are: what makes them so is a way ahead or a speed that is far
 * off. One in ten to fourteen on the simulated arm, three of sixteen on one of others.
 */
const wrongShare = 0.07;
/** Skin and strap, m. */
const leastSideErrorM = 0.01;

/**
 * @returns way to the side. Where the other side may as well have been the larger one its error reaches there, and it says so; where it hardly may, the
 *   error is the mean square over both, and the interval that of the likely side.
 */
export function sideOf(sideM: number, otherM: number, spreadM: number): Measured {
  const errorM = Math.hypot(spreadM, leastSideErrorM);
  const apartM = Math.abs(sideM - otherM);
  if (Math.abs(sideM) - Math.abs(otherM) <= normal90 * errorM) {
    return measured(sideM, Math.hypot(errorM, apartM / normal90), { flags: ['side-unsure'] });
  }
  const half = normal90 * errorM;
  const both = Math.hypot(errorM, Math.sqrt(wrongShare) * apartM);
  return measured(sideM, both, { interval90: [sideM - half, sideM + half] });
}
