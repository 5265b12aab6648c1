import type { SurfaceName } from './ball-state.ts';
import type { Vec3 } from './vectors.ts';

/** Ring, board and net in the room frame. Sizes are those of the usual rules (ring 18 in inside, board 1.80 m × 1.05 m). */
export interface Hoop {
  /** Centre of the ring; its height is the ring height. */
  readonly centreM: Vec3;
  /** Radius of the centre line of the ring's rod. */
  readonly ringRadiusM: number;
  readonly rodRadiusM: number;
  /** Level direction from the ring's centre to the board, angle from x, counter-clockwise. */
  readonly boardAngleRad: number;
  /** Ring centre to board face. */
  readonly boardDistanceM: number;
  readonly netLengthM: number;
  readonly ring: SurfaceTraits;
  readonly board: SurfaceTraits;
  /** Drag of the net's squeeze on the ball, per metre of squeeze and second. */
  readonly netGripPerMs: number;
}

/** How a surface answers the ball. */
export interface SurfaceTraits {
  /** Length of a bounce without loss; sets the stiffness. */
  readonly contactS: number;
  /** Speed after over speed before, along the normal. */
  readonly restitution: number;
  readonly friction: number;
}

export interface Court {
  readonly floor: SurfaceTraits;
  readonly hoop: Hoop | null;
}

/** Floor bounce: restitution 0.73–0.80 follows from the rules' rebound heights; 15 ms and friction from common practice. */
export const usualFloor: SurfaceTraits = { contactS: 0.015, restitution: 0.765, friction: 0.6 };
export const usualRing: SurfaceTraits = { contactS: 0.009, restitution: 0.6, friction: 0.5 };
export const usualBoard: SurfaceTraits = { contactS: 0.011, restitution: 0.7, friction: 0.5 };

/**
 * Drag of loose and stiff nets: a ball that enters with 5.5 m/s and would fall on to 6.4 m/s leaves with 5.4 to 3.5 m/s
 * (from memory of slow-motion pictures, wide).
 */
export const usualNetGripPerMs = [80, 250] as const;

/** @returns a hoop whose ring centre lies `distanceM` along x from the origin. */
export function hoopAt(distanceM: number, heightM: number, boardAngleRad = 0): Hoop {
  return {
    centreM: [distanceM, 0, heightM],
    ringRadiusM: 0.2286 + 0.009,
    rodRadiusM: 0.009,
    boardAngleRad,
    boardDistanceM: 0.151 + 0.2286,
    netLengthM: 0.42,
    ring: usualRing,
    board: usualBoard,
    netGripPerMs: 160,
  };
}

export const surfaceNames = ['floor', 'ring', 'board', 'net'] as const satisfies readonly SurfaceName[];

/** Distance between ball and one surface, and the unit vector from the nearest point to the ball's centre. */
export interface Nearest {
  gapM: number;
  nx: number;
  ny: number;
  nz: number;
}

/** Narrowest radius of the net and depth at which it is reached. */
const netWaistM = 0.1;
const netTaperM = 0.34;

/** Writes the nearest point of surface `index` (order of `surfaceNames`) for a ball centre; gap is infinite where there is none. */
export function nearest(
  court: Court,
  radiusM: number,
  index: number,
  x: number,
  y: number,
  z: number,
  out: Nearest,
): void {
  if (index === 0) {
    out.gapM = z - radiusM;
    out.nx = 0;
    out.ny = 0;
    out.nz = 1;
    return;
  }
  out.gapM = Number.POSITIVE_INFINITY;
  const hoop = court.hoop;
  if (!hoop) return;
  const dx = x - hoop.centreM[0];
  const dy = y - hoop.centreM[1];
  const dz = z - hoop.centreM[2];
  if (index === 1) nearestRing(hoop, radiusM, dx, dy, dz, out);
  else if (index === 2) nearestBoard(hoop, radiusM, dx, dy, dz, out);
  else nearestNet(hoop, radiusM, dx, dy, dz, out);
}

function nearestRing(hoop: Hoop, radiusM: number, dx: number, dy: number, dz: number, out: Nearest): void {
  const flat = Math.sqrt(dx * dx + dy * dy);
  const outward = flat > 1e-9 ? (flat - hoop.ringRadiusM) / flat : 0;
  setNearest(out, dx * outward, dy * outward, dz, radiusM + hoop.rodRadiusM);
  if (flat <= 1e-9) out.gapM = Number.POSITIVE_INFINITY;
}

/** The board is a plate of 4 cm whose lower edge lies 0.15 m below ring height. */
function nearestBoard(hoop: Hoop, radiusM: number, dx: number, dy: number, dz: number, out: Nearest): void {
  const c = Math.cos(hoop.boardAngleRad);
  const s = Math.sin(hoop.boardAngleRad);
  const halfPlateM = 0.02;
  const along = c * dx + s * dy - (hoop.boardDistanceM + halfPlateM);
  const across = -s * dx + c * dy;
  const overAcross = across - clamp(across, -0.9, 0.9);
  const overHeight = dz - clamp(dz, -0.15, 0.9);
  setNearest(out, c * along - s * overAcross, s * along + c * overAcross, overHeight, radiusM + halfPlateM);
}

/**
 * The net as a cone below the ring: the gap is negative by the squeeze of the ball from inside, or by how far the ball
 * presses in from outside. The normal is level and points from the net to the ball's centre line.
 */
function nearestNet(hoop: Hoop, radiusM: number, dx: number, dy: number, dz: number, out: Nearest): void {
  const depth = -dz;
  if (depth <= 0 || depth >= hoop.netLengthM + radiusM) return;
  const flat = Math.sqrt(dx * dx + dy * dy);
  const top = hoop.ringRadiusM - hoop.rodRadiusM;
  const wall = Math.max(netWaistM, top - ((top - netWaistM) * depth) / netTaperM);
  const beyondEnd = Math.max(0, depth - hoop.netLengthM);
  const reach = Math.sqrt(Math.max(0, radiusM * radiusM - beyondEnd * beyondEnd));
  const inside = flat < wall;
  const sign = inside ? -1 : 1;
  out.gapM = inside ? wall - flat - reach : flat - wall - reach;
  out.nx = flat > 1e-9 ? (sign * dx) / flat : 0;
  out.ny = flat > 1e-9 ? (sign * dy) / flat : 0;
  out.nz = 0;
}

function setNearest(out: Nearest, x: number, y: number, z: number, reachM: number): void {
  const distance = Math.sqrt(x * x + y * y + z * z);
  out.gapM = distance - reachM;
  const inverse = distance > 1e-12 ? 1 / distance : 0;
  out.nx = x * inverse;
  out.ny = y * inverse;
  out.nz = z * inverse;
}

function clamp(value: number, low: number, high: number): number {
  return Math.min(high, Math.max(low, value));
}
