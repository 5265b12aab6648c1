import { Matrix } from 'ml-matrix';
import { describe, expect, it } from 'vitest';
import {
  ageCalibration,
  agedByDrift,
  biasSlope,
  calibrationPriors,
  type FlightLesson,
  gyroMeans,
  initialCalibration,
  learnFlight,
  learnNoise,
  learnRest,
  rateCorrectionPrior,
  rateWithBall,
  widenOffset,
} from '../../../src/shots/ball/calibration.ts';
import { condition, type Gaussian } from '../../../src/signal/gaussian.ts';
import type { Vec3 } from '../../../src/signal/vec3.ts';

const p = calibrationPriors;
const start = initialCalibration();
/** A flight that told the rate correction and left what was known of ball and accelerometer. */
function lesson(calibration: typeof start, rateRadps: Vec3, { mean, covariance }: Gaussian): FlightLesson {
  const known = calibration.ballAndSensor;
  const all = Matrix.zeros(15, 15);
  all.setSubMatrix(covariance, 0, 0);
  all.setSubMatrix(known.covariance, 3, 3);
  return {
    rateRadps,
    clipped: [false, false, false],
    surprise: 1,
    learnt: { mean: [...mean, ...known.mean], covariance: all },
  };
}
const variance = (calibration: typeof start, i: number) => calibration.gyro.covariance.get(i, i);

describe('a ball at rest', () => {
  it('tells the bias of the gyroscope by the scalar Kalman update, and nothing of its scale', () => {
    const learnt = learnRest(start, [0.01, -0.02, 0.005]);
    // The true rate is 0 = measured + bias; the noise of the mean is 0.0015 rad/s.
    const before = p.gyroBiasSpreadRadps ** 2;
    const gain = before / (before + 0.0015 ** 2);
    const { scale, biasRadps } = gyroMeans(learnt);
    for (const [axis, bias] of [-0.01, 0.02, -0.005].entries()) expect(biasRadps[axis]).toBeCloseTo(gain * bias, 12);
    expect(scale).toEqual([0, 0, 0]);
    for (let axis = 0; axis < 3; axis++) {
      expect(variance(learnt, 3 + axis)).toBeCloseTo((1 - gain) * before, 12);
      expect(variance(learnt, axis)).toBeCloseTo(p.gyroScaleSpread ** 2, 15);
    }
    expect(learnt.flights).toBe(0);
    expect(gyroMeans(start).biasRadps).toEqual([0, 0, 0]);
  });
});

describe('the correction of the rate in a flight', () => {
  it('is as uncertain as scale times rate, bias and misalignment together', () => {
    const { mean, covariance } = rateCorrectionPrior(start, [2, -18, 0], [false, false, false]);
    const crossAxis = (2 * 2 + 18 * 18) * p.gyroCrossAxis ** 2 + p.gyroWanderRadps ** 2;
    expect(mean).toEqual([0, 0, 0]);
    for (const [axis, rate] of [2, -18, 0].entries()) {
      const expected = (p.gyroScaleSpread * rate) ** 2 + p.gyroBiasSpreadRadps ** 2 + crossAxis;
      expect(covariance.get(axis, axis)).toBeCloseTo(expected, 12);
    }
  });

  it('of a clipped axis is open: a third of its rate and 3 rad/s', () => {
    const free = rateCorrectionPrior(start, [2, 35, 0], [false, false, false]).covariance;
    const clipped = rateCorrectionPrior(start, [2, 35, 0], [false, true, false]).covariance;
    expect(clipped.get(1, 1) - free.get(1, 1)).toBeCloseTo((0.3 * 35) ** 2 + 9, 9);
    expect(clipped.get(0, 0)).toBe(free.get(0, 0));
  });
});

describe('a flight', () => {
  const rate: [number, number, number] = [1, -15, 2];
  const before = rateCorrectionPrior(start, rate, [false, false, false]);
  const seen = condition(before, Matrix.eye(3, 3), [0, -0.15, 0], [1e-6, 1e-6, 1e-6]);
  const learnt = learnFlight(start, lesson(start, rate, seen));

  it('tells scale and bias of the gyroscope together, by what it showed at its rate', () => {
    // Scale and bias both explain 0.15 rad/s at −15 rad/s; the sum of what they took is the share that misalignment leaves.
    const { scale, biasRadps } = gyroMeans(learnt);
    const told = -15 * scale[1] + biasRadps[1];
    const own = (15 * p.gyroScaleSpread) ** 2 + p.gyroBiasSpreadRadps ** 2;
    const crossAxis = (1 + 225 + 4) * p.gyroCrossAxis ** 2 + p.gyroWanderRadps ** 2;
    expect(told).toBeCloseTo((-0.15 * own) / (own + crossAxis + 1e-6), 9);
    expect(scale[1] / biasRadps[1]).toBeCloseTo((-15 * p.gyroScaleSpread ** 2) / p.gyroBiasSpreadRadps ** 2, 9);
    expect(learnt.flights).toBe(1);
  });

  it('lets what was known age by its drift until the next', () => {
    const d = p.drift;
    // Two usual times later, at the same spin: variance grows with time.
    const later = ageCalibration(
      { ...learnt, driftWeights: [0, 1, 0] },
      learnt.lastS + 2 * p.driftTimeS,
      learnt.lastSpinRadps,
    );
    const grown = (i: number) => later.ballAndSensor.covariance.get(i, i) - learnt.ballAndSensor.covariance.get(i, i);
    const sizes = [d.drag, d.liftGrowth, d.biasMps2, d.biasMps2, d.biasMps2, d.offsetM, d.offsetM, d.offsetM];
    for (const [i, size] of [...sizes, d.buoyancyMps2, d.dragSlope, d.dragBend, d.liftLag].entries())
      expect(grown(i)).toBeCloseTo(2 * size ** 2, 14);
    const gyro = (i: number) => later.gyro.covariance.get(i, i) - learnt.gyro.covariance.get(i, i);
    expect(gyro(0)).toBeCloseTo(2 * d.gyroScale ** 2, 14);
    expect(gyro(3)).toBeCloseTo(2 * d.gyroBiasRadps ** 2, 14);
    // What was handed in stays as it was.
    expect(start.ballAndSensor.covariance.get(0, 0)).toBe(p.dragSpread ** 2);
  });

  it('knows drag and lift less well at another spin', () => {
    // As learnt without spin, from which no law leads anywhere.
    const spinless = { ...learnt, lastSpinRadps: 0 };
    const same = ageCalibration(spinless, learnt.lastS, 0).ballAndSensor.covariance;
    const other = ageCalibration(spinless, learnt.lastS, 10).ballAndSensor.covariance;
    const turn = 10 * p.bySpin.radiusOverSpeedS;
    expect(other.get(0, 0) - same.get(0, 0)).toBeCloseTo((p.bySpin.drag * turn) ** 2, 12);
    expect(other.get(1, 1) - same.get(1, 1)).toBeCloseTo((p.bySpin.lift * turn) ** 2, 12);
    expect(other.get(2, 2)).toBe(same.get(2, 2));
  });

  it('carries the lift over to another spin by the law that its lag tells', () => {
    const spun = { ...learnt, lastSpinRadps: 10 };
    const { mean, covariance } = ageCalibration(spun, spun.lastS, 20).ballAndSensor;
    // A coefficient S / (a + c S): it grows by a / (a + c S)², and lags c S / (a + c S)² behind S-fold that.
    const [grows, lags] = [p.liftGrowth, p.liftLag];
    const a = grows / (grows + lags) ** 2;
    const c = lags / (grows + lags) ** 2;
    const growthAt = (spin: number) => a / (a + c * spin) ** 2;
    const lagAt = (spin: number) => (c * spin) / (a + c * spin) ** 2;
    expect(growthAt(1)).toBeCloseTo(p.liftGrowth, 12);
    expect(mean[1]).toBeCloseTo(growthAt(2), 12);
    expect(mean[11]).toBeCloseTo(lagAt(2), 12);
    // Back at the first spin all is as it was.
    const back = ageCalibration(ageCalibration(spun, spun.lastS, 20), spun.lastS, 10).ballAndSensor;
    expect(back.mean[1]).toBeCloseTo(p.liftGrowth, 12);
    expect(back.mean[11]).toBeCloseTo(p.liftLag, 12);
    // What is not known of the lag is not known of the growth elsewhere: by differences.
    const h = 1e-6;
    const moved = (i: number) => {
      const shifted = [...spun.ballAndSensor.mean];
      shifted[i] = (shifted[i] as number) + h;
      const ball = { ...spun.ballAndSensor, mean: shifted };
      return (
        ((ageCalibration({ ...spun, ballAndSensor: ball }, spun.lastS, 20).ballAndSensor.mean[1] as number) -
          (mean[1] as number)) /
        h
      );
    };
    const turn = 10 * p.bySpin.radiusOverSpeedS * p.bySpin.lift;
    const expected = (moved(1) * p.liftGrowthSpread) ** 2 + (moved(11) * p.liftLagSpread) ** 2 + turn ** 2;
    expect(covariance.get(1, 1)).toBeCloseTo(expected, 5);
  });

  it('teaches nothing of what no flight tells apart, however many there were', () => {
    // Each shows the sum of rate error and growth of the lift as seen at one spin, and nothing else.
    const turn: Vec3 = [0, -14, 0];
    const spreads: number[] = [];
    let calibration = start;
    for (let flight = 0; flight < 20; flight++) {
      const prior = rateCorrectionPrior(calibration, turn, [false, false, false]);
      const cross = rateWithBall(calibration, turn);
      const all = Matrix.zeros(15, 15);
      all.setSubMatrix(prior.covariance, 0, 0);
      all.setSubMatrix(calibration.ballAndSensor.covariance, 3, 3);
      all.setSubMatrix(cross, 0, 3);
      all.setSubMatrix(cross.transpose(), 3, 0);
      const mean = [...prior.mean, ...calibration.ballAndSensor.mean];
      const design = Matrix.zeros(1, 15);
      design.set(0, 1, 1);
      design.set(0, 4, 0.4);
      const fitted = condition({ mean, covariance: all }, design, [0.4 * p.liftGrowth], [1e-6]);
      calibration = learnFlight(calibration, {
        rateRadps: turn,
        clipped: [false, false, false],
        surprise: 1,
        learnt: fitted,
      });
      spreads.push(Math.sqrt(calibration.ballAndSensor.covariance.get(1, 1)));
    }
    const sum2 = (14 * p.gyroScaleSpread) ** 2 + p.gyroBiasSpreadRadps ** 2;
    // What scale and bias of the gyroscope leave open of the growth stays open for ever.
    const least = Math.sqrt(1 / (1 / p.liftGrowthSpread ** 2 + 0.16 / sum2));
    for (const spread of spreads) expect(spread).toBeGreaterThan(0.99 * least);
  });

  it('that surprises by much is believed the less', () => {
    const at = (surprise: number) => learnFlight(start, { ...lesson(start, rate, seen), surprise });
    const moved = (calibration: typeof start) => gyroMeans(calibration).biasRadps[1];
    expect(moved(at(7))).toBe(moved(learnt));
    expect(moved(at(14))).toBeCloseTo(0.25 * moved(learnt), 12);
    const open = variance(start, 4);
    expect(variance(at(14), 4)).toBeCloseTo(open + 0.25 * (variance(learnt, 4) - open), 14);
  });

  it('of which an axis was clipped teaches the gyroscope only by what ball and accelerometer tell of it', () => {
    const taught = learnFlight(start, { ...lesson(start, rate, seen), clipped: [false, true, false] });
    expect(taught.gyro.covariance.to1DArray()).toEqual(start.gyro.covariance.to1DArray());
    expect(taught.flights).toBe(1);
  });

  it('does not age before there was a first', () => {
    expect(ageCalibration(start, 1000, 5).ballAndSensor).toBe(start.ballAndSensor);
    expect(agedByDrift(start, 1000, 5)).toEqual([]);
  });

  it('teaches which drift and which slow noise the sensor has, and lets no possibility die', () => {
    let calibration = learnt;
    for (let i = 0; i < 200; i++) calibration = learnNoise(calibration, [0, 0, 0, 3, 0], [0, 0, 2]);
    expect(calibration.slowWeights[3]).toBeGreaterThan(0.9);
    expect(calibration.driftWeights[2]).toBeGreaterThan(0.9);
    expect(Math.min(...calibration.slowWeights, ...calibration.driftWeights)).toBeGreaterThan(1e-5);
    expect(calibration.slowWeights.reduce((a, b) => a + b, 0)).toBeCloseTo(1, 12);
  });

  it('makes the gyroscope better known after many flights of all axes, down to what drifts between', () => {
    let calibration = start;
    for (let flight = 0; flight < 30; flight++) {
      const turn: [number, number, number] = [0, 0, 0];
      turn[flight % 3] = flight % 2 === 0 ? 15 : -15;
      const prior = rateCorrectionPrior(calibration, turn, [false, false, false]);
      const truth = turn.map((w) => 0.008 * w + 0.01);
      const fitted = condition(prior, Matrix.eye(3, 3), truth, [1e-5, 1e-5, 1e-5]);
      calibration = learnFlight(calibration, lesson(calibration, turn, fitted));
    }
    const { scale, biasRadps } = gyroMeans(calibration);
    for (let axis = 0; axis < 3; axis++) {
      expect(Math.abs((scale[axis] as number) - 0.008)).toBeLessThan(2 * Math.sqrt(variance(calibration, axis)));
      expect(Math.abs((biasRadps[axis] as number) - 0.01)).toBeLessThan(2 * Math.sqrt(variance(calibration, 3 + axis)));
      expect(Math.sqrt(variance(calibration, axis))).toBeLessThan(p.gyroScaleSpread / 2);
    }
  });
});

describe('the spread of the offset before the first flight', () => {
  const spread = (calibration: typeof start) => Math.sqrt(calibration.ballAndSensor.covariance.get(5, 5));

  it('follows the steady force over the square of the rate', () => {
    // 18 m/s² at 15 rad/s is 0.08 m; four fifths of it.
    expect(spread(widenOffset(start, 18, 15))).toBeCloseTo(0.064, 12);
    expect(spread(widenOffset(start, 1, 15))).toBeCloseTo(p.offsetSpreadM, 12);
    expect(spread(widenOffset(start, 1000, 15))).toBeCloseTo(0.8 * 0.12, 12);
  });

  it('stays where the ball hardly turns or something is known already', () => {
    expect(widenOffset(start, 18, 2)).toBe(start);
    const later = { ...start, flights: 1 };
    expect(widenOffset(later, 18, 15)).toBe(later);
  });
});

describe('the lift before the first flight', () => {
  /** Lift coefficient over spin parameter, and its growth, at a multiple of the spin parameter at which the prior is meant: S / (1 + b S). */
  const atMultiple = (times: number) => {
    const lift = p.liftGrowth + p.liftLag;
    const bS = p.liftLag / p.liftGrowth;
    const ratio = (lift * (1 + bS)) / (1 + times * bS);
    return { ratio, growth: ratio / (1 + times * bS) };
  };

  it('is less for a ball that spins faster, as the law it is taken from says', () => {
    const [, growth = 0, ...rest] = ageCalibration(start, 5, 3 * p.liftSpinRadps).ballAndSensor.mean;
    const lag = rest.at(-1) as number;
    const law = atMultiple(3);
    expect(growth + lag).toBeCloseTo(law.ratio, 12);
    expect(growth).toBeCloseTo(law.growth, 12);
  });

  it('is as it is for a slower one, whose laws differ by less than is doubted', () => {
    expect(ageCalibration(start, 5, 6).ballAndSensor.mean).toEqual(start.ballAndSensor.mean);
  });
});

describe('a bias that wanders within a flight', () => {
  it('follows a straight line as steep as that of a random walk of the drift that is learnt', () => {
    const wandering = { ...start, driftWeights: [0, 0, 1] };
    const perRootS = ((p.driftScales[2] as number) * p.drift.biasMps2) / Math.sqrt(p.driftTimeS);
    // Least squares of a random walk q W(t) over T: variance of the slope 6/5 q² / T, here by a sum over drawn walks.
    let squares = 0;
    const draws = 4000;
    const steps = 50;
    const flightS = 0.9;
    let state = 1;
    const uniform = () => {
      state = (state * 48271) % 2147483647;
      return state / 2147483647;
    };
    for (let draw = 0; draw < draws; draw++) {
      let [walk, moment, spread] = [0, 0, 0];
      for (let i = 0; i < steps; i++) {
        const normal = Math.sqrt(-2 * Math.log(uniform())) * Math.cos(2 * Math.PI * uniform());
        walk += perRootS * Math.sqrt(flightS / steps) * normal;
        const t = ((i + 0.5) / steps - 0.5) * flightS;
        moment += t * walk;
        spread += t * t;
      }
      squares += (moment / spread) ** 2 / draws;
    }
    expect(biasSlope(wandering, flightS) / Math.sqrt(squares)).toBeGreaterThan(0.95);
    expect(biasSlope(wandering, flightS) / Math.sqrt(squares)).toBeLessThan(1.05);
    expect(biasSlope({ ...start, driftWeights: [1, 0, 0] }, flightS)).toBeLessThan(0.1 * biasSlope(wandering, flightS));
  });
});
