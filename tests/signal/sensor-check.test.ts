import { describe, expect, it } from 'vitest';
import type { ImuBlock, SensorTraits } from '../../src/foundation/imu-block.ts';
import { checkCodes, SensorCheck, type SensorCheckReport, type StreamCounts } from '../../src/signal/sensor-check.ts';
import type { Vec3 } from '../../src/signal/vec3.ts';
import { type HandTurnedOptions, handTurned, inPieces } from '../helpers/hand-turned-sensor.ts';

const traits: SensorTraits = {
  nominalRateHz: 200,
  accelRangeMps2: 16 * 9.80665,
  gyroRangeRadps: (2000 * Math.PI) / 180,
  filterDelayS: 0,
};
const counts: StreamCounts = {
  sampleRateHz: 200,
  sampleRateStandardErrorHz: 0.01,
  gapCount: 0,
  missingSamples: 0,
  longestGapS: 0,
  corruptCount: 0,
  duplicateCount: 0,
  restartCount: 0,
  clockDriftPpm: 3,
  clockDriftStandardErrorPpm: 50,
};
const times = (values: Vec3, factor: number): Vec3 => [factor * values[0], factor * values[1], factor * values[2]];

function check(blocks: readonly ImuBlock[], more: Partial<StreamCounts> = {}, its: Partial<SensorTraits> = {}) {
  const sensorCheck = new SensorCheck({ ...traits, ...its });
  for (const block of blocks) sensorCheck.push(block);
  return sensorCheck.finish({ ...counts, ...more });
}

const codes = ({ findings }: SensorCheckReport) => findings.map(({ code }) => code);

describe('a sensor that is as it says', () => {
  it.each([1, 2, 3, 4, 5, 6])('has nothing found against it (seed %i)', (seed) => {
    const report = check(inPieces(handTurned({ seed }), 5));
    expect(report.findings).toEqual([]);
    expect(report.turns!.axes).toEqual([1, 2, 3]);
    expect(Math.abs(report.turns!.gain - 1)).toBeLessThan(0.05);
    expect(Math.abs(report.rest!.forceMps2 - 9.80665)).toBeLessThan(0.02);
    // 0.03 m/s² and 0.0012 rad/s were put in; a window of 100 samples knows a spread to 7 %, the middle of six better.
    for (const noise of report.rest!.accelNoiseMps2) expect(Math.abs(noise / 0.03 - 1)).toBeLessThan(0.15);
    for (const noise of report.rest!.gyroNoiseRadps!) expect(Math.abs(noise / 0.0012 - 1)).toBeLessThan(0.15);
    for (const [axis, bias] of [0.01, -0.02, 0.015].entries()) {
      expect(Math.abs(report.rest!.gyroBiasRadps![axis]! - bias)).toBeLessThan(0.0005);
    }
  });

  it('is judged alike however the stream is cut', () => {
    const block = handTurned({ seed: 9 });
    expect(check(inPieces(block, 1))).toEqual(check([block]));
  });

  it('is judged at any rate', () => {
    for (const rateHz of [50, 104, 416, 833]) {
      const report = check(inPieces(handTurned({ rateHz }), 10), { sampleRateHz: rateHz }, { nominalRateHz: rateHz });
      expect(codes(report)).toEqual([]);
    }
  });
});

describe('wrong units and scales are named', () => {
  const degrees = 180 / Math.PI;
  it.each<[string, HandTurnedOptions['reads'] & object, string, string]>([
    ['g for m/s²', (a, w) => [times(a, 1 / 9.80665), w], 'accel-scale', 'in g where m/s² is stated'],
    ['m/s² for g', (a, w) => [times(a, 9.80665), w], 'accel-scale', 'in m/s² where g is stated'],
    ['milli-g for g', (a, w) => [times(a, 1000), w], 'accel-scale', 'in milli-g where g is stated'],
    [
      'half the range',
      (a, w) => [times(a, 0.5), w],
      'accel-scale',
      'the scale is 2 times what is stated, as with another range',
    ],
    ['a quarter more', (a, w) => [times(a, 1.25), w], 'accel-scale', 'the scale seems to be 0.8 times'],
    ['rad/s for deg/s', (a, w) => [a, times(w, 1 / degrees)], 'gyro-scale', 'in rad/s where deg/s is stated'],
    ['deg/s for rad/s', (a, w) => [a, times(w, degrees)], 'gyro-scale', 'in deg/s where rad/s is stated'],
    ['twice the range', (a, w) => [a, times(w, 2)], 'gyro-scale', 'another range of the chip'],
    ['a fifth less', (a, w) => [a, times(w, 0.8)], 'gyro-scale', 'the scale is not what is stated'],
    ['all turns the wrong way', (a, w) => [a, times(w, -1)], 'gyro-axes', 'all turns the wrong way round'],
    ['z the wrong way', (a, [x, y, z]) => [a, [x, y, -z]], 'gyro-axes', "the gyroscope's axes 1 2 -3"],
    ['x and y changed over', (a, [x, y, z]) => [a, [y, x, z]], 'gyro-axes', "the gyroscope's axes 2 1 3"],
    ['turned by a quarter', (a, [x, y, z]) => [a, [y, -x, z]], 'gyro-axes', "the gyroscope's axes -2 1 3"],
  ])('%s', (_, reads, code, words) => {
    const accelNoise = code === 'accel-scale' ? { accelNoiseMps2: 0.0005 } : {};
    const small = words.startsWith('in rad/s') ? { gyroBiasRadps: [0, 0, 0] as const, gyroNoiseRadps: 1e-5 } : {};
    const report = check(inPieces(handTurned({ reads, ...accelNoise, ...small }), 7));
    // Values that are too large may besides lie beyond the range, which says the same once more.
    expect(codes(report).filter((each) => each !== 'beyond-range')).toEqual([code]);
    expect(report.findings[0]!.weight).toBe('wrong');
    expect(report.findings[0]!.message).toContain(words);
  });

  it('a gyroscope that is not there but sends zeros', () => {
    const block = handTurned({ gyroNoiseRadps: 0, gyroBiasRadps: [0, 0, 0], reads: (a) => [a, [0, 0, 0]] });
    expect(codes(check([block]))).toContain('axis-stuck');
  });

  it('an axis that never changes, but for one that merely lies still', () => {
    const noNoise = { accelNoiseMps2: 0, gyroNoiseRadps: 0 };
    const turned = handTurned({ ...noNoise, reads: ([x, y], w) => [[x, y, 3], w] });
    expect(codes(check([turned]))).toContain('axis-stuck');
    expect(codes(check([handTurned({ ...noNoise, turnS: 0 })]))).toEqual(['not-turned']);
  });

  it('times that are wrong between accelerometer and gyroscope', () => {
    const block = handTurned({ fastestRadps: 4 });
    const late = Math.round(0.6 * 200);
    const gyroRadps = block.gyroRadps!.slice();
    gyroRadps.copyWithin(3 * late, 0);
    expect(codes(check([{ ...block, gyroRadps }]))).toContain('gyro-disagrees');
  });
});

describe('a good sensor in a rough hand', () => {
  it('is never called wrong; where the hand pushes too hard, nothing is said of its turns', () => {
    let unsaid = 0;
    for (let seed = 1; seed <= 5; seed++) {
      for (const handMps2 of [0.8, 1.2, 3]) {
        for (const fastestRadps of [2.5, 5, 10]) {
          const report = check([handTurned({ seed, handMps2, fastestRadps, turnS: 12 })]);
          expect(report.findings.filter(({ weight }) => weight === 'wrong')).toEqual([]);
          if (report.turns === null) unsaid += 1;
        }
      }
    }
    expect(unsaid).toBeGreaterThan(10);
  });
});

describe('what else a person should know', () => {
  it.each<[string, Partial<StreamCounts>, string, string]>([
    ['another rate', { sampleRateHz: 104 }, 'rate-off', 'wrong'],
    ['lost samples', { missingSamples: 400, gapCount: 3 }, 'samples-lost', 'note'],
    ['a damaged packet', { corruptCount: 1 }, 'packets-damaged', 'note'],
    ['many damaged packets', { corruptCount: 200 }, 'packets-damaged', 'wrong'],
  ])('%s', (_, more, code, weight) => {
    expect(check([handTurned()], more).findings).toMatchObject([{ code, weight }]);
  });

  it('noise, bias, clipping, readings beyond the range', () => {
    const noisy = { accelNoiseMps2: 0.1, gyroNoiseRadps: 0.03 };
    expect(codes(check([handTurned(noisy)]))).toEqual(['noisy']);
    expect(codes(check([handTurned({ gyroBiasRadps: [0.3, 0, 0] })]))).toContain('bias-large');
    const block = handTurned();
    block.flags[2000] = 1;
    expect(codes(check([block]))).toEqual(['clipped']);
    expect(codes(check([block], {}, { gyroRangeRadps: 1 }))).toEqual(['beyond-range', 'clipped']);
  });

  it('that it was never still, never turned, or sent nothing', () => {
    expect(codes(check([handTurned({ restS: 0 })]))).toEqual(['never-still']);
    expect(codes(check([handTurned({ turnS: 0 })]))).toEqual(['not-turned']);
    expect(codes(check([]))).toEqual(['no-data']);
    const flat = check([handTurned({ turnS: 0 })]);
    expect(flat.turns).toBeNull();
  });

  it('is not said of a sensor that was turned about one axis alone', () => {
    const block = handTurned({ reads: (a, w) => [a, w], fastestRadps: 0.02 });
    expect(check([block]).turns).toBeNull();
  });

  it('of an accelerometer alone is said without a gyroscope', () => {
    const report = check([{ ...handTurned(), gyroRadps: null }]);
    expect(report.findings).toEqual([]);
    expect(report.gyroRadps).toBeNull();
    expect(report.rest!.gyroBiasRadps).toBeNull();
  });
});

describe('the table of codes', () => {
  it('has a sentence for each', () => {
    for (const sentence of Object.values(checkCodes)) expect(sentence.length).toBeGreaterThan(10);
  });
});
