import { describe, expect, it } from 'vitest';
import { aeroPreset, ballPresets } from '../../src/flight/ball-presets.ts';
import { type FlightData, prepareFlight } from '../../src/flight/flight-data.ts';
import { fitFlight, flightParameter } from '../../src/flight/flight-fit.ts';
import { posteriorWeights, slowSizesMps2 } from '../../src/flight/slow-noise.ts';
import { atOnce } from '../../src/foundation/resting-work.ts';
import { independent } from '../../src/signal/gaussian.ts';
import { fromRotationVector } from '../../src/signal/rotation.ts';
import { norm, scale, type Vec3, vecAt } from '../../src/signal/vec3.ts';
import { normalSource, throwBall } from '../helpers/thrown-ball.ts';

const aero = aeroPreset(ballPresets[7]);
const degree = Math.PI / 180;

/** Draws a free-throw-like flight from the very priors of the fit and returns error over standard error. */
function fitOne(seed: number, spinRps: number, rateHz: number, slowMps2 = 0) {
  const normal = normalSource(seed);
  const three = (size: number): Vec3 => [size * normal(), size * normal(), size * normal()];
  const spin = 2 * Math.PI * spinRps;
  const drag = 1 + 0.06 * normal();
  const growth = 0.55 + 0.15 * normal();
  const lag = 0.2 + 0.1 * normal();
  const { block, velocityMps } = throwBall(
    {
      rateHz,
      durationS: 0.95,
      velocityMps: [4.5, 0, 5.6],
      spinRadps: scale([0.15 * normal(), -1, 0.15 * normal()], spin),
      attitude: fromRotationVector(three(2)),
      dragPerM: aero.dragPerM * drag,
      liftPerRad: aero.lift * (growth + lag),
      buoyancyMps2: 0.07 + 0.08 * normal(),
      dragSlope: 0.15 * normal(),
      dragBend: 0.2 * normal(),
      liftSlope: lag / (growth + lag),
      spinDecayPerS: 0.02 + 0.01 * normal(),
      offsetM: three(0.012),
      biasMps2: three(0.25),
      gyroScale: three(0.01),
      gyroBiasRadps: three(degree),
      noiseMps2: 0.03,
      noiseRadps: 0.07 * degree,
      slowMps2,
    },
    normal,
  );
  const data = prepareFlight(block, 0, block.length);
  const middle = vecAt(data.rateRadps, Math.floor(data.length / 2));
  const rateSpread = middle.map((w) => Math.hypot(0.01 * w, degree));
  const work = fitFlight(data, aero, {
    ballAndSensor: independent(
      [1, 0.55, 0, 0, 0, 0, 0, 0, 0.07, 0, 0, 0.2],
      [0.06, 0.15, 0.25, 0.25, 0.25, 0.012, 0.012, 0.012, 0.08, 0.15, 0.2, 0.1],
    ),
    rateCorrection: independent([0, 0, 0], rateSpread),
    rest: null,
    end: null,
    slowWeights: slowMps2 > 0 ? slowSizesMps2.map(() => 1 / slowSizesMps2.length) : [1, 0, 0, 0, 0],
    hypotheses: [],
  });
  const fit = atOnce(work);
  if (!fit) return null;
  const at = fit.referenceS * rateHz;
  const before = velocityMps[Math.floor(at)] as Vec3;
  const after = velocityMps[Math.floor(at) + 1] as Vec3;
  const share = at - Math.floor(at);
  const speed = norm(before) * (1 - share) + norm(after) * share;
  const direction = scale(fit.state.velocityMps, 1 / norm(fit.state.velocityMps));
  let variance = 0;
  for (let a = 0; a < 3; a++) {
    for (let b = 0; b < 3; b++)
      variance += (direction[a] as number) * (direction[b] as number) * fit.covariance.get(a, b);
  }
  return {
    speedZ: (norm(fit.state.velocityMps) - speed) / Math.sqrt(variance),
    dragZ: (fit.state.dragRatio - drag) / Math.sqrt(fit.covariance.get(8, 8)),
    residualMps2: fit.residualMps2,
    slowLikelihood: fit.slowLikelihood,
    converged: fit.converged,
  };
}

describe('flight fit', () => {
  it.each([
    [0.5, 200],
    [2, 100],
    [2, 200],
    [2, 833],
    [3, 200],
  ])('at %f rev/s and %f Hz converges every time and its errors are what it says', (spinRps, rateHz) => {
    const runs = 60;
    const results = Array.from({ length: runs }, (_, i) => fitOne(1000 + i, spinRps, rateHz));
    const fitted = results.filter((r) => r !== null);
    expect(fitted).toHaveLength(runs);
    expect(fitted.every((r) => r.converged)).toBe(true);
    // The mean of 60 squared standard normals lies within 0.5..1.6 in all but one of a thousand draws (chi-square, 60).
    for (const z of [fitted.map((r) => r.speedZ), fitted.map((r) => r.dragZ)]) {
      const meanSquare = z.reduce((sum, value) => sum + value * value, 0) / runs;
      expect(meanSquare).toBeGreaterThan(0.5);
      expect(meanSquare).toBeLessThan(1.6);
    }
    const noise = fitted.reduce((sum, r) => sum + r.residualMps2, 0) / runs;
    expect(Math.abs(noise - 0.03)).toBeLessThan(0.003);
  });

  it('under slow noise says how much there is and widens its errors by it', () => {
    const runs = 60;
    const fitted = Array.from({ length: runs }, (_, i) => fitOne(5000 + i, 2, 400, 0.02)).filter((r) => r !== null);
    expect(fitted).toHaveLength(runs);
    for (const z of [fitted.map((r) => r.speedZ), fitted.map((r) => r.dragZ)]) {
      const meanSquare = z.reduce((sum, value) => sum + value * value, 0) / runs;
      expect(meanSquare).toBeGreaterThan(0.5);
      expect(meanSquare).toBeLessThan(1.6);
    }
    let weights: readonly number[] = slowSizesMps2.map(() => 1 / slowSizesMps2.length);
    for (const { slowLikelihood } of fitted) weights = posteriorWeights(weights, slowLikelihood);
    expect(weights[slowSizesMps2.indexOf(0.02)]).toBeGreaterThan(0.9);
  });

  it('refuses a stream without gyroscope and too few samples with the reason', () => {
    const { block } = throwBall(
      {
        rateHz: 200,
        durationS: 0.1,
        velocityMps: [4, 0, 5],
        spinRadps: [0, -10, 0],
        attitude: [1, 0, 0, 0],
        dragPerM: 0.02,
        liftPerRad: 0,
        buoyancyMps2: 0,
        dragSlope: 0,
        dragBend: 0,
        liftSlope: 0,
        spinDecayPerS: 0,
        offsetM: [0, 0, 0],
        biasMps2: [0, 0, 0],
        gyroScale: [0, 0, 0],
        gyroBiasRadps: [0, 0, 0],
        noiseMps2: 0,
        noiseRadps: 0,
      },
      normalSource(1),
    );
    expect(() => prepareFlight({ ...block, gyroRadps: null }, 0, 10)).toThrow('needs a gyroscope');
    expect(() => prepareFlight(block, 0, 5)).toThrow('at least 6 samples, got 5');
  });
});

describe('what is not fitted', () => {
  const slopeMps2PerS = 0.01;
  const { block } = throwBall(
    {
      rateHz: 200,
      durationS: 0.95,
      velocityMps: [4.5, 0, 5.6],
      spinRadps: [1, -14, 0.6],
      attitude: fromRotationVector([0.3, -1.1, 0.7]),
      dragPerM: aero.dragPerM,
      liftPerRad: aero.lift * 0.75,
      buoyancyMps2: 0.07,
      dragSlope: 0,
      dragBend: 0,
      liftSlope: 0.25,
      spinDecayPerS: 0.02,
      offsetM: [0.004, -0.009, 0.006],
      biasMps2: [0.1, -0.2, 0.05],
      gyroScale: [0, 0, 0],
      gyroBiasRadps: [0, 0, 0],
      noiseMps2: 0.02,
      noiseRadps: 0.001,
      slowMps2: 0,
    },
    normalSource(5),
  );
  const plain = prepareFlight(block, 0, block.length);
  const middle = Math.floor(plain.length / 2);
  const fitOf = (data: FlightData, slope = 0) => {
    const fit = atOnce(
      fitFlight(data, aero, {
        ballAndSensor: independent(
          [1, 0.55, 0, 0, 0, 0, 0, 0, 0.07, 0, 0, 0.2],
          [0.06, 0.15, 0.25, 0.25, 0.25, 0.012, 0.012, 0.012, 0.08, 0.15, 0.2, 0.1],
        ),
        rateCorrection: independent([0, 0, 0], [0.1, 0.1, 0.1]),
        rest: null,
        end: null,
        slowWeights: [1, 0, 0, 0, 0],
        biasSlopeMps2PerS: slope,
        hypotheses: [],
      }),
    );
    if (!fit) throw new Error('expected a fit');
    return fit;
  };
  const steady = fitOf(plain);
  /** How far changed readings shift the velocity, all changes together, against what the covariance takes on. */
  const compare = (wide: ReturnType<typeof fitOf>, changed: readonly FlightData[]) => {
    let [seen, taken] = [0, 0];
    const fits = changed.map((data) => fitOf(data).state.velocityMps);
    for (let axis = 0; axis < 3; axis++) {
      const at = flightParameter.velocity + axis;
      for (const v of fits) seen += ((v[axis] as number) - (steady.state.velocityMps[axis] as number)) ** 2;
      taken += wide.covariance.get(at, at) - wide.steadyCovariance.get(at, at);
    }
    // Fits stop a seventh of their standard error short of where they lead.
    expect(seen).toBeGreaterThan(0.02 ** 2);
    expect(Math.sqrt(taken / seen)).toBeGreaterThan(0.6);
    expect(Math.sqrt(taken / seen)).toBeLessThan(1.6);
  };

  it('counts a bias that moves within the flight by what it would bend, without being bent by it', () => {
    const wide = fitOf(plain, slopeMps2PerS);
    expect(wide.state).toEqual(steady.state);
    expect(wide.steadyCovariance.to1DArray()).toEqual(steady.covariance.to1DArray());
    const ramps = [0, 1, 2].map((axis) => {
      const accelMps2 = plain.accelMps2.slice();
      for (let i = 0; i < plain.length; i++) {
        const sinceS = (plain.timeS[i] as number) - (plain.timeS[middle] as number);
        accelMps2[3 * i + axis] = (accelMps2[3 * i + axis] as number) + slopeMps2PerS * sinceS;
      }
      return { ...plain, accelMps2 };
    });
    compare(wide, ramps);
  });

  it("counts another decay of a rate beyond the gyroscope's end the same way", () => {
    const decayErrorPerS = 0.02;
    const clipped: FlightData = { ...plain, rateClipped: [false, true, false], decayErrorPerS };
    const wide = fitOf(clipped);
    const rateRadps = plain.rateRadps.slice();
    const rateDotRadps2 = plain.rateDotRadps2.slice();
    for (let i = 0; i < plain.length; i++) {
      const change = decayErrorPerS * (plain.rateRadps[3 * i + 1] as number);
      const sinceS = (plain.timeS[i] as number) - (plain.timeS[middle] as number);
      rateRadps[3 * i + 1] = (plain.rateRadps[3 * i + 1] as number) - change * sinceS;
      rateDotRadps2[3 * i + 1] = (plain.rateDotRadps2[3 * i + 1] as number) - change;
    }
    compare(wide, [{ ...plain, rateRadps, rateDotRadps2 }]);
  });
});
