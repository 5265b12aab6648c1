import { readdirSync, readFileSync } from 'node:fs';
import path from 'node:path';
import { describe, expect, it } from 'vitest';
import { type ErrorCode, errorCodes, SeamwiseError } from '../../src/foundation/errors.ts';
import { resolveParams } from '../../src/foundation/parameters.ts';
import { encodeControlRequest } from '../../src/protocol/control-message.ts';
import { deriveColumnConversion, framesToImuBlock } from '../../src/protocol/imu-columns.ts';
import { encodeNotification } from '../../src/protocol/notification.ts';
import { decodeSensorDescription, encodeSensorDescription } from '../../src/protocol/sensor-description.ts';
import { projectRoot } from '../helpers/project-root.ts';
import { ballDescription, fullFrame } from '../protocol/made-frames.ts';
import { vectors } from '../protocol/vectors.ts';

const table = {
  cutoffHz: {
    default: 5,
    unit: 'Hz',
    min: 0.01,
    max: 4000,
    meaning: '',
    small: '',
    large: '',
    source: '',
  },
} as const;

function malformed(code: ErrorCode): Uint8Array {
  return vectors.malformedDescriptions.find((vector) => vector.error === code)!.bytes;
}

/** A way to each code of foundation and protocol, and a piece of the sentence that a person must find in it. */
const waysTo: Partial<Record<ErrorCode, readonly [() => unknown, string]>> = {
  'parameter-unknown': [() => resolveParams(table, { cutofHz: 1 } as object), 'expected one of cutoffHz'],
  'parameter-outside': [() => resolveParams(table, { cutoffHz: -1 }), 'cutoffHz = -1 Hz is outside 0.01..4000 Hz'],
  'notification-field': [
    () => encodeNotification({ ...fullFrame, sequence: 65_536 }),
    'sequence of a notification: expected a whole number from 0 to 65535, came 65536',
  ],
  'description-field': [
    () => encodeSensorDescription({ ...ballDescription, sensorId: 'ball-2' }),
    'sensorId of a sensor description: expected 32 lower-case hex digits, came ball-2',
  ],
  'description-length': [() => decodeSensorDescription(malformed('description-length')), 'expected 68 bytes, 0 came'],
  'description-version': [() => decodeSensorDescription(malformed('description-version')), 'expected version 1'],
  'description-reserved': [
    () => decodeSensorDescription(malformed('description-reserved')),
    'expected 0 in reserved byte 3, came 1',
  ],
  'description-value': [
    () => decodeSensorDescription(malformed('description-value')),
    'byte 20, tick unit: expected 1000 to 4000000000, came 0',
  ],
  'description-checksum': [() => decodeSensorDescription(malformed('description-checksum')), 'read it again'],
  'control-field': [
    () => encodeControlRequest({ kind: 'identify', durationS: 61 }, 1),
    'durationS of a control message: expected a whole number from 0 to 60, came 61',
  ],
  'frame-axes': [
    () => {
      const conversion = deriveColumnConversion({
        ...ballDescription,
        gyroRateHz: null,
        gyroScaleRadpsPerLsb: null,
        gyroRangeRadps: null,
      });
      return framesToImuBlock(conversion, [{ frame: fullFrame, firstTimeS: 0, periodS: 0.01, gapBefore: false }]);
    },
    'expected 3 numbers a row as the sensor description says, came 6',
  ],
};

describe('the table of error codes', () => {
  it('has a test for every code, here or beside its thrower', () => {
    const folder = path.join(projectRoot, 'tests');
    const tests = readdirSync(folder, { recursive: true, encoding: 'utf8' })
      .filter((file) => file.endsWith('.test.ts'))
      .map((file) => readFileSync(path.join(folder, file), 'utf8'));
    const untested = Object.keys(errorCodes).filter((code) => !tests.some((text) => text.includes(`'${code}'`)));
    expect(tests.length).toBeGreaterThan(1);
    expect(untested).toEqual([]);
  });

  for (const [code, [way, piece]] of Object.entries(waysTo)) {
    it(`throws ${code} with a sentence`, () => {
      let caught: unknown;
      try {
        way();
      } catch (error) {
        caught = error;
      }
      expect(caught).toBeInstanceOf(SeamwiseError);
      expect((caught as SeamwiseError).code).toBe(code);
      expect((caught as SeamwiseError).message).toContain(piece);
    });
  }
});
