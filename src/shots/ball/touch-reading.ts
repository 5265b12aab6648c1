/**
 * What a ball met, read off what the touch did to it.
 *
 * A touch at `-R n` of the centre pushes along `n`, away from what was touched, and rubs along the surface. For a hollow sphere
 * (2/3 m R²) whose skin moves with u_t along the surface and which then grips, the rub per unit mass is -2/5 u_t however hard the push is;
 * where it slides it is the same way, but smaller (Cross 2002, Am. J. Phys. 70:1093, for the grip of bouncing balls). So the change of the spin, which the gyroscope always sees, goes with n × u_t,
 * and the change of velocity, where it is known, with (1 + e) v_n n - T u_t. Every direction n that a ring or a board can push in is
 * weighed by how well it explains both, the restitution e and the rub T being free within what is known of balls.
 */
import { norm, type Vec3 } from '../../signal/vec3.ts';
import type { NextTouch } from './rebound.ts';

/** A touch of something that stays where it is, in the shot's axes (forward, left, up). */
export interface TouchEvidence {
  /** Of the ball's centre just before, m/s. */
  readonly velocityMps: Vec3;
  /** Spin just before, rad/s. */
  readonly spinRadps: Vec3;
  readonly radiusM: number;
  /** Change of the spin by the touch, rad/s, and one sigma an axis; null where it was not seen. */
  readonly turn: { readonly radps: Vec3; readonly standardDeviation: number } | null;
  /** Change of the centre's velocity, m/s, and one sigma an axis; null where it was not seen. */
  readonly impulse: { readonly mps: Vec3; readonly standardDeviation: number } | null;
  /** What touched the ball soon after; null where that was not seen. */
  readonly next: NextTouch | null;
}

/** What is known of the height of what was touched before the touch tells more: the ball's centre over the ring's plane is its height less the ring's. */
export interface TouchHeights {
  /** Height of the ball's centre over release, m. */
  readonly heightM: number;
  /** Expected height of the ring over release, m. */
  readonly ringM: number;
  readonly standardDeviationM: number;
}

/** One possible height of the ring over release, and how likely it is. */
export interface WeighedHeight {
  readonly ringM: number;
  readonly weight: number;
}

/** Size of the change of velocity with its error, m/s. */
export interface TouchHardness {
  readonly meanMps: number;
  readonly standardDeviationMps: number;
}

export interface TouchReading {
  /** Odds of ring and board, sum 1. */
  readonly ring: number;
  readonly board: number;
  /** The ring's height over release by either, weights sum 1. */
  readonly heights: readonly WeighedHeight[];
  /** If it was one of them. */
  readonly hardness: TouchHardness;
  /** If it was the floor. */
  readonly floor: TouchHardness | null;
}

export const touchParameters = {
  /** Speed after over speed before, along the push: balls on iron and glass; what is left of common practice, wide. */
  restitution: { mean: 0.62, spread: 0.14 },
  /** Rules ask for 1.2 to 1.4 m back from a floor 1.8 m below. */
  floorRestitution: { mean: 0.77, spread: 0.05 },
  /** Rub over sliding speed of a ball that grips; the spread is what skins spring back and masses off the shell make. */
  grip: { mean: 0.42, spread: 0.05 },
  /** Friction of ball on iron or board, and its share of spread where it slides. */
  friction: 0.5,
  slidingSpread: 0.3,
  /** Misses of either kind beyond what the sensor tells: a rod that gives, a touch that takes its time. Share of the change. */
  modelShare: 0.06,
  /** Touches that follow no such model: two things at once, the more often where another followed at once. */
  oddShare: { alone: 0.03, again: 0.3 },
  oddTurnRadps: 15,
  oddImpulseMps: 5,
  /** Odds of a board before anything was seen of the touch. */
  boardShare: 0.25,
  /** Steps of the directions, rad. */
  elevation: { from: -0.6, to: 1.55, step: 0.05 },
  azimuthStep: Math.PI / 18,
  /** A board is not turned farther away from the way of the ball than this, rad. */
  boardAzimuth: 1.45,
  boardStep: Math.PI / 36,
  /** Heights of the ball's centre over the ring at which it may meet the board's face, m. */
  board: { from: -0.2, to: 0.95, step: 0.025 },
  /**
   * How often what comes soon after: beside the ring the ball is in the net already; thrown up by the ring, between these upward shares
   * of the push, it is free, and from a board it falls some way, as often as not onto the ring.
   */
  next: {
    beside: { free: 0.28, soft: 0.6, hard: 0.12 },
    besideUp: 0.2,
    above: { free: 0.8, soft: 0.04, hard: 0.16 },
    aboveUp: 0.6,
    board: { free: 0.7, soft: 0.03, hard: 0.27 },
  },
  /** Radius of the ring's rod, m. */
  rodM: 0.009,
} as const;

/** A direction's likelihood (logarithm) and the size of the change of velocity that goes with it. */
interface Direction {
  logLikelihood: number;
  hardnessMps: number;
  hardnessVariance: number;
  /** Speed at which the ball came upon it, m/s. */
  closingMps: number;
}

function noDirection(): Direction {
  return { logLikelihood: 0, hardnessMps: 0, hardnessVariance: 0, closingMps: 0 };
}

/** Puts how well a push along the unit vector `n` explains the evidence. @returns false where the ball moves away from such a thing. */
function weigh(
  evidence: TouchEvidence,
  nx: number,
  ny: number,
  nz: number,
  bounce: { readonly mean: number; readonly spread: number },
  into: Direction,
): boolean {
  const p = touchParameters;
  const { radiusM, turn, impulse } = evidence;
  const [vx, vy, vz] = evidence.velocityMps;
  const [wx, wy, wz] = evidence.spinRadps;
  const closing = -(vx * nx + vy * ny + vz * nz);
  if (!(closing > 0.05)) return false;
  // The skin's speed where it touches, v + ω × (-R n), and its part along the surface.
  const sx = vx - radiusM * (wy * nz - wz * ny);
  const sy = vy - radiusM * (wz * nx - wx * nz);
  const sz = vz - radiusM * (wx * ny - wy * nx);
  const along = sx * nx + sy * ny + sz * nz;
  const ux = sx - along * nx;
  const uy = sy - along * ny;
  const uz = sz - along * nz;
  const sliding = Math.sqrt(ux * ux + uy * uy + uz * uz);
  const most = (p.friction * (1 + bounce.mean) * closing) / Math.max(1e-6, sliding);
  const slides = most < p.grip.mean;
  const rub = slides ? most : p.grip.mean;
  const rubVariance = p.grip.spread ** 2 + (slides ? (p.slidingSpread * most) ** 2 : 0);
  const bounceVariance = bounce.spread ** 2;
  // Sums over rows: what was seen less what is expected, and how it goes with the rub (b) and the restitution (c). Written out in
  // scalars: a touch is weighed against some thousand directions.
  let ss = 0;
  let bb = 1 / rubVariance;
  let cc = 1 / bounceVariance;
  let br = 0;
  let cr = 0;
  let logNoise = 0;
  if (turn) {
    const k = 1.5 / radiusM;
    const tx = k * (ny * uz - nz * uy);
    const ty = k * (nz * ux - nx * uz);
    const tz = k * (nx * uy - ny * ux);
    const variance = turn.standardDeviation ** 2 + (p.modelShare * rub * k * sliding) ** 2;
    const lx = turn.radps[0] - rub * tx;
    const ly = turn.radps[1] - rub * ty;
    const lz = turn.radps[2] - rub * tz;
    ss += (lx * lx + ly * ly + lz * lz) / variance;
    bb += (tx * tx + ty * ty + tz * tz) / variance;
    br += (tx * lx + ty * ly + tz * lz) / variance;
    logNoise += 1.5 * Math.log(variance);
  }
  const push = (1 + bounce.mean) * closing;
  if (impulse) {
    const variance = impulse.standardDeviation ** 2 + (p.modelShare * push) ** 2;
    const lx = impulse.mps[0] - push * nx + rub * ux;
    const ly = impulse.mps[1] - push * ny + rub * uy;
    const lz = impulse.mps[2] - push * nz + rub * uz;
    ss += (lx * lx + ly * ly + lz * lz) / variance;
    bb += (sliding * sliding) / variance;
    cc += (closing * closing) / variance;
    br -= (ux * lx + uy * ly + uz * lz) / variance;
    cr += (closing * (nx * lx + ny * ly + nz * lz)) / variance;
    logNoise += 1.5 * Math.log(variance);
  }
  // Rub and push stand at right angles, so that each is known by itself.
  const db = br / bb;
  const dc = cr / cc;
  const misfit = ss - db * br - dc * cr;
  const logLikelihood = -0.5 * (misfit + Math.log(bb * cc * rubVariance * bounceVariance)) - logNoise;
  const normal = push + dc * closing;
  const rubbed = (rub + db) * sliding;
  const hardnessMps = Math.sqrt(normal * normal + rubbed * rubbed);
  // Variance of the size by those of rub and restitution as they are now known.
  const gn = (closing * normal) / Math.max(hardnessMps, 1e-6);
  const gr = (sliding * rubbed) / Math.max(hardnessMps, 1e-6);
  into.logLikelihood = logLikelihood;
  into.hardnessMps = hardnessMps;
  into.hardnessVariance = (gr * gr) / bb + (gn * gn) / cc;
  into.closingMps = closing;
  return true;
}

/** Likelihood (logarithm) of evidence that follows no model, and so says nothing of what was touched. */
function oddLikelihood({ turn, impulse, next }: TouchEvidence): number {
  const p = touchParameters;
  let log = Math.log(next === 'hard' ? p.oddShare.again : p.oddShare.alone);
  if (turn) log -= 0.5 * (norm(turn.radps) / p.oddTurnRadps) ** 2 + 3 * Math.log(p.oddTurnRadps);
  if (impulse) log -= 0.5 * (norm(impulse.mps) / p.oddImpulseMps) ** 2 + 3 * Math.log(p.oddImpulseMps);
  return log;
}

/** Unit vectors along the floor, all around, two numbers each. */
const aroundRing = everyWay();

function everyWay(): Float64Array {
  const ways: number[] = [];
  const { azimuthStep } = touchParameters;
  for (let azimuth = 0; azimuth < 2 * Math.PI - 1e-9; azimuth += azimuthStep) {
    ways.push(Math.cos(azimuth), Math.sin(azimuth));
  }
  return Float64Array.from(ways);
}

/** Odds of one thing, and the mean and square of the hardness with it, summed up without their common factor. */
interface Tally {
  weight: number;
  size: number;
  square: number;
}

/** Reads what the touch did: ring or board, and how high the ring is. */
export function readTouch(evidence: TouchEvidence, { heightM, ringM, standardDeviationM }: TouchHeights): TouchReading {
  const p = touchParameters;
  const reach = evidence.radiusM + p.rodM;
  const usual = (height: number) => Math.exp(-0.5 * ((height - ringM) / standardDeviationM) ** 2) / standardDeviationM;
  const odd = oddLikelihood(evidence);
  const direction = noDirection();
  // Odd evidence adds the same to every direction.
  const likelihood = () => Math.exp(direction.logLikelihood - odd) + 1;
  const ring: Tally = { weight: 0, size: 0, square: 0 };
  const board: Tally = { weight: 0, size: 0, square: 0 };
  const take = (tally: Tally, weight: number) => {
    tally.weight += weight;
    tally.size += weight * direction.hardnessMps;
    tally.square += weight * (direction.hardnessMps ** 2 + direction.hardnessVariance);
  };
  let [ringShares, boardShares] = [0, 0];
  const heights: { ringM: number; weight: number }[] = [];
  const { elevation, next } = p;
  const seen = evidence.next;
  for (let lift = elevation.from; lift < elevation.to; lift += elevation.step) {
    const level = Math.cos(lift);
    const up = Math.sin(lift);
    const at = heightM - reach * up;
    const rising = Math.min(1, Math.max(0, (up - next.besideUp) / (next.aboveUp - next.besideUp)));
    const odds = usual(at) * (seen ? next.beside[seen] + rising * (next.above[seen] - next.beside[seen]) : 1);
    const before = ring.weight;
    for (let k = 0; k < aroundRing.length; k += 2) {
      const x = level * (aroundRing[k] as number);
      const y = level * (aroundRing[k + 1] as number);
      if (!weigh(evidence, x, y, up, p.restitution, direction)) continue;
      // A ball comes upon each part of the ring as often as that part stands in its way.
      ringShares += direction.closingMps;
      take(ring, direction.closingMps * odds * likelihood());
    }
    heights.push({ ringM: at, weight: ring.weight - before });
  }
  for (let azimuth = -p.boardAzimuth; azimuth <= p.boardAzimuth; azimuth += p.boardStep) {
    if (!weigh(evidence, -Math.cos(azimuth), Math.sin(azimuth), 0, p.restitution, direction)) continue;
    boardShares += direction.closingMps;
    take(board, direction.closingMps * likelihood());
  }
  const onBoard: { ringM: number; weight: number }[] = [];
  for (let over = p.board.from; over < p.board.to; over += p.board.step) {
    onBoard.push({ ringM: heightM - over, weight: usual(heightM - over) });
  }
  const onBoardSum = onBoard.reduce((sum, { weight }) => sum + weight, 0);
  const ringScale = (1 - p.boardShare) / ringShares;
  const boardScale = ((p.boardShare / boardShares) * (seen ? next.board[seen] : 1) * onBoardSum) / onBoard.length;
  const ringOdds = ring.weight * ringScale;
  const boardOdds = boardShares > 0 ? board.weight * boardScale : 0;
  const all = ringOdds + boardOdds;
  const boardSize = boardShares > 0 ? board.size * boardScale : 0;
  const boardSquare = boardShares > 0 ? board.square * boardScale : 0;
  const meanMps = (ring.size * ringScale + boardSize) / all;
  const squareMps2 = (ring.square * ringScale + boardSquare) / all;
  return {
    ring: ringOdds / all,
    board: boardOdds / all,
    heights: [
      ...heights.map((h) => ({ ringM: h.ringM, weight: (h.weight * ringScale) / all })),
      ...onBoard.map((h) => ({ ringM: h.ringM, weight: ((boardOdds / all) * h.weight) / onBoardSum })),
    ],
    hardness: { meanMps, standardDeviationMps: Math.sqrt(Math.max(0, squareMps2 - meanMps * meanMps)) },
    floor: floorOf(evidence),
  };
}

function floorOf(evidence: TouchEvidence): TouchHardness | null {
  const direction = noDirection();
  if (!weigh(evidence, 0, 0, 1, touchParameters.floorRestitution, direction)) return null;
  return { meanMps: direction.hardnessMps, standardDeviationMps: Math.sqrt(direction.hardnessVariance) };
}
