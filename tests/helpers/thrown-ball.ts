import type { ImuBlock } from '../../src/foundation/imu-block.ts';
import { conjugate, fromRotationVector, multiply, type Quaternion, rotate } from '../../src/signal/rotation.ts';
import { add, cross, norm, scale, type Vec3 } from '../../src/signal/vec3.ts';

/** One ball in free flight as a sensor inside it reads it; small and plain, to test the fit alone. */
export interface ThrownBall {
  readonly rateHz: number;
  readonly durationS: number;
  readonly velocityMps: Vec3;
  readonly spinRadps: Vec3;
  readonly attitude: Quaternion;
  readonly dragPerM: number;
  readonly liftPerRad: number;
  readonly buoyancyMps2: number;
  readonly dragSlope: number;
  readonly dragBend: number;
  readonly liftSlope: number;
  readonly spinDecayPerS: number;
  readonly offsetM: Vec3;
  readonly biasMps2: Vec3;
  readonly gyroScale: Vec3;
  readonly gyroBiasRadps: Vec3;
  readonly noiseMps2: number;
  readonly noiseRadps: number;
  /** Slow noise of the accelerometer, m/s², with a memory of 0.3 s; none where it is left out. */
  readonly slowMps2?: number;
}

/** Linear congruential generator with Box–Muller normals: enough for test data, the same on every machine. */
export function normalSource(seed: number): () => number {
  let state = seed >>> 0;
  const unit = () => {
    state = (Math.imul(state, 1664525) + 1013904223) >>> 0;
    return (state + 0.5) / 4294967296;
  };
  return () => Math.sqrt(-2 * Math.log(unit())) * Math.cos(2 * Math.PI * unit());
}

/** @returns the samples, and the true velocity (room axes, z up) at each. */
export function throwBall(ball: ThrownBall, normal: () => number): { block: ImuBlock; velocityMps: Vec3[] } {
  const n = Math.floor(ball.durationS * ball.rateHz);
  const stepS = 1 / ball.rateHz;
  const fine = 8;
  const timeS = new Float64Array(n);
  const accelMps2 = new Float64Array(3 * n);
  const gyroRadps = new Float64Array(3 * n);
  const velocityMps: Vec3[] = [];
  let v = ball.velocityMps;
  let q = ball.attitude;
  let spin = ball.spinRadps;
  const slowMps2 = ball.slowMps2 ?? 0;
  const keep = Math.exp(-stepS / 0.3);
  const slow = [0, 0, 0].map(() => (slowMps2 > 0 ? slowMps2 * normal() : 0));
  const aero = (u: Vec3) => {
    const x = norm(u) / 7 - 1;
    const drag = -ball.dragPerM * norm(u) * (1 + ball.dragSlope * x + ball.dragBend * x * x);
    // Lift over ω v as 1 / (1 + b S), with the spin parameter S as 1 / speed: b S at 7 m/s is slope / (1 − slope).
    const lift = (ball.liftPerRad * (1 + x)) / ((1 + x) * (1 - ball.liftSlope) + ball.liftSlope);
    return add(add(scale(u, drag), scale(cross(spin, u), lift)), [0, 0, ball.buoyancyMps2]);
  };
  for (let i = 0; i < n; i++) {
    timeS[i] = i * stepS;
    velocityMps.push(v);
    const w = rotate(conjugate(q), spin);
    const lever = add(cross(w, cross(w, ball.offsetM)), cross(scale(w, -ball.spinDecayPerS), ball.offsetM));
    const f = add(add(ball.biasMps2, lever), rotate(conjugate(q), aero(v)));
    for (let axis = 0; axis < 3; axis++) {
      accelMps2[3 * i + axis] = (f[axis] as number) + (slow[axis] as number) + ball.noiseMps2 * normal();
      if (slowMps2 > 0) slow[axis] = keep * (slow[axis] as number) + slowMps2 * Math.sqrt(1 - keep * keep) * normal();
      const reading =
        ((w[axis] as number) - (ball.gyroBiasRadps[axis] as number)) / (1 + (ball.gyroScale[axis] as number));
      gyroRadps[3 * i + axis] = reading + ball.noiseRadps * normal();
    }
    const h = stepS / fine;
    for (let k = 0; k < fine; k++) {
      const a = add(aero(v), [0, 0, -9.80665]);
      const middle = add(v, scale(a, h / 2));
      v = add(v, scale(add(aero(middle), [0, 0, -9.80665]), h));
      q = multiply(fromRotationVector(scale(spin, h)), q);
      spin = scale(spin, 1 - ball.spinDecayPerS * h);
    }
  }
  return { block: { length: n, timeS, accelMps2, gyroRadps, flags: new Uint8Array(n) }, velocityMps };
}
