import { readFileSync } from 'node:fs';
import path from 'node:path';
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { standardGravityMps2 } from '../../src/foundation/constants.ts';
import {
  type ControlAnswer,
  type ControlRequest,
  type ControlState,
  type ControlStatus,
  controlStates,
  controlStatuses,
  decodeControlAnswer,
  decodeControlRequest,
  encodeControlAnswer,
  encodeControlRequest,
} from '../../src/protocol/control-message.ts';
import { type Placement, placements } from '../../src/protocol/sensor-description.ts';
import { projectRoot } from '../helpers/project-root.ts';

interface WireRequest {
  readonly kind: ControlRequest['kind'];
  readonly number: number;
  readonly rateMilliHz: number;
  readonly accelRangeMilliG: number;
  readonly gyroRangeMilliDps: number;
  readonly placement: Placement;
  readonly durationS: number;
}

interface WireAnswer {
  readonly requestCode: number;
  readonly number: number;
  readonly status: ControlStatus;
  readonly state: ControlState;
  readonly placement: Placement;
  readonly rateMilliHz: number;
  readonly accelRangeMilliG: number;
  readonly gyroRangeMilliDps: number;
}

interface Vectors {
  readonly requests: readonly { readonly name: string; readonly hex: string; readonly request: WireRequest }[];
  readonly refusedRequests: readonly { readonly name: string; readonly hex: string; readonly status: ControlStatus }[];
  readonly answers: readonly { readonly name: string; readonly hex: string; readonly answer: WireAnswer }[];
  readonly malformedAnswers: readonly { readonly name: string; readonly hex: string }[];
}

const vectors: Vectors = JSON.parse(
  readFileSync(path.join(projectRoot, 'firmware-protocol', 'control-vectors.json'), 'utf8'),
);
const bytesOf = (hex: string) => new Uint8Array(Buffer.from(hex, 'hex'));
const accelMps2 = (milliG: number) => (milliG / 1e3) * standardGravityMps2;
const gyroRadps = (milliDps: number) => ((milliDps / 1e3) * Math.PI) / 180;

function requestOf(wire: WireRequest): ControlRequest {
  switch (wire.kind) {
    case 'set-rate':
      return { kind: 'set-rate', rateHz: wire.rateMilliHz / 1e3 };
    case 'set-ranges':
      return {
        kind: 'set-ranges',
        accelRangeMps2: wire.accelRangeMilliG === 0 ? null : accelMps2(wire.accelRangeMilliG),
        gyroRangeRadps: wire.gyroRangeMilliDps === 0 ? null : gyroRadps(wire.gyroRangeMilliDps),
      };
    case 'set-placement':
      return { kind: 'set-placement', placement: wire.placement };
    case 'identify':
      return { kind: 'identify', durationS: wire.durationS };
    default:
      return { kind: wire.kind };
  }
}

function answerOf(wire: WireAnswer): ControlAnswer {
  return {
    requestCode: wire.requestCode === 0 ? null : wire.requestCode,
    requestNumber: wire.number,
    status: wire.status,
    state: wire.state,
    placement: wire.placement,
    rateHz: wire.rateMilliHz / 1e3,
    accelRangeMps2: accelMps2(wire.accelRangeMilliG),
    gyroRangeRadps: wire.gyroRangeMilliDps === 0 ? null : gyroRadps(wire.gyroRangeMilliDps),
  };
}

/** The same values, numbers to within rounding of their last bits. */
function closeTo<T extends object>(values: T): T {
  return Object.fromEntries(
    Object.entries(values).map(([key, value]) => [
      key,
      typeof value === 'number' && !Number.isInteger(value) ? expect.closeTo(value, 9) : value,
    ]),
  ) as T;
}

describe('requests', () => {
  it.each(vectors.requests)('encode and decode: $name', ({ hex, request }) => {
    expect(Buffer.from(encodeControlRequest(requestOf(request), request.number)).toString('hex')).toBe(hex);
    expect(decodeControlRequest(bytesOf(hex))).toEqual({
      kind: 'request',
      request: closeTo(requestOf(request)),
      requestNumber: request.number,
    });
  });

  it.each(vectors.refusedRequests)('are refused as $status: $name', ({ hex, status }) => {
    expect(decodeControlRequest(bytesOf(hex))).toMatchObject({ kind: 'refused', status });
  });

  it.each<[string, ControlRequest, number, string]>([
    ['a number of 0', { kind: 'start' }, 0, 'requestNumber'],
    ['a number of 256', { kind: 'start' }, 256, 'requestNumber'],
    ['a rate of NaN', { kind: 'set-rate', rateHz: Number.NaN }, 1, 'rateHz'],
    ['a rate of 0', { kind: 'set-rate', rateHz: 0 }, 1, 'rateHz'],
    ['no range at all', { kind: 'set-ranges', accelRangeMps2: 0, gyroRangeRadps: null }, 1, 'accelRangeMps2'],
    ['an endless range', { kind: 'set-ranges', accelRangeMps2: null, gyroRangeRadps: 1 / 0 }, 1, 'gyroRangeRadps'],
    ['half a second', { kind: 'identify', durationS: 0.5 }, 1, 'durationS'],
    ['an unknown place', { kind: 'set-placement', placement: 'foot' as Placement }, 1, 'placement'],
    ['an unknown kind', { kind: 'erase' } as unknown as ControlRequest, 1, 'kind'],
  ])('cannot be made of %s', (_, request, number, field) => {
    expect(() => encodeControlRequest(request, number)).toThrow(
      expect.objectContaining({ code: 'control-field', message: expect.stringContaining(field) }),
    );
  });

  it('never throw, whatever the bytes, and are believed only with a right checksum', () => {
    fc.assert(
      fc.property(fc.uint8Array({ maxLength: 40 }), (bytes) => {
        const decoded = decodeControlRequest(bytes);
        if (decoded.kind === 'refused') return;
        expect(encodeControlRequest(decoded.request, decoded.requestNumber)).toEqual(bytes);
      }),
      { numRuns: 2000 },
    );
  });
});

describe('answers', () => {
  it.each(vectors.answers)('encode and decode: $name', ({ hex, answer }) => {
    expect(Buffer.from(encodeControlAnswer(answerOf(answer))).toString('hex')).toBe(hex);
    expect(decodeControlAnswer(bytesOf(hex))).toEqual({ kind: 'answer', answer: closeTo(answerOf(answer)) });
  });

  it.each(vectors.malformedAnswers)('are corrupt: $name', ({ hex }) => {
    expect(decodeControlAnswer(bytesOf(hex))).toMatchObject({ kind: 'corrupt' });
  });

  it('have every status and every state among the vectors', () => {
    expect(new Set(vectors.answers.map(({ answer }) => answer.status))).toEqual(new Set(controlStatuses));
    expect(new Set(vectors.answers.map(({ answer }) => answer.state))).toEqual(new Set(controlStates));
    expect(new Set(vectors.answers.map(({ answer }) => answer.placement))).toEqual(new Set(placements));
  });

  it('are corrupt after any flip of one or two bits', () => {
    const good = bytesOf(vectors.answers[1]!.hex);
    fc.assert(
      fc.property(fc.uniqueArray(fc.nat(8 * good.length - 1), { minLength: 1, maxLength: 2 }), (bits) => {
        const bytes = good.slice();
        for (const bit of bits) bytes[bit >> 3]! ^= 1 << (bit & 7);
        expect(decodeControlAnswer(bytes).kind).toBe('corrupt');
      }),
    );
  });

  it('never throw, whatever the bytes', () => {
    fc.assert(fc.property(fc.uint8Array({ maxLength: 40 }), (bytes) => void decodeControlAnswer(bytes)));
  });
});
