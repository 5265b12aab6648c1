import type { RejectedKind } from '../shot.ts';
import type { Movement } from './movement.ts';
import type { WristParams } from './wrist-params.ts';

/** One thing that is true of a shot, and how much it speaks against one where it is missed. */
interface Requirement {
  readonly kind: RejectedKind;
  /** 0 where it is met, up to its weight where it is missed, in log odds. */
  readonly against: number;
  readonly reason: () => string;
}

export interface Verdict {
  /** Probability of a shot. */
  readonly belief: number;
  readonly isShot: boolean;
  readonly kind: RejectedKind;
  /** True where only one thing speaks against a shot. */
  readonly worthTelling: boolean;
  /** What speaks most against a shot. */
  readonly reason: string;
}

/**
 * Log odds of a movement that meets everything, and for each requirement the spread about its limit, of ratios that of their logarithm, and
 * the log odds that missing it costs at most: players differ, and one of them misses this, one that.
 *
 * Limits (`wristParams`), spreads and weights are those that make the shots of two simulated arms that know nothing of each other, and mimed
 * shots of two real people, most likely against all that those did besides (logistic regression with saturating terms; weights
 * below 6, limits no stricter than the mimed shots allow).
 */
const metLogOdds = 8.51;
const evidence = {
  riseSpeedMps: { spread: 0.131, weight: 4.58 },
  riseVigour: { spread: 0.122, weight: 3.07 },
  runM: { spread: 0.426, weight: 1.46 },
  steepRad: { spread: 0.103, weight: 4.7 },
  forwardTurnRad: { spread: 0.14, weight: 2.53 },
  stopRiseShare: { spread: 0.282, weight: 5.01 },
  laterShare: { spread: 0.081, weight: 4.66 },
  snapDelayS: { spread: 0.036, weight: 1.68 },
  settleS: { spread: 0.0233, weight: 3.52 },
  againShare: { spread: 0.0445, weight: 4.18 },
  elevationRad: { spread: 0.13, weight: 1.97 },
  raisedRad: { spread: 0.269, weight: 6 },
  riseOnM: { spread: 0.114, weight: 6 },
  snapUpShare: { spread: 0.226, weight: 6 },
  snapRollShare: { spread: 0.172, weight: 3.44 },
  carriedTurnRad: { spread: 0.4, weight: 4.64 },
  fallSpeedMps: { spread: 0.41, weight: 2.17 },
  holdRateRadps: { spread: 0.984, weight: 4.4 },
} as const;

/** What no shot does, whatever else speaks for it: limit and spread. */
const never = {
  riseM: { least: 0.216, spread: 0.22 },
  runM: { most: 2.5, spread: 0.45 },
  softRunM: { most: 0.95, spread: 0.12 },
  steepRad: { least: 0.25, spread: 0.06 },
  laterShare: { most: 1.5, spread: 0.1 },
} as const;

/** Directions of an arm whose mount is not known: those of a usual shot. */
const usualArm = { elevationRad: 1, raisedRad: 1.2 } as const;

/** Smaller ratios say no more. */
const least = 1e-6;
/** Stands for what did not end within the samples. */
const endless = 1;

/** A child's soft shot. */
const soft = { riseM: 0.6, speedMps: 1.8 } as const;

const degrees = 180 / Math.PI;

type Name = keyof typeof evidence;

/** What missing a requirement costs in log odds: `by` is how far it is met, negative where it is missed. */
function missed(name: Name, by: number): number {
  return evidence[name].weight * (1 - share(by / evidence[name].spread));
}

function enoughLogOdds({ beliefAtLeast }: WristParams): number {
  return Math.log(beliefAtLeast / (1 - beliefAtLeast));
}

/** Judges a movement by what a shot must do: the hand rises steeply, snaps forward at the top and stays there. */
export function judgeMovement(m: Movement, params: WristParams): Verdict {
  const atLeast = (name: Name, value: number, limit = params[name]): number => missed(name, value - limit);
  const atMost = (name: Name, value: number, limit = params[name]): number => missed(name, limit - value);
  const logRatio = (value: number, limit: number): number => Math.log(Math.max(least, value / limit));
  const veto = (z: number): number => -Math.log(Math.max(least, share(z)));
  const shape = (text: string, take: string): string => `${text}, a shot takes ${take}`;
  const angle = (rad: number): string => `${(rad * degrees).toFixed(0)}°`;
  const requirements: Requirement[] = [
    {
      kind: 'other-movement',
      against: veto(logRatio(m.riseM, never.riseM.least) / never.riseM.spread),
      reason: () => shape(`the hand rose ${m.riseM.toFixed(2)} m`, `${never.riseM.least} m`),
    },
    {
      kind: 'other-movement',
      against: missed('riseSpeedMps', logRatio(m.riseSpeedMps, params.riseSpeedMps)),
      reason: () => shape(`the hand went up at ${m.riseSpeedMps.toFixed(2)} m/s`, `${params.riseSpeedMps} m/s`),
    },
    {
      kind: 'other-movement',
      against: missed(
        'riseVigour',
        logRatio((m.riseM / soft.riseM) * (m.riseSpeedMps / soft.speedMps), params.riseVigour),
      ),
      reason: () => `the hand rose ${m.riseM.toFixed(2)} m at ${m.riseSpeedMps.toFixed(2)} m/s: little and slowly`,
    },
    {
      kind: 'layup-like',
      against: atMost('runM', m.runM) + veto((never.runM.most - m.runM) / never.runM.spread),
      reason: () =>
        `the player ran ${m.runM.toFixed(1)} m in the second before, a jump shot takes at most ${never.runM.most} m`,
    },
    {
      kind: 'layup-like',
      against: isSoftLeap(m) ? veto((never.softRunM.most - m.runM) / never.softRunM.spread) : 0,
      reason: () => `the player ran ${m.runM.toFixed(1)} m, leapt and laid the ball up with a soft hand`,
    },
    {
      kind: 'throw',
      against: atLeast('steepRad', m.steepRad) + veto((m.steepRad - never.steepRad.least) / never.steepRad.spread),
      reason: () => shape(`the hand went ${angle(m.steepRad)} upward`, angle(params.steepRad)),
    },
    {
      kind: 'other-movement',
      against: atLeast('forwardTurnRad', m.forwardTurnRad),
      reason: () =>
        shape(`the arm turned ${angle(m.forwardTurnRad)} forward in the snap`, angle(params.forwardTurnRad)),
    },
    {
      kind: 'other-movement',
      against: missed('stopRiseShare', logRatio(params.stopRiseShare, Math.max(0.02, m.stopWayM / m.riseM))),
      reason: () =>
        `the hand rose ${m.riseM.toFixed(2)} m before and ${m.stopWayM.toFixed(2)} m after it was fastest: not let go at the top`,
    },
    {
      kind: 'throw',
      against:
        atMost('laterShare', m.laterShare) + veto((never.laterShare.most - m.laterShare) / never.laterShare.spread),
      reason: () => 'the raised hand went away faster than it had come up',
    },
    {
      kind: 'other-movement',
      against: atMost('snapDelayS', m.snapDelayS),
      reason: () => `the arm turned ${m.snapDelayS.toFixed(2)} s after the hand's way up`,
    },
    {
      kind: 'other-movement',
      against: atMost('settleS', m.settleS ?? endless),
      reason: () => 'the arm went on turning after the snap',
    },
    {
      kind: 'other-movement',
      against: atMost('againShare', m.againShare),
      reason: () => 'the arm turned again at once',
    },
    {
      kind: 'other-movement',
      against: atLeast('elevationRad', m.elevationRad ?? usualArm.elevationRad),
      reason: () => shape(`the arm pointed ${angle(m.elevationRad ?? 0)} above level`, angle(params.elevationRad)),
    },
    {
      kind: 'other-movement',
      against: atLeast('raisedRad', m.raisedRad ?? usualArm.raisedRad),
      reason: () => shape(`the arm was raised to ${angle(m.raisedRad ?? 0)} at most`, angle(params.raisedRad)),
    },
    {
      kind: 'other-movement',
      against: atMost('riseOnM', m.riseOnM),
      reason: () => `the hand rose ${m.riseOnM.toFixed(2)} m more after the snap`,
    },
    {
      kind: 'other-movement',
      against: atMost('snapUpShare', m.snapUpShare),
      reason: () => 'the arm turned about the vertical in the snap',
    },
    {
      kind: 'other-movement',
      against: atMost('snapRollShare', m.snapRollShare),
      reason: () => 'the arm turned to the side in the snap',
    },
    {
      kind: 'other-movement',
      against: atMost('carriedTurnRad', m.carriedTurnRad),
      reason: () => `the arm turned over by ${angle(m.carriedTurnRad)}: it was raised and no more`,
    },
    {
      kind: 'other-movement',
      against: atMost('fallSpeedMps', m.fallSpeedMps),
      reason: () => `the hand fell at ${m.fallSpeedMps.toFixed(1)} m/s at once after the snap`,
    },
    {
      kind: 'other-movement',
      against: atMost('holdRateRadps', m.holdRateRadps),
      reason: () => 'the arm was not still after the snap',
    },
  ];
  let logOdds = metLogOdds;
  let weakest = requirements[0] as Requirement;
  for (const requirement of requirements) {
    logOdds -= requirement.against;
    if (requirement.against > weakest.against) weakest = requirement;
  }
  const belief = 1 / (1 + Math.exp(-logOdds));
  const isShot = belief >= params.beliefAtLeast;
  const worthTelling = !isShot && logOdds + weakest.against >= enoughLogOdds(params);
  if (!isShot && isFake(m)) {
    const reason = `the hand rose ${m.riseM.toFixed(2)} m as for a shot and came down again at once`;
    return { belief, isShot, worthTelling: true, kind: 'pump-fake', reason };
  }
  return { belief, isShot, worthTelling, kind: weakest.kind, reason: weakest.reason() };
}

/** A leap carries the hand nearly straight up, and a ball laid up needs no snap. */
const leap = { snapRadps: 9.5, steepRad: 1.2, riseSpeedMps: 2.5 } as const;

function isSoftLeap(m: Movement): boolean {
  return m.snapRateRadps < leap.snapRadps && m.steepRad > leap.steepRad && m.riseSpeedMps > leap.riseSpeedMps;
}

/** A ball raised as for a shot: so far, so quickly, so steeply, and 0.3 m down again this soon, by a player who stays. */
const fake = {
  riseM: 0.3,
  riseSpeedMps: 1.8,
  steepRad: 1.1,
  levelSpeedMps: 1.5,
  downS: 0.9,
  runM: 1,
  stopWayM: 0.6,
} as const;

function isFake(m: Movement): boolean {
  const rises = m.riseM > fake.riseM && m.riseSpeedMps > fake.riseSpeedMps && m.steepRad > fake.steepRad;
  const stays = m.levelSpeedMps < fake.levelSpeedMps && m.runM < fake.runM;
  return rises && stays && m.stopWayM < fake.stopWayM && m.downS !== null && m.downS < fake.downS;
}

/** Share of a normal distribution below `z`, by the logistic curve of equal variance. */
function share(z: number): number {
  return 1 / (1 + Math.exp(-1.702 * z));
}
