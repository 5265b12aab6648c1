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

/** Spread of each requirement among players, where its measurement were perfect. */
const spreads = {
  riseM: 0.08,
  riseSpeedMps: 0.2,
  steepRad: 0.07,
  levelAxisShare: 0.12,
  quickestShare: 0.12,
  sideSwingShare: 0.15,
  snapDelayS: 0.02,
  againShare: 0.08,
  settleS: 0.06,
  overshootM: 0.06,
  dropM: 0.07,
} as const;

const degrees = 180 / Math.PI;

/** Judges a movement by what a shot must do: the hand rises steeply, snaps forward at the top and stays there. */
export function judgeMovement(m: Movement, params: WristParams): Verdict {
  const atLeast = (value: number, limit: number, spread: number): number => share((value - limit) / spread);
  const atMost = (value: number, limit: number, spread: number): number => share((limit - value) / spread);
  const requirements: Requirement[] = [
    {
      kind: 'other-movement',
      belief: atLeast(m.riseM, params.riseM, spreads.riseM),
      reason: () => `the hand rose ${m.riseM.toFixed(2)} m, a shot takes ${params.riseM} m`,
    },
    {
      kind: 'other-movement',
      belief: atLeast(m.riseSpeedMps, params.riseSpeedMps, spreads.riseSpeedMps),
      reason: () => `the hand went up at ${m.riseSpeedMps.toFixed(2)} m/s, a shot takes ${params.riseSpeedMps} m/s`,
    },
    {
      kind: 'throw',
      belief: atLeast(m.steepRad, params.steepRad, spreads.steepRad),
      reason: () =>
        `the hand went ${(m.steepRad * degrees).toFixed(0)}° upward, a shot takes ${(params.steepRad * degrees).toFixed(0)}°`,
    },
    {
      kind: 'other-movement',
      belief: atLeast(m.levelAxisShare, params.levelAxisShare, spreads.levelAxisShare),
      reason: () =>
        `${(100 * m.levelAxisShare).toFixed(0)} % of the snap turned forward, a shot takes ${100 * params.levelAxisShare} %`,
    },
    {
      kind: 'other-movement',
      belief: atLeast(m.quickestShare, params.quickestShare, spreads.quickestShare),
      reason: () => 'the arm turned faster while it was raised than at the top',
    },
    {
      kind: 'throw',
      belief: atMost(m.sideSwingShare, params.sideSwingShare, spreads.sideSwingShare),
      reason: () => 'the arm swung sideways before the snap',
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

/** Share of a normal distribution below `z`, by the logistic curve of equal variance. */
function share(z: number): number {
  return 1 / (1 + Math.exp(-1.702 * z));
}
