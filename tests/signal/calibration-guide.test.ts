import { describe, expect, it } from 'vitest';
import { CalibrationGuide, type CalibrationResult, type GuideEvent } from '../../src/signal/calibration-guide.ts';
import { correctAccel, fitSixPositions, gravityError, sideUp } from '../../src/signal/six-positions.ts';
import { norm, type Vec3 } from '../../src/signal/vec3.ts';
import { inPieces } from '../helpers/hand-turned-sensor.ts';
import { type Act, calibrationActs, noErrors, type SensorErrors, scripted } from '../helpers/scripted-sensor.ts';

const faulty: SensorErrors = {
  ...noErrors,
  accelBiasMps2: [0.3, -0.45, 0.2],
  accelScale: [1.02, 0.985, 1.01],
  gyroBiasRadps: [0.02, -0.03, 0.01],
  gyroScale: [1.025, 0.98, 0.99],
};

function guide(acts: readonly Act[], errors = faulty, { samples = 5, hasGyro = true, rateHz = 200, seed = 1 } = {}) {
  const calibration = new CalibrationGuide({ hasGyro });
  const block = scripted(acts, errors, rateHz, seed);
  const events = inPieces(hasGyro ? block : { ...block, gyroRadps: null }, samples).flatMap((piece) => [
    ...calibration.push(piece),
  ]);
  return { events, calibration };
}

function resultOf(events: readonly GuideEvent[]): CalibrationResult {
  const done = events.find((event) => event.kind === 'done');
  if (done?.kind !== 'done') throw new Error(`expected an end, got ${JSON.stringify(events)}`);
  return done.result;
}

describe('a whole calibration', () => {
  it.each([1, 2, 3, 4, 5])('finds bias and scale of both sensors, with errors that hold (seed %i)', (seed) => {
    const { events } = guide(calibrationActs(), faulty, { seed });
    expect(events.filter(({ kind }) => kind === 'refused' || kind === 'turn-refused')).toEqual([]);
    const { accel, gyro, checkErrorsMps2 } = resultOf(events);
    for (let axis = 0; axis < 3; axis++) {
      const biasError = accel.biasMps2[axis]! - faulty.accelBiasMps2[axis]!;
      expect(Math.abs(biasError)).toBeLessThan(4 * accel.biasStandardErrorMps2[axis]!);
      expect(Math.abs(biasError)).toBeLessThan(0.03);
      expect(Math.abs(accel.scale[axis]! - faulty.accelScale[axis]!)).toBeLessThan(4 * accel.scaleStandardError[axis]!);
      expect(Math.abs(gyro!.biasRadps[axis]! - faulty.gyroBiasRadps[axis]!)).toBeLessThan(3e-4);
      expect(Math.abs(gyro!.scale[axis]! - faulty.gyroScale[axis]!)).toBeLessThan(4 * gyro!.scaleStandardError[axis]!);
      expect(Math.abs(gyro!.scale[axis]! - faulty.gyroScale[axis]!)).toBeLessThan(0.002);
    }
    for (const error of checkErrorsMps2) expect(Math.abs(error)).toBeLessThan(0.03);
    for (const residual of gyro!.residualsRad) expect(Math.abs(residual)).toBeLessThan(0.02);
  });

  it('says what is done and what is missing, step by step', () => {
    const { events, calibration } = guide(calibrationActs());
    expect(events.map(({ kind }) => kind)).toEqual([
      ...Array.from({ length: 6 }, () => 'position'),
      'accel-fitted',
      'check-position',
      'check-position',
      ...Array.from({ length: 6 }, () => 'turn'),
      'done',
    ]);
    expect(events[0]).toMatchObject({ side: '+z', missing: ['+x', '-x', '+y', '-y', '-z'] });
    expect(calibration.step).toBe('done');
  });

  it('goes the same way however the stream is cut', () => {
    expect(guide(calibrationActs(), faulty, { samples: 1 }).events).toEqual(
      guide(calibrationActs(), faulty, { samples: 999 }).events,
    );
  });

  it('ends after the check positions without a gyroscope', () => {
    const { events } = guide(calibrationActs(), faulty, { hasGyro: false });
    expect(resultOf(events).gyro).toBeNull();
    expect(events.at(-1)!.kind).toBe('done');
  });
});

describe('what is not done as it should be is refused with a word', () => {
  const sides = calibrationActs().slice(0, 15);
  const afterSides = calibrationActs().slice(0, 15);
  const refusals = (acts: readonly Act[]) => guide(acts).events.flatMap((event) => ('why' in event ? [event.why] : []));

  it('a side twice, between two sides', () => {
    expect(refusals([{ lieS: 3 }, { lay: [0.1, 0, 1], inS: 1 }, { lieS: 3 }])).toEqual(['side +z has been up already']);
    expect(refusals([{ lay: [1, 1, 1], inS: 1 }, { lieS: 3 }])[0]).toContain('between two sides');
  });

  it('a check position that is one of the six', () => {
    expect(refusals([...sides.slice(0, 11), { lay: [1, 0, 0], inS: 1.5 }, { lieS: 3 }])[0]).toContain(
      'as it did before',
    );
  });

  it('turns that are not whole, tilted, or the same way twice', () => {
    const flat: Act[] = [...afterSides, { lay: [0, 0, 1], inS: 1.5 }, { lieS: 3 }];
    expect(refusals([...flat, { turnDegrees: 200, inS: 4 }, { lieS: 3 }])[0]).toContain('expected 360°');
    expect(refusals([...flat, { turnDegrees: 360, inS: 4 }, { lay: [0.25, 0, 1], inS: 1 }, { lieS: 3 }])[0]).toContain(
      'does not lie as before',
    );
    expect(
      refusals([...flat, { turnDegrees: 360, inS: 4 }, { lieS: 3 }, { turnDegrees: 360, inS: 4 }, { lieS: 3 }]),
    ).toEqual(['turn it the other way round now']);
  });

  it('a turn with lost samples or beyond the range', () => {
    const acts: Act[] = [
      ...afterSides,
      { lay: [0, 0, 1], inS: 1.5 },
      { lieS: 3 },
      { turnDegrees: 360, inS: 4 },
      { lieS: 3 },
    ];
    for (const [flag, words] of [
      [4, 'lost'],
      [2, 'faster'],
    ] as const) {
      const block = scripted(acts, faulty);
      // In the middle of the turn.
      block.flags[block.length - 5 * 200] = flag;
      const calibration = new CalibrationGuide({ hasGyro: true });
      const events = inPieces(block, 10).flatMap((piece) => [...calibration.push(piece)]);
      expect(events.at(-1)).toMatchObject({ kind: 'turn-refused', why: expect.stringContaining(words) });
    }
  });

  it('a hand that does not hold still is no position', () => {
    const shaky = { ...faulty, accelNoiseMps2: 0.4 };
    expect(guide(calibrationActs(), shaky).events).toEqual([]);
  });
});

describe('fitSixPositions', () => {
  const readings: Vec3[] = [];
  for (const axis of [0, 1, 2]) {
    for (const sign of [1, -1]) {
      const reading: [number, number, number] = [0.3, -0.2, 0.1];
      reading[axis]! += sign * 9.80665 * 1.03;
      readings.push(reading);
    }
  }

  it('finds what was put in, and corrects with it', () => {
    const calibration = fitSixPositions(readings)!;
    // The priors hold back by the square of 0.01 m/s² over theirs: less than a thousandth.
    for (const [axis, bias] of [0.3, -0.2, 0.1].entries()) expect(calibration.biasMps2[axis]).toBeCloseTo(bias, 3);
    for (const factor of calibration.scale) expect(factor).toBeCloseTo(1.03, 3);
    expect(norm(correctAccel(calibration, readings[3]!))).toBeCloseTo(9.80665, 2);
    expect(
      Math.abs(gravityError(calibration, [0.3 + 1.03 * 5.66187, -0.2 + 1.03 * 5.66187, 0.1 + 1.03 * 5.66187])),
    ).toBeLessThan(0.01);
  });

  it('wants all six sides', () => {
    expect(fitSixPositions(readings.slice(1))).toBeNull();
    expect(sideUp([0, 0, 0])).toBeNull();
    expect(sideUp([1, 1, 1])).toBeNull();
    expect(sideUp([0.2, -9, 0.5])).toBe('-y');
  });
});
