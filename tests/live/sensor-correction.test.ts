import { expect, it } from 'vitest';
import type { ImuBlock } from '../../src/foundation/imu-block.ts';
import { type ChainEvent, SensorChain } from '../../src/live/notification-chain.ts';
import type { SensorCorrection } from '../../src/live/sensor-correction.ts';
import { encodeNotification } from '../../src/protocol/notification.ts';
import { correctAccel } from '../../src/signal/six-positions.ts';
import { ballDescription, plainStream, streamFrame } from '../protocol/made-frames.ts';

const correction: SensorCorrection = {
  accelBiasMps2: [0.3, -0.2, 0.1],
  accelScale: [1.01, 0.98, 1.02],
  gyro: { biasRadps: [0.01, -0.02, 0.03], scale: [1.01, 0.99, 1.005] },
};
const description = { ...ballDescription, accelRateHz: 190, gyroRateHz: 190 };
const packets = Array.from({ length: 60 }, (_, at) => {
  const frame = streamFrame(plainStream, at);
  const samples = Int16Array.from(frame.samples);
  if (at === 30) samples[0] = 32_767;
  return encodeNotification({ ...frame, samples });
});

function blocks(change: { correction?: SensorCorrection | null }): { blocks: ImuBlock[]; clippedShare: number } {
  const chain = new SensorChain({ sensorName: 'ball', description, ballSettings: null, ...change });
  const events: ChainEvent[] = packets.flatMap((bytes, at) => chain.push(bytes, at * 0.025));
  events.push(...chain.finish());
  return {
    blocks: events.flatMap((event) => (event.kind === 'block' ? [event.block] : [])),
    clippedShare: chain.summary().clippedShare,
  };
}

it('corrects every sample as the calibration says, and leaves times, flags and counts as they were read', () => {
  const read = blocks({});
  const corrected = blocks({ correction });
  expect(corrected.clippedShare).toBe(read.clippedShare);
  expect(read.clippedShare).toBeGreaterThan(0);
  expect(corrected.blocks).toHaveLength(read.blocks.length);
  read.blocks.forEach((raw, k) => {
    const block = corrected.blocks[k] as ImuBlock;
    expect(block.timeS).toEqual(raw.timeS);
    expect(block.flags).toEqual(raw.flags);
    for (let at = 0; at < raw.length; at++) {
      const reading = [...raw.accelMps2.subarray(3 * at, 3 * at + 3)] as [number, number, number];
      const { accelBiasMps2: biasMps2, accelScale: scale } = correction;
      const zero = [0, 0, 0] as const;
      const calibration = { biasMps2, scale, biasStandardErrorMps2: zero, scaleStandardError: zero, residualsMps2: [] };
      const expected = correctAccel(calibration, reading);
      for (let axis = 0; axis < 3; axis++) {
        expect(block.accelMps2[3 * at + axis]).toBeCloseTo(expected[axis] as number, 12);
        const { biasRadps, scale: gyroScale } = correction.gyro as NonNullable<SensorCorrection['gyro']>;
        const rate = ((raw.gyroRadps as Float64Array)[3 * at + axis] as number) - (biasRadps[axis] as number);
        expect(block.gyroRadps?.[3 * at + axis]).toBeCloseTo(rate / (gyroScale[axis] as number), 12);
      }
    }
  });
});

it('leaves a gyroscope alone that was not calibrated, and everything without a calibration', () => {
  const read = blocks({}).blocks;
  const accelOnly = blocks({ correction: { ...correction, gyro: null } }).blocks;
  expect(accelOnly.map(({ gyroRadps }) => gyroRadps)).toEqual(read.map(({ gyroRadps }) => gyroRadps));
  expect(accelOnly.map(({ accelMps2 }) => accelMps2)).not.toEqual(read.map(({ accelMps2 }) => accelMps2));
  expect(blocks({ correction: null }).blocks).toEqual(read);
});
