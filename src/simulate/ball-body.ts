import type { Random } from './random.ts';
import type { Vec3 } from './vectors.ts';

/** The ball and the air around it. */
export interface BallBody {
  readonly massKg: number;
  readonly radiusM: number;
  /** Principal moments of inertia along the ball's own axes, as a ratio to those of a thin shell, (2/3) m R². */
  readonly inertiaRatio: Vec3;
}

export interface Air {
  readonly densityKgpm3: number;
  readonly dragCoefficient: number;
  /** Lift coefficient over spin parameter: CL = liftSlope R omega / v. */
  readonly liftSlope: number;
  /** Share of the angular momentum lost per second in the air. */
  readonly spinDecayPerS: number;
  /** Drag and lift coefficients change with speed and spin. */
  readonly variableDrag: boolean;
  /** Buoyancy of the displaced air acts. */
  readonly buoyancy: boolean;
}

/**
 * Ball bodies by size. Size 7: 22 oz and 30 in around, the upper end of the usual rules; 6 and 5 by the middle of the
 * rules' ranges. Common practice, no single source.
 */
export const ballBodies: Readonly<Record<7 | 6 | 5, BallBody>> = {
  7: { massKg: 0.6237, radiusM: 0.1213, inertiaRatio: [1, 1, 1] },
  6: { massKg: 0.53, radiusM: 0.115, inertiaRatio: [1, 1, 1] },
  5: { massKg: 0.48, radiusM: 0.1102, inertiaRatio: [1, 1, 1] },
};

/** Air at 20 °C and sea level; drag coefficient of a smooth sphere in this range of Reynolds numbers (common practice). */
export const stillAir: Air = {
  densityKgpm3: 1.204,
  dragCoefficient: 0.5,
  liftSlope: 0.5,
  spinDecayPerS: 0.02,
  variableDrag: false,
  buoyancy: false,
};

/** Air of one session: drag ±5 %, lift ±30 %, spin decay 0.02 ± 0.02 per second, never below zero. */
export function drawAir(random: Random, base: Air = stillAir): Air {
  return {
    ...base,
    dragCoefficient: base.dragCoefficient * (1 + 0.05 * random.boundedNormal(0, 1)),
    liftSlope: base.liftSlope * (1 + 0.3 * random.boundedNormal(0, 1)),
    spinDecayPerS: Math.abs(random.boundedNormal(0.02, 0.02, 2)),
  };
}

/** Kinematic viscosity of air at 20 °C, m²/s. */
const airViscosityM2ps = 1.516e-5;

/** Drag per metre at the session's coefficient: the deceleration is this times v². */
export function dragPerM(ball: BallBody, air: Air): number {
  return (air.densityKgpm3 * air.dragCoefficient * Math.PI * ball.radiusM ** 2) / (2 * ball.massKg);
}

/** Lift factor k of a = k (omega × v); no unit. */
export function liftFactor(ball: BallBody, air: Air): number {
  return (air.densityKgpm3 * air.liftSlope * Math.PI * ball.radiusM ** 3) / (2 * ball.massKg);
}

/**
 * Acceleration by the air, m/s²: drag −k_d |v| v, lift k_l omega × v, and buoyancy upward where it is switched on.
 *
 * With `variableDrag` the coefficients follow a plausible curve made for tests, not a measured one: the drag coefficient
 * falls by a fifth around a Reynolds number of 1.35e5 (a mild drag crisis) and rises with the spin parameter; the lift
 * coefficient saturates.
 *
 * @param state the ball's state with velocity at `v0` and room angular rate at `w0`.
 */
export function airAcceleration(
  ball: BallBody,
  air: Air,
  gravityMps2: number,
  state: Float64Array,
  v0: number,
  w0: number,
  out: Float64Array,
): void {
  const vx = state[v0] as number;
  const vy = state[v0 + 1] as number;
  const vz = state[v0 + 2] as number;
  const wx = state[w0] as number;
  const wy = state[w0 + 1] as number;
  const wz = state[w0 + 2] as number;
  const speed = Math.sqrt(vx * vx + vy * vy + vz * vz);
  let drag = dragPerM(ball, air);
  let lift = liftFactor(ball, air);
  if (air.variableDrag && speed > 0.01) {
    const spinParameter = (ball.radiusM * Math.sqrt(wx * wx + wy * wy + wz * wz)) / speed;
    const reynolds = (2 * ball.radiusM * speed) / airViscosityM2ps;
    drag *= 1.08 - 0.2 / (1 + Math.exp(-(reynolds - 1.35e5) / 1.2e4)) + 0.15 * Math.min(spinParameter, 1.5);
    lift *= 1.3 / (1 + 1.2 * spinParameter);
  }
  const d = -drag * speed;
  out[0] = d * vx + lift * (wy * vz - wz * vy);
  out[1] = d * vy + lift * (wz * vx - wx * vz);
  out[2] = d * vz + lift * (wx * vy - wy * vx);
  if (air.buoyancy) {
    const volume = (4 / 3) * Math.PI * ball.radiusM ** 3;
    out[2] = (out[2] as number) + (air.densityKgpm3 * volume * gravityMps2) / ball.massKg;
  }
}
