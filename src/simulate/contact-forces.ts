import type { BallBody } from './ball-body.ts';
import { type Court, type Nearest, nearest, type SurfaceTraits } from './court.ts';

/** Approach speeds with which the present contacts began, by surface; they set the damping of each bounce. */
export interface ContactMemory {
  readonly approachMps: Float64Array;
}

export function newContactMemory(): ContactMemory {
  return { approachMps: new Float64Array(4).fill(1) };
}

/** Below this sliding speed friction fades out; it keeps rolling free of chatter. */
const slidingScaleMps = 0.15;
/** Torque of rolling resistance over normal force and radius. */
const rollingResistance = 0.012;

const scratch: Nearest = { gapM: 0, nx: 0, ny: 0, nz: 0 };

/**
 * Damping factor chi of the force k d (1 + chi d'/v0) that gives the wanted restitution e at every speed:
 * chi (1 + e) = ln((1 + chi) / (1 − chi e)), from the energy integral of the bounce. Force starts and ends at zero.
 */
export function dampingFor(restitution: number): number {
  if (!(restitution > 0 && restitution <= 1)) throw new RangeError(`restitution = ${restitution} is outside 0..1`);
  if (restitution === 1) return 0;
  let low = 1e-9;
  let high = (1 - 1e-12) / restitution;
  for (let i = 0; i < 80; i++) {
    const chi = (low + high) / 2;
    if (Math.log((1 + chi) / (1 - chi * restitution)) < chi * (1 + restitution)) low = chi;
    else high = chi;
  }
  return (low + high) / 2;
}

const dampingOf = new Map<number, number>();

function dampingCached(restitution: number): number {
  let chi = dampingOf.get(restitution);
  if (chi === undefined) {
    chi = dampingFor(restitution);
    dampingOf.set(restitution, chi);
  }
  return chi;
}

/**
 * Adds the forces of all surfaces that the ball touches.
 *
 * @param p offset of the position, `v` of the velocity and `w` of the room angular rate in `state`.
 * @param force added to: force per unit mass, m/s².
 * @param torque added to: torque per unit mass, m²/s².
 * @returns bits of the surfaces touched, in the order of `surfaceNames`.
 */
export function addContactForces(
  ball: BallBody,
  court: Court,
  memory: ContactMemory,
  state: Float64Array,
  p: number,
  v: number,
  rate: Float64Array,
  force: Float64Array,
  torque: Float64Array,
): number {
  const x = state[p] as number;
  const y = state[p + 1] as number;
  const z = state[p + 2] as number;
  let touched = 0;
  const surfaces = court.hoop && z > 2 ? 4 : 1;
  for (let index = 0; index < surfaces; index++) {
    nearest(court, ball.radiusM, index, x, y, z, scratch);
    if (scratch.gapM >= 0) continue;
    touched |= 1 << index;
    const hoop = court.hoop;
    if (index === 3 && hoop) addNetForce(hoop.netGripPerMs, state, v, rate, ball.radiusM, force, torque);
    else {
      const traits = index === 0 ? court.floor : index === 1 ? hoop?.ring : hoop?.board;
      if (traits)
        addBounceForce(traits, memory.approachMps[index] as number, ball.radiusM, state, v, rate, force, torque);
    }
  }
  return touched;
}

function addBounceForce(
  traits: SurfaceTraits,
  approachMps: number,
  radiusM: number,
  state: Float64Array,
  v: number,
  rate: Float64Array,
  force: Float64Array,
  torque: Float64Array,
): void {
  const { nx, ny, nz } = scratch;
  const vx = state[v] as number;
  const vy = state[v + 1] as number;
  const vz = state[v + 2] as number;
  const wx = rate[0] as number;
  const wy = rate[1] as number;
  const wz = rate[2] as number;
  const closing = -(vx * nx + vy * ny + vz * nz);
  const stiffness = (Math.PI / traits.contactS) ** 2;
  const normal = Math.max(
    0,
    -stiffness * scratch.gapM * (1 + (dampingCached(traits.restitution) * closing) / approachMps),
  );
  // Velocity of the ball's skin where it touches: v + omega × (−R n), along the surface.
  let sx = vx - radiusM * (wy * nz - wz * ny);
  let sy = vy - radiusM * (wz * nx - wx * nz);
  let sz = vz - radiusM * (wx * ny - wy * nx);
  const along = sx * nx + sy * ny + sz * nz;
  sx -= along * nx;
  sy -= along * ny;
  sz -= along * nz;
  const grip = (-traits.friction * normal) / Math.sqrt(sx * sx + sy * sy + sz * sz + slidingScaleMps * slidingScaleMps);
  const fx = grip * sx;
  const fy = grip * sy;
  const fz = grip * sz;
  force[0] = (force[0] as number) + normal * nx + fx;
  force[1] = (force[1] as number) + normal * ny + fy;
  force[2] = (force[2] as number) + normal * nz + fz;
  const spin = Math.sqrt(wx * wx + wy * wy + wz * wz) + 0.5;
  const roll = (-rollingResistance * normal * radiusM) / spin;
  torque[0] = (torque[0] as number) - radiusM * (ny * fz - nz * fy) + roll * wx;
  torque[1] = (torque[1] as number) - radiusM * (nz * fx - nx * fz) + roll * wy;
  torque[2] = (torque[2] as number) - radiusM * (nx * fy - ny * fx) + roll * wz;
}

/** The net yields sideways and drags on the ball, both growing smoothly from nothing with the squeeze. */
function addNetForce(
  gripPerMs: number,
  state: Float64Array,
  v: number,
  rate: Float64Array,
  radiusM: number,
  force: Float64Array,
  torque: Float64Array,
): void {
  const squeeze = Math.min(-scratch.gapM, 0.06);
  const grown = (squeeze * squeeze) / (squeeze + 0.008);
  const push = 900 * grown;
  const drag = gripPerMs * grown;
  const { nx, ny, nz } = scratch;
  force[0] = (force[0] as number) + push * nx - drag * (state[v] as number);
  force[1] = (force[1] as number) + push * ny - drag * (state[v + 1] as number);
  force[2] = (force[2] as number) + push * nz - drag * (state[v + 2] as number);
  for (let i = 0; i < 3; i++) {
    torque[i] = (torque[i] as number) - 0.3 * drag * radiusM * radiusM * (rate[i] as number);
  }
}
