import { inverse, Matrix } from 'ml-matrix';
import { describe, expect, it } from 'vitest';
import { calibrationPriors } from '../../src/shots/ball/calibration.ts';
import {
  type FlightParameters,
  flightParameterNames,
  flightReadings,
  packFlight,
  plainFlight,
  unpackFlight,
} from '../../src/simulate/flight-readings.ts';
import { Random } from '../../src/simulate/random.ts';
import { quatFromRotationVector } from '../../src/simulate/vectors.ts';
import type { BoundFlight } from './flight-information.ts';
import { SessionBound } from './session-bound.ts';

const parameters: FlightParameters = {
  ...plainFlight,
  velocityMps: [4.6, 0, 0.4],
  spinRadps: [0.6, -13, 1.4],
  attitude: quatFromRotationVector([0.4, -1.1, 0.8]),
  accelBiasMps2: [0.2, -0.1, 0.15],
  offsetM: [0.008, -0.006, 0.009],
  gyroScaleError: [0.008, -0.004, 0.01],
  gyroBiasRadps: [0.01, -0.02, 0.004],
};
const halfS = 0.5;
const count = 101;
const flight: BoundFlight = {
  parameters,
  timesS: Float64Array.from({ length: count }, (_, i) => -halfS + (2 * halfS * i) / (count - 1)),
  accelNoiseMps2: 0.03,
  gyroNoiseRadps: 0.0013,
};
const shot = { releaseS: -halfS, contactS: halfS, ringM: 0.6 };

/** Standard deviations of what is known before; the heading is fixed, buoyancy and drag slope are known to be nought. */
function knowledge(name: string): number {
  const p = calibrationPriors;
  const axis = name.slice(0, -1);
  const spreads: Readonly<Record<string, number>> = {
    velocityMps: name.endsWith('Y') ? 1e-6 : 100,
    spinRadps: 300,
    turnRad: 10,
    accelBiasMps2: p.biasSpreadMps2,
    offsetM: p.offsetSpreadM,
    gyroScaleError: p.gyroScaleSpread,
    // Scale, bias and what they leave unexplained add where one flight turns about one axis.
    gyroBiasRadps: Math.hypot(p.gyroBiasSpreadRadps, p.gyroCrossAxis * Math.hypot(...parameters.spinRadps)),
  };
  const alone: Readonly<Record<string, number>> = {
    // A ball of 0.6237 kg and 0.1213 m in air of 1.204 kg/m³: drag per metre at a coefficient of 0.5, lift at slope 1.
    dragPerM: p.dragSpread * 0.02231,
    liftFactor: Math.hypot(p.liftGrowthSpread, p.liftLagSpread) * 0.005413,
    spinDecayPerS: 0.02,
  };
  return spreads[axis] ?? alone[name] ?? 1e-9;
}

/** Gauss and Newton's method with the prior, from the truth: the best an analysis could do. */
function fitOnce(random: Random): FlightParameters {
  const truth = packFlight(parameters);
  const spread = flightParameterNames.map(knowledge);
  const noise = [flight.accelNoiseMps2, flight.gyroNoiseRadps] as const;
  const predict = (vector: Float64Array) => {
    const { accelMps2, gyroRadps } = flightReadings(unpackFlight(vector, parameters), flight.timesS);
    return [...accelMps2.map((a) => a / noise[0]), ...gyroRadps.map((w) => w / noise[1])];
  };
  const seen = predict(truth).map((value) => value + random.normal());
  const expected = truth.map((value, i) => value + ((spread[i] as number) < 5 ? random.normal(0, spread[i]) : 0));
  const vector = truth.slice();
  for (let step = 0; step < 3; step++) {
    const at = predict(vector);
    const columns = Array.from(truth, (_, i) => {
      const h = 1e-5 * Math.min(1, 100 * (spread[i] as number));
      const shifted = vector.slice();
      shifted[i] = (shifted[i] as number) + h;
      return predict(shifted).map((value, row) => (value - (at[row] as number)) / h);
    });
    const n = columns.length;
    const normal = Matrix.zeros(n, n);
    const gradient = Matrix.zeros(n, 1);
    for (const [a, ca] of columns.entries()) {
      const weight = (spread[a] as number) ** -2;
      let sum = weight * ((expected[a] as number) - (vector[a] as number));
      for (const [row, value] of ca.entries()) sum += value * ((seen[row] as number) - (at[row] as number));
      gradient.set(a, 0, sum);
      for (const [b, cb] of columns.entries()) {
        normal.set(
          a,
          b,
          ca.reduce((dot, value, row) => dot + value * (cb[row] as number), a === b ? weight : 0),
        );
      }
    }
    const move = inverse(normal).mmul(gradient);
    for (let i = 0; i < n; i++) vector[i] = (vector[i] as number) + move.get(i, 0);
  }
  return unpackFlight(vector, parameters);
}

function launchOf(p: FlightParameters) {
  const [x, y, z] = flightReadings(p, Float64Array.of(shot.releaseS)).velocityMps as unknown as [
    number,
    number,
    number,
  ];
  return { speedMps: Math.hypot(x, y, z), angleDeg: (Math.atan2(z, Math.hypot(x, y)) * 180) / Math.PI };
}

describe('the bounds of one flight', () => {
  it('are what a least-squares fit of the simulator itself scatters by', () => {
    const random = new Random('bound');
    const draws = 40;
    const truth = launchOf(parameters);
    let speed = 0;
    let angle = 0;
    for (let i = 0; i < draws; i++) {
      const { speedMps, angleDeg } = launchOf(fitOnce(random));
      speed += (speedMps - truth.speedMps) ** 2 / draws;
      angle += (angleDeg - truth.angleDeg) ** 2 / draws;
    }
    const bound = new SessionBound().take(flight, shot)!.plainAir;
    // The root mean square of 40 normal draws scatters by 1/√80: four of these.
    const slack = 4 / Math.sqrt(2 * draws);
    expect(Math.sqrt(speed) / bound.launchSpeedMps).toBeGreaterThan(1 - slack);
    expect(Math.sqrt(speed) / bound.launchSpeedMps).toBeLessThan(1 + slack);
    expect(Math.sqrt(angle) / bound.launchAngleDeg).toBeGreaterThan(1 - slack);
    expect(Math.sqrt(angle) / bound.launchAngleDeg).toBeLessThan(1 + slack);
  });

  it('shrink with what the flights before taught, and are wider where the air is less known', () => {
    const session = new SessionBound();
    const first = session.take(flight, shot)!;
    const second = session.take(flight, shot)!;
    for (const name of ['launchSpeedMps', 'launchAngleDeg', 'spinRps', 'axisTiltDeg', 'entryAngleDeg'] as const) {
      expect(second.plainAir[name]).toBeLessThan(first.plainAir[name]);
      expect(second.samePriors[name]).toBeLessThan(first.samePriors[name]);
      expect(first.samePriors[name]).toBeGreaterThan(first.plainAir[name] * (1 - 1e-6));
    }
  });
});
