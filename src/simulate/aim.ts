import { type Air, airAcceleration, type BallBody } from './ball-body.ts';
import type { Vec3 } from './vectors.ts';

/** What bends a flight, without any court. */
export interface FlightPhysics {
  readonly ball: BallBody;
  readonly air: Air;
  readonly gravityMps2: number;
}

/** Where a falling ball passes a height. */
export interface Passage {
  readonly timeS: number;
  readonly positionM: Vec3;
  readonly velocityMps: Vec3;
  /** Highest point before. */
  readonly apexM: number;
}

/**
 * Follows a flight until the falling ball passes `heightM`, by fourth-order Runge–Kutta with steps of `stepS`; the spin
 * axis stays, its size decays. Null when the ball never gets there.
 */
export function passageAt(
  physics: FlightPhysics,
  fromM: Vec3,
  velocityMps: Vec3,
  spinRadps: Vec3,
  heightM: number,
  stepS = 0.002,
): Passage | null {
  const y = Float64Array.from([...fromM, ...velocityMps]);
  const next = new Float64Array(6);
  const advance = stepper(physics, spinRadps);
  let apexM = fromM[2];
  for (let timeS = 0; timeS < 10; timeS += stepS) {
    advance(y, timeS, stepS, next);
    apexM = Math.max(apexM, next[2] as number);
    if ((next[5] as number) < 0 && (next[2] as number) < heightM) {
      if (apexM < heightM) return null;
      let low = 0;
      let high = stepS;
      for (let i = 0; i < 50; i++) {
        const middle = (low + high) / 2;
        advance(y, timeS, middle, next);
        const past = (next[5] as number) < 0 && (next[2] as number) < heightM;
        if (past) high = middle;
        else low = middle;
      }
      advance(y, timeS, high, next);
      const [a, b, c, d, e, f] = next as unknown as readonly [number, number, number, number, number, number];
      return { timeS: timeS + high, positionM: [a, b, c], velocityMps: [d, e, f], apexM };
    }
    y.set(next);
  }
  return null;
}

function stepper(
  physics: FlightPhysics,
  spinRadps: Vec3,
): (y: Float64Array, timeS: number, h: number, out: Float64Array) => void {
  const { ball, air, gravityMps2 } = physics;
  const k = [0, 1, 2, 3].map(() => new Float64Array(6)) as [Float64Array, Float64Array, Float64Array, Float64Array];
  const stage = new Float64Array(6);
  const input = new Float64Array(6);
  const a = new Float64Array(3);
  const slope = (y: Float64Array, timeS: number, out: Float64Array) => {
    const left = Math.exp(-air.spinDecayPerS * timeS);
    for (let i = 0; i < 3; i++) {
      input[i] = y[3 + i] as number;
      input[3 + i] = left * (spinRadps[i] as number);
    }
    airAcceleration(ball, air, gravityMps2, input, 0, 3, a);
    for (let i = 0; i < 3; i++) {
      out[i] = y[3 + i] as number;
      out[3 + i] = a[i] as number;
    }
    out[5] = (out[5] as number) - gravityMps2;
  };
  return (y, timeS, h, out) => {
    slope(y, timeS, k[0]);
    for (let i = 0; i < 6; i++) stage[i] = (y[i] as number) + 0.5 * h * (k[0][i] as number);
    slope(stage, timeS + 0.5 * h, k[1]);
    for (let i = 0; i < 6; i++) stage[i] = (y[i] as number) + 0.5 * h * (k[1][i] as number);
    slope(stage, timeS + 0.5 * h, k[2]);
    for (let i = 0; i < 6; i++) stage[i] = (y[i] as number) + h * (k[2][i] as number);
    slope(stage, timeS + h, k[3]);
    for (let i = 0; i < 6; i++) {
      const sum = (k[0][i] as number) + 2 * (k[1][i] as number) + 2 * (k[2][i] as number) + (k[3][i] as number);
      out[i] = (y[i] as number) + (h / 6) * sum;
    }
  };
}

/**
 * Launch speed with which a ball thrown along x at `angleRad` falls through `heightM` at `distanceM`; null when no speed up
 * to 30 m/s does.
 *
 * @param heightM above the release point.
 * @param spinRadps spin with x along the launch direction.
 */
export function solveSpeed(
  physics: FlightPhysics,
  distanceM: number,
  heightM: number,
  angleRad: number,
  spinRadps: Vec3,
  stepS = 0.005,
): number | null {
  const rise = distanceM * Math.tan(angleRad) - heightM;
  if (!(rise > 0)) return null;
  const overshoot = (speed: number) => {
    const velocity: Vec3 = [speed * Math.cos(angleRad), 0, speed * Math.sin(angleRad)];
    const passage = passageAt(physics, [0, 0, 0], velocity, spinRadps, heightM, stepS);
    return passage === null ? null : passage.positionM[0] - distanceM;
  };
  const vacuum = Math.sqrt((physics.gravityMps2 * distanceM ** 2) / (2 * Math.cos(angleRad) ** 2 * rise));
  // Too slow a ball never reaches the height: such speeds count as short.
  let low = 0.5 * vacuum;
  let high = 1.02 * vacuum;
  let overHigh = overshoot(high);
  while (overHigh === null || overHigh < 0) {
    low = high;
    high *= 1.1;
    if (high > 30) return null;
    overHigh = overshoot(high);
  }
  let overLow = overshoot(low);
  for (let i = 0; i < 60 && high - low > 1e-8; i++) {
    const secant = overLow === null ? (low + high) / 2 : high - (overHigh * (high - low)) / (overHigh - overLow);
    const margin = 0.02 * (high - low);
    const speed =
      i % 3 === 2 ? (low + high) / 2 : Math.min(high - margin * 1e-3, Math.max(low + margin * 1e-3, secant));
    const over = overshoot(speed);
    if (over !== null && Math.abs(over) < 1e-8) return speed;
    if (over === null || over < 0) {
      low = speed;
      overLow = over;
    } else {
      high = speed;
      overHigh = over;
    }
  }
  return Math.abs(overHigh) < 1e-3 ? high : null;
}

/** Least launch speed over all angles that reaches `heightM` above release at `distanceM`, falling; drag acts, lift does not. */
export function leastSpeed(physics: FlightPhysics, distanceM: number, heightM: number): number | null {
  const cost = (angle: number) => solveSpeed(physics, distanceM, heightM, angle, [0, 0, 0], 0.01) ?? 99;
  const golden = (Math.sqrt(5) - 1) / 2;
  const flattest = Math.atan2(heightM, distanceM);
  let low = flattest + 0.02 * (Math.PI / 2 - flattest);
  let high = Math.PI / 2 - 0.05;
  let a = high - golden * (high - low);
  let b = low + golden * (high - low);
  let costA = cost(a);
  let costB = cost(b);
  // The minimum is flat: an angle 0.01 rad off costs about 4e-4 m/s.
  while (high - low > 1.2e-2) {
    if (costA <= costB) {
      high = b;
      b = a;
      costB = costA;
      a = high - golden * (high - low);
      costA = cost(a);
    } else {
      low = a;
      a = b;
      costA = costB;
      b = low + golden * (high - low);
      costB = cost(b);
    }
  }
  const best = Math.min(costA, costB);
  return best < 99 ? best : null;
}
