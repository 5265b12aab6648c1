import type { RejectedKind } from '../shot.ts';
import type { Movement } from './movement.ts';
import type { WristParams } from './wrist-params.ts';

/** One thing that is true of a shot, and how well it was met: 0 not at all, 1 fully. */
interface Requirement {
  readonly kind: RejectedKind;
  readonly belief: number;
  readonly reason: () => string;
}

export interface Verdict {
  /** Product of all requirements' beliefs. */
  readonly belief: number;
  readonly isShot: boolean;
  readonly kind: RejectedKind;
  /** True where only one thing speaks against a shot. */
  readonly worthTelling: boolean;
  /** What speaks most against a shot. */
  readonly reason: string;
}

/**
 * Spread of each requirement among players, of ratios that of their logarithm. Limits (`wristParams`) and spreads are those that make
 * shots of two simulated arms that know nothing of each other, and mimed shots of two real people, most likely against all that
 * those did besides (maximum likelihood, rounded).
 */
const spreads = {
  riseM: 0.22,
  riseVigour: 0.168,
  riseSpeedMps: 0.092,
  runM: 0.45,
  softRunM: 0.12,
  steepRad: 0.15,
  steepMostRad: 0.025,
  snapPeakRadps: 0.07,
  levelSpeedMps: 0.66,
  pushGainMps: 0.091,
  forwardTurnRad: 0.16,
  stopS: 0.015,
  stopWayM: 0.124,
  stopTimeS: 0.156,
  stopRiseShare: 0.263,
  laterShare: 0.086,
  snapDelayS: 0.04,
  againShare: 0.052,
  settleS: 0.024,
  overshootM: 0.065,
  dropM: 0.051,
} as const;

/** Smaller ratios say no more. */
const least = 1e-6;

/** A child's soft shot. */
const soft = { riseM: 0.6, speedMps: 1.8 } as const;

const degrees = 180 / Math.PI;

/** Judges a movement by what a shot must do: the hand rises steeply, snaps forward at the top and stays there. */
export function judgeMovement(m: Movement, params: WristParams): Verdict {
  const atLeast = (value: number, limit: number, spread: number): number => share((value - limit) / spread);
  const atMost = (value: number, limit: number, spread: number): number => share((limit - value) / spread);
  const ratio = (value: number, limit: number, spread: number): number =>
    share(Math.log(Math.max(least, value / limit)) / spread);
  const requirements: Requirement[] = [
    {
      kind: 'other-movement',
      belief: ratio(m.riseM, params.riseM, spreads.riseM),
      reason: () => `the hand rose ${m.riseM.toFixed(2)} m, a shot takes ${params.riseM} m`,
    },
    {
      kind: 'other-movement',
      belief: ratio(m.riseSpeedMps, params.riseSpeedMps, spreads.riseSpeedMps),
      reason: () => `the hand went up at ${m.riseSpeedMps.toFixed(2)} m/s, a shot takes ${params.riseSpeedMps} m/s`,
    },
    {
      kind: 'other-movement',
      belief: ratio((m.riseM / soft.riseM) * (m.riseSpeedMps / soft.speedMps), params.riseVigour, spreads.riseVigour),
      reason: () => `the hand rose ${m.riseM.toFixed(2)} m at ${m.riseSpeedMps.toFixed(2)} m/s: little and slowly`,
    },
    {
      kind: 'layup-like',
      belief: atMost(m.runM, params.runM, spreads.runM),
      reason: () =>
        `the player ran ${m.runM.toFixed(1)} m in the second before, a jump shot takes at most ${params.runM} m`,
    },
    {
      kind: 'layup-like',
      belief: isSoftLeap(m) ? atMost(m.runM, params.softRunM, spreads.softRunM) : 1,
      reason: () => `the player ran ${m.runM.toFixed(1)} m, leapt and laid the ball up with a soft hand`,
    },
    {
      kind: 'throw',
      belief: atLeast(m.steepRad, params.steepRad, spreads.steepRad),
      reason: () =>
        `the hand went ${(m.steepRad * degrees).toFixed(0)}° upward, a shot takes ${(params.steepRad * degrees).toFixed(0)}°`,
    },
    {
      kind: 'toss',
      belief: atMost(m.steepRad, params.steepMostRad, spreads.steepMostRad),
      reason: () =>
        `the hand went ${(m.steepRad * degrees).toFixed(0)}° upward, a shot takes at most ${(params.steepMostRad * degrees).toFixed(0)}°`,
    },
    {
      kind: 'pass',
      belief: atMost(m.levelSpeedMps, params.levelSpeedMps, spreads.levelSpeedMps),
      reason: () =>
        `the hand went forward at ${m.levelSpeedMps.toFixed(1)} m/s, a shot takes at most ${params.levelSpeedMps} m/s`,
    },
    {
      kind: 'other-movement',
      belief: ratio(m.snapRateRadps, params.snapPeakRadps, spreads.snapPeakRadps),
      reason: () =>
        `the arm snapped at ${(m.snapRateRadps * degrees).toFixed(0)} °/s, a shot takes ${(params.snapPeakRadps * degrees).toFixed(0)} °/s`,
    },
    {
      kind: 'other-movement',
      belief: atLeast(m.pushGainMps, params.pushGainMps, spreads.pushGainMps),
      reason: () =>
        `the hand gained ${m.pushGainMps.toFixed(2)} m/s in its last push, a shot takes ${params.pushGainMps} m/s`,
    },
    {
      kind: 'other-movement',
      belief: atLeast(m.forwardTurnRad, params.forwardTurnRad, spreads.forwardTurnRad),
      reason: () =>
        `the arm turned ${(m.forwardTurnRad * degrees).toFixed(0)}° forward in the snap, a shot takes ${(params.forwardTurnRad * degrees).toFixed(0)}°`,
    },
    {
      kind: 'other-movement',
      belief: m.stopS === null ? 0 : atMost(m.stopS, params.stopS, spreads.stopS),
      reason: () => 'the hand went on rising after the snap',
    },
    {
      kind: 'other-movement',
      belief: ratio(params.stopWayM, m.stopWayM, spreads.stopWayM),
      reason: () =>
        `the hand was stopped over ${m.stopWayM.toFixed(2)} m, a hand that lets go of a shot within ${params.stopWayM} m`,
    },
    {
      kind: 'other-movement',
      belief: ratio(params.stopTimeS, m.stopWayM / m.speedMps, spreads.stopTimeS),
      reason: () =>
        `the hand was stopped over ${m.stopWayM.toFixed(2)} m from ${m.speedMps.toFixed(1)} m/s: an arm still bent`,
    },
    {
      kind: 'other-movement',
      belief: ratio(params.stopRiseShare, m.stopWayM / m.riseM, spreads.stopRiseShare),
      reason: () =>
        `the hand rose ${m.riseM.toFixed(2)} m before and ${m.stopWayM.toFixed(2)} m after it was fastest: not let go at the top`,
    },
    {
      kind: 'throw',
      belief: atMost(m.laterShare, params.laterShare, spreads.laterShare),
      reason: () => 'the raised hand went away faster than it had come up',
    },
    {
      kind: 'other-movement',
      belief: atMost(m.snapDelayS, params.snapDelayS, spreads.snapDelayS),
      reason: () => `the arm turned ${m.snapDelayS.toFixed(2)} s after the hand's way up`,
    },
    {
      kind: 'other-movement',
      belief: m.settleS === null ? 0 : atMost(m.settleS, params.settleS, spreads.settleS),
      reason: () => 'the arm went on turning after the snap',
    },
    {
      kind: 'other-movement',
      belief: atMost(m.againShare, params.againShare, spreads.againShare),
      reason: () => 'the arm turned again at once',
    },
    {
      kind: 'other-movement',
      belief: atMost(m.overshootM, params.overshootM, spreads.overshootM),
      reason: () => `the hand rose ${m.overshootM.toFixed(2)} m more after the snap`,
    },
    {
      kind: 'other-movement',
      belief: atMost(m.dropM, params.dropM, spreads.dropM),
      reason: () => `the hand fell ${m.dropM.toFixed(2)} m at once after the snap`,
    },
  ];
  let belief = 1;
  let weakest = requirements[0] as Requirement;
  for (const requirement of requirements) {
    belief *= requirement.belief;
    if (requirement.belief < weakest.belief) weakest = requirement;
  }
  const isShot = belief >= params.beliefAtLeast;
  const worthTelling = !isShot && belief >= params.beliefAtLeast * weakest.belief;
  return { belief, isShot, worthTelling, kind: weakest.kind, reason: weakest.reason() };
}

/** A leap carries the hand nearly straight up, and a ball laid up needs no snap. */
const leap = { snapRadps: 9.5, steepRad: 1.2, riseSpeedMps: 2.5 } as const;

function isSoftLeap(m: Movement): boolean {
  return m.snapRateRadps < leap.snapRadps && m.steepRad > leap.steepRad && m.riseSpeedMps > leap.riseSpeedMps;
}

/** Share of a normal distribution below `z`, by the logistic curve of equal variance. */
function share(z: number): number {
  return 1 / (1 + Math.exp(-1.702 * z));
}
