import { describe, expect, it } from 'vitest';
import { sampleFlag } from '../../src/foundation/imu-block.ts';
import { ballBodies, dragPerM, liftFactor, stillAir } from '../../src/simulate/ball-body.ts';
import { newState, setVector, stateLayout } from '../../src/simulate/ball-state.ts';
import { usualFloor } from '../../src/simulate/court.ts';
import {
  flightParameterNames,
  flightReadings,
  packFlight,
  plainFlight,
  unpackFlight,
} from '../../src/simulate/flight-readings.ts';
import { FreeMotion } from '../../src/simulate/free-motion.ts';
import { HandPhase } from '../../src/simulate/hand-phase.ts';
import { HeldSegment } from '../../src/simulate/held-segment.ts';
import { LowPass } from '../../src/simulate/low-pass.ts';
import { Random } from '../../src/simulate/random.ts';
import { Sensing } from '../../src/simulate/sensing.ts';
import {
  drawSensor,
  filterDelayS,
  innerRateHz,
  noiseFromDensity,
  perfectSensor,
  type SensorModel,
} from '../../src/simulate/sensor-model.ts';
import { switchesOn, switchNames } from '../../src/simulate/switches.ts';
import { multiplyQuat, rotateBack, type Vec3 } from '../../src/simulate/vectors.ts';

const g = 9.80665;
const at = (value: Vec3) => ({ value, slope: [0, 0, 0] as Vec3, bend: [0, 0, 0] as Vec3 });

/** A ball held still for a while, turned somehow. */
function held(durationS: number, rateRadps: Vec3 = [0, 0, 0]) {
  const turn = { value: rateRadps, slope: [0, 0, 0] as Vec3 };
  const { path, turning } = new HandPhase(at([0, 0, 1]), turn).to([0, 0, 1], durationS).turn(rateRadps).tracks();
  return new HeldSegment(0, path, turning, [1, 0, 0, 0]);
}

function read(
  sensor: SensorModel,
  durationS: number,
  rateRadps?: Vec3,
  names: readonly (typeof switchNames)[number][] = [],
) {
  return new Sensing(sensor, switchesOn(...names), new Random('test'), g).read([held(durationS, rateRadps)]);
}

function statistics(values: Float64Array, channel: number) {
  const n = values.length / 6;
  let mean = 0;
  for (let i = 0; i < n; i++) mean += (values[6 * i + channel] as number) / n;
  let variance = 0;
  let lag = 0;
  for (let i = 0; i < n; i++) {
    const d = (values[6 * i + channel] as number) - mean;
    variance += (d * d) / n;
    if (i > 0) lag += (d * ((values[6 * (i - 1) + channel] as number) - mean)) / n;
  }
  return { mean, deviation: Math.sqrt(variance), correlation: variance > 0 ? lag / variance : 0, n };
}

describe('a perfect sensor', () => {
  it('reads g upward and no turning from a ball at rest', () => {
    const { values, length, timeS } = read(perfectSensor(200), 0.5);
    // Half-open: the sample at 0.5 s belongs to what follows.
    expect(length).toBe(100);
    expect(timeS[99]).toBeCloseTo(0.495, 12);
    for (let i = 0; i < length; i++) {
      expect(values[6 * i + 2]).toBeCloseTo(g, 9);
      expect(Math.hypot(...values.subarray(6 * i, 6 * i + 2), ...values.subarray(6 * i + 3, 6 * i + 6))).toBeLessThan(
        1e-9,
      );
    }
  });

  it('reads the centripetal acceleration of its offset: 0.725 g at 3 Hz and 2 cm', () => {
    const sensor = { ...perfectSensor(200), offsetM: [0.02, 0, 0] as Vec3 };
    const { values } = read(sensor, 0.2, [0, 0, 6 * Math.PI]);
    expect((values[6 * 10] as number) / g).toBeCloseTo(-0.725, 3);
    expect(values[6 * 10 + 2]).toBeCloseTo(g, 9);
  });

  it('gives the same whether the motion comes whole or in pieces', () => {
    for (const filterCutoffShare of [null, 0.4]) {
      const sensor = drawSensor('pieces', { filterCutoffShare });
      const whole = new Sensing(sensor, switchesOn(), new Random('x'), g);
      const pieces = new Sensing(sensor, switchesOn(), new Random('x'), g);
      const from = newState();
      setVector(from, stateLayout.position, [0, 0, 2]);
      setVector(from, stateLayout.velocity, [4, 0, 3]);
      setVector(from, stateLayout.rate, [0, -12, 1]);
      const world = { ball: ballBodies[7], air: stillAir, court: { floor: usualFloor, hoop: null }, gravityMps2: g };
      const { segments } = new FreeMotion(world).run(from, 0, 3.5);
      expect(segments.length).toBeGreaterThan(3);
      const a = whole.read(segments).values;
      const b = segments.flatMap((segment) => [...pieces.read([segment]).values]);
      expect(b).toHaveLength(a.length);
      a.forEach((value, i) => {
        expect(b[i]).toBe(value);
      });
    }
  });
});

describe('the faults of a sensor', () => {
  const plain = {
    rateErrorSigma: 0,
    accelBiasSigmaMps2: 0,
    gyroBiasSigmaRadps: 0,
    accelScaleSigma: 0,
    gyroScaleSigma: 0,
    misalignmentSigmaRad: 0,
  };

  it('has white noise of the size asked for', () => {
    const sensor = { ...drawSensor('noise', { ...plain, quantise: false, filterCutoffShare: null, offsetM: [0, 0] }) };
    const { values } = read(sensor, 60);
    for (const [channel, sigma] of [0, 1, 2].flatMap(
      (i) =>
        [
          [i, 0.03],
          [i + 3, (0.07 * Math.PI) / 180],
        ] as const,
    )) {
      const { deviation, correlation, n } = statistics(values, channel);
      // Five standard errors: of a deviation 1/√(2n), of a correlation 1/√n.
      expect(Math.abs(deviation / sigma - 1)).toBeLessThan(5 / Math.sqrt(2 * n));
      expect(Math.abs(correlation)).toBeLessThan(5 / Math.sqrt(n));
    }
  });

  it('adds a step of quantisation, one twelfth of a scale squared', () => {
    const sensor = drawSensor('steps', {
      ...plain,
      filterCutoffShare: null,
      offsetM: [0, 0],
      accelScaleMps2PerLsb: 0.1,
    });
    const { values } = read(sensor, 60);
    for (let i = 0; i < values.length; i += 6) {
      const steps = (values[i] as number) / 0.1;
      expect(Math.abs(steps - Math.round(steps))).toBeLessThan(1e-9);
    }
  });

  it('turns noise density into noise of a sample', () => {
    expect(noiseFromDensity(0.003, 200)).toBeCloseTo(0.03, 12);
  });

  it('ends at its ranges and says so', () => {
    const sensor = { ...perfectSensor(200), gyroRangeRadps: 30, accelRangeMps2: 9 };
    const { values, clipped } = read(sensor, 0.1, [0, 40, 0]);
    expect(values[4]).toBe(30);
    expect(values[2]).toBe(9);
    expect(clipped[0]).toBe(sampleFlag.accelClipped | sampleFlag.gyroClipped);
    const free = read({ ...sensor, gyroRangeRadps: 41, accelRangeMps2: 10 }, 0.1, [0, 40, 0]);
    expect([...free.clipped].every((bits) => bits === 0)).toBe(true);
  });

  it('never leaves int16, whatever the range says', () => {
    const sensor = {
      ...perfectSensor(200),
      quantise: true,
      gyroRangeRadps: 1e9,
      accelRangeMps2: 1e9,
      gyroScaleRadpsPerLsb: 0.001,
    };
    const { values, clipped } = read(sensor, 0.1, [0, 40, 0]);
    expect(values[4]).toBeCloseTo(32.767, 9);
    expect((clipped[0] as number) & sampleFlag.gyroClipped).toBe(sampleFlag.gyroClipped);
  });

  it('draws biases, scales and offsets of the size asked for', () => {
    let square = 0;
    let scaleSquare = 0;
    const n = 400;
    for (let i = 0; i < n; i++) {
      const sensor = drawSensor(i);
      for (const bias of sensor.accelBiasMps2) square += bias * bias;
      for (const axis of [0, 1, 2] as const) scaleSquare += (sensor.gyroGain[axis][axis] - 1) ** 2;
      const offset = Math.hypot(...sensor.offsetM);
      expect(offset).toBeGreaterThanOrEqual(0.008 - 1e-12);
      expect(offset).toBeLessThanOrEqual(0.02 + 1e-12);
    }
    // A normal cut at 2.5 deviations keeps 0.954 of its deviation.
    expect(Math.abs(Math.sqrt(square / (3 * n)) / (0.25 * 0.954) - 1)).toBeLessThan(0.1);
    expect(Math.abs(Math.sqrt(scaleSquare / (3 * n)) / (0.01 * 0.954) - 1)).toBeLessThan(0.1);
  });

  it.each(
    switchNames.filter((name) => ['biasDrift', 'gyroAccelSensitivity', 'colouredNoise', 'rattle'].includes(name)),
  )('%s changes the readings, and only when it is on', (name) => {
    const sensor = drawSensor('switch');
    const off = read(sensor, 20).values;
    expect(read(sensor, 20).values).toEqual(off);
    const on = read(sensor, 20, [0, 0, 0], [name]).values;
    let largest = 0;
    on.forEach((value, i) => {
      largest = Math.max(largest, Math.abs(value - (off[i] as number)));
    });
    expect(largest).toBeGreaterThan(0);
    expect(largest).toBeLessThan(5);
  });
});

describe('the filter of a sensor', () => {
  it('passes rest at once, halves the power at its cut-off and delays slow motion as told', () => {
    const rate = 4000;
    const filter = new LowPass(80, rate);
    const input = new Float64Array(6).fill(9.8);
    const output = new Float64Array(6);
    filter.settle(input);
    filter.step(input, output);
    expect(output[3]).toBeCloseTo(9.8, 9);

    const gain = (hz: number) => {
      const own = new LowPass(80, rate);
      let real = 0;
      let imaginary = 0;
      const steps = rate;
      for (let i = 0; i < 2 * steps; i++) {
        input.fill(Math.sin((2 * Math.PI * hz * i) / rate));
        own.step(input, output);
        if (i < steps) continue;
        real += (2 / steps) * (output[0] as number) * Math.sin((2 * Math.PI * hz * i) / rate);
        imaginary += (2 / steps) * (output[0] as number) * Math.cos((2 * Math.PI * hz * i) / rate);
      }
      return { size: Math.hypot(real, imaginary), delayS: -Math.atan2(imaginary, real) / (2 * Math.PI * hz) };
    };
    expect(gain(80).size).toBeCloseTo(Math.SQRT1_2, 5);
    const sensor = { ...perfectSensor(200), filter: { kind: 'butterworth2', cutoffHz: 80 } as const };
    expect(innerRateHz(sensor)).toBe(rate);
    expect(gain(1).delayS).toBeCloseTo(filterDelayS(sensor), 6);
    expect(() => new LowPass(2000, rate)).toThrow('cutoffHz = 2000 Hz is outside 0..2000 Hz');
  });

  it('makes a slow swing late by the delay told', () => {
    const swing = (sensor: SensorModel) => {
      const phase = new HandPhase(at([0, 0, 1]), { value: [0, 0, 0], slope: [0, 0, 0] }).to([0, 0, 1], 0.4);
      const { path, turning } = phase.turn([0, 8, 0], 0.2).turn([0, 0, 0], 0.4).tracks();
      return new Sensing(sensor, switchesOn(), new Random(1), g).read([
        new HeldSegment(0, path, turning, [1, 0, 0, 0]),
      ]);
    };
    const plain = perfectSensor(833);
    const slow = { ...plain, filter: { kind: 'butterworth2', cutoffHz: 60 } as const };
    const centre = (run: ReturnType<typeof swing>) => {
      let sum = 0;
      let weighted = 0;
      for (let i = 0; i < run.length; i++) {
        sum += run.values[6 * i + 4] as number;
        weighted += (run.values[6 * i + 4] as number) * (run.timeS[i] as number);
      }
      return weighted / sum;
    };
    // The swing has all but died down at the end; what is cut off there is far below a tenth of a millisecond.
    expect(centre(swing(slow)) - centre(swing(plain))).toBeCloseTo(filterDelayS(slow), 4);
  });
});

describe('the noise-free flight as a function of parameters', () => {
  it('agrees with the simulated flight read by a perfect sensor, in every direction', () => {
    const random = new Random('flight');
    const ball = ballBodies[7];
    const offsetM: Vec3 = [0.01, -0.015, 0.004];
    const sensorToBall = random.rotation();
    const sensor = { ...perfectSensor(200), sensorToBall, offsetM };
    const world = { ball, air: stillAir, court: { floor: usualFloor, hoop: null }, gravityMps2: g };
    const from = newState();
    setVector(from, stateLayout.position, [0, 0, 2]);
    setVector(from, stateLayout.velocity, [4.6, 0.4, 5.5]);
    setVector(from, stateLayout.attitude, random.rotation());
    setVector(from, stateLayout.rate, [2, -13, 3]);
    const { segments } = new FreeMotion(world).run(from, 0, 1);
    const run = new Sensing(sensor, switchesOn(), new Random(1), g).read(segments);
    const mid = newState();
    (segments[0] as (typeof segments)[number]).stateAt(0.5, mid);
    const three = (i: number): Vec3 => [mid[i] as number, mid[i + 1] as number, mid[i + 2] as number];
    const q = [mid[9] as number, mid[10] as number, mid[11] as number, mid[12] as number] as const;
    const readings = flightReadings(
      {
        ...plainFlight,
        velocityMps: three(stateLayout.velocity),
        spinRadps: three(stateLayout.rate),
        attitude: multiplyQuat(q, sensorToBall),
        dragPerM: dragPerM(ball, stillAir),
        liftFactor: liftFactor(ball, stillAir),
        spinDecayPerS: stillAir.spinDecayPerS,
        offsetM,
        gravityMps2: g,
      },
      Float64Array.from(run.timeS, (t) => t - 0.5),
    );
    for (let i = 0; i < run.length; i++) {
      for (const axis of [0, 1, 2]) {
        expect(
          Math.abs((readings.accelMps2[3 * i + axis] as number) - (run.values[6 * i + axis] as number)),
        ).toBeLessThan(1e-6);
        expect(
          Math.abs((readings.gyroRadps[3 * i + axis] as number) - (run.values[6 * i + 3 + axis] as number)),
        ).toBeLessThan(1e-7);
      }
    }
  });

  it('packs and unpacks, and every parameter but gravity’s hidden part moves a reading', () => {
    const base = {
      ...plainFlight,
      velocityMps: [4.5, 0.1, 0.4] as Vec3,
      offsetM: [0.01, 0.002, -0.01] as Vec3,
      spinRadps: [1, -12, 2] as Vec3,
    };
    const vector = packFlight(base);
    expect(vector).toHaveLength(flightParameterNames.length);
    expect(unpackFlight(vector, base)).toEqual(base);
    expect(() => unpackFlight(new Float64Array(3), base)).toThrow('29 parameters, got 3');
    const timesS = Float64Array.from({ length: 40 }, (_, i) => (i - 20) / 40);
    const still = flightReadings(base, timesS);
    flightParameterNames.forEach((name, i) => {
      const moved = vector.slice();
      moved[i] = (moved[i] as number) + 1e-3;
      const readings = flightReadings(unpackFlight(moved, base), timesS);
      let change = 0;
      still.accelMps2.forEach((value, k) => {
        change = Math.max(
          change,
          Math.abs(value - (readings.accelMps2[k] as number)),
          Math.abs((still.gyroRadps[k] as number) - (readings.gyroRadps[k] as number)),
        );
      });
      expect(change, name).toBeGreaterThan(1e-8);
    });
  });

  it('reads the velocity of a throw without air exactly', () => {
    const timesS = Float64Array.of(-0.4, -0.1, 0, 0.3);
    const { velocityMps, accelMps2 } = flightReadings({ ...plainFlight, dragPerM: 0, liftFactor: 0 }, timesS);
    timesS.forEach((t, i) => {
      expect(velocityMps[3 * i]).toBeCloseTo(4.5, 12);
      expect(velocityMps[3 * i + 2]).toBeCloseTo(-g * t, 12);
    });
    expect(Math.max(...accelMps2.map(Math.abs))).toBeLessThan(1e-12);
    // Turned by a right angle about y, what pointed along x reads along sensor z.
    const turned = flightReadings(
      { ...plainFlight, turnRad: [0, Math.PI / 2, 0], spinRadps: [0, 0, 0] },
      Float64Array.of(0),
    );
    const expected = rotateBack([Math.SQRT1_2, 0, Math.SQRT1_2, 0], [-0.0223 * 4.5 ** 2, 0, 0]);
    expected.forEach((value, axis) => {
      expect(turned.accelMps2[axis]).toBeCloseTo(value, 9);
    });
  });
});
