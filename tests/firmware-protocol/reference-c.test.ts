import { execFileSync } from 'node:child_process';
import { readFileSync } from 'node:fs';
import path from 'node:path';
import fc from 'fast-check';
import { beforeAll, describe, expect, it } from 'vitest';
import { decodeNotification, encodeNotification, notificationSampleCount } from '../../src/protocol/notification.ts';
import { NotificationParser } from '../../src/protocol/notification-parser.ts';
import { drawPracticePlan } from '../../src/simulate/draw-plan.ts';
import { encodePractice } from '../../src/simulate/encoded-practice.ts';
import {
  buildReference,
  cCompiler,
  HarnessInput,
  referenceSources,
  runReference,
  strictFlags,
} from '../helpers/firmware-reference.ts';
import { projectRoot } from '../helpers/project-root.ts';
import { tempFolder } from '../helpers/temp-folder.ts';
import { fuzzControl } from '../proofs/firmware-fuzz.ts';
import { vectors, type WireDescription } from '../protocol/vectors.ts';

const folder = tempFolder();
const skipped = cCompiler === null ? ' (skipped: no C compiler)' : '';

interface ControlVectors {
  readonly refusedRequests: readonly { readonly name: string; readonly hex: string; readonly status: string }[];
  readonly requests: readonly { readonly name: string; readonly hex: string }[];
}
const controlVectors: ControlVectors = JSON.parse(
  readFileSync(path.join(projectRoot, 'firmware-protocol', 'control-vectors.json'), 'utf8'),
);

/** Little-endian numbers, one after another. */
function packed(...fields: readonly (readonly ['u8' | 'i8' | 'u16' | 'i16' | 'u32', number])[]): Uint8Array {
  const bytes = new Uint8Array(4 * fields.length);
  const view = new DataView(bytes.buffer);
  let at = 0;
  for (const [type, value] of fields) {
    if (type === 'u8') view.setUint8(at, value);
    else if (type === 'i8') view.setInt8(at, value);
    else if (type === 'u16') view.setUint16(at, value, true);
    else if (type === 'i16') view.setInt16(at, value, true);
    else view.setUint32(at, value, true);
    at += Number(type.slice(1)) / 8;
  }
  return bytes.subarray(0, at);
}

const startBytes = (axes: number, mtu: number, rateMilliHz: number, start: number) =>
  packed(['u8', axes], ['u16', mtu], ['u32', rateMilliHz], ['u8', start]);
const rowBytes = (tick: number, row: Int16Array) =>
  packed(['u32', tick], ...Array.from(row, (raw) => ['i16', raw] as const));

function descriptionBytesOf(wire: WireDescription): Uint8Array {
  const placements = ['unspecified', 'ball', 'wrist-forearm', 'back-of-hand'];
  return Buffer.concat([
    Buffer.from(wire.sensorId, 'hex'),
    packed(
      ['u32', wire.tickUnitPs],
      ['u32', wire.accelRateMilliHz],
      ['u32', wire.gyroRateMilliHz],
      ['u32', wire.accelScaleNanoG],
      ['u32', wire.gyroScaleNanoDps],
      ['u32', wire.accelRangeMilliG],
      ['u32', wire.gyroRangeMilliDps],
      ['u32', wire.filterDelayUs],
      ...[...wire.accelAxes, ...wire.gyroAxes].map((axis) => ['i8', axis] as const),
      ['u8', placements.indexOf(wire.placement)],
      ...wire.firmwareVersion.map((part) => ['u8', part] as const),
    ),
  ]);
}

describe.skipIf(cCompiler === null)(`the C reference${skipped}`, () => {
  let program = '';
  beforeAll(() => {
    program = buildReference(folder);
  });

  it('compiles without a warning, optimised, as a small chip would have it', () => {
    for (const source of referenceSources()) {
      const flags = [...strictFlags, '-Wsign-conversion', '-Wshadow', '-Wvla', '-Wfloat-conversion', '-Os'];
      execFileSync(cCompiler as string, [...flags, '-c', source, '-o', path.join(folder, 'alone.o')]);
    }
  });

  it('uses no allocation, no library function and no floating point', () => {
    for (const source of referenceSources()) {
      const text = readFileSync(source, 'utf8');
      expect(text).not.toMatch(/\b(?:malloc|calloc|realloc|free|alloca|float|double)\b/);
      expect([...text.matchAll(/#include <(.*)>/g)].map(([, name]) => name)).toEqual([]);
    }
  });

  it('has the checksums of the catalogue', () => {
    const { text, crc16, crc8 } = vectors.checksums;
    const [both] = runReference(program, new HarnessInput().add('K', new TextEncoder().encode(text)));
    expect(both).toEqual(packed(['u16', crc16], ['u8', crc8]));
  });

  it.each(vectors.notifications)('packs the vector: $name', ({ bytes, frame }) => {
    const { axes } = frame;
    const rows = frame.samples.length / axes;
    // A rate and an MTU at which a packet takes just these rows.
    const mtu = frame.form === 'short' ? 23 : 19 + 2 * axes * rows;
    const input = new HarnessInput()
      .add('P', startBytes(axes, mtu, 40_000 * rows, frame.startNumber ?? 0))
      .add('T', packed(['u16', frame.sequence], ['u32', frame.sampleIndex]));
    for (let row = 0; row < rows; row++) {
      const samples = Int16Array.from(frame.samples.slice(axes * row, axes * (row + 1)));
      input.add('R', rowBytes((frame.tick + 1201 * row) % 2 ** 32, samples));
    }
    const answers = runReference(program, input);
    expect(answers.slice(0, -1).every((answer) => answer.length === 0)).toBe(true);
    expect(answers.at(-1)).toEqual(bytes);
  });

  it.each(vectors.descriptions.filter(({ bytes }) => bytes.length === 68))(
    'writes the description: $name',
    ({ bytes, wire }) => {
      expect(runReference(program, new HarnessInput().add('D', descriptionBytesOf(wire)))).toEqual([bytes]);
    },
  );

  it.each(controlVectors.refusedRequests)('refuses as $status: $name', ({ hex, status }) => {
    const [, reply] = runReference(
      program,
      new HarnessInput()
        .add('I', Uint8Array.of(0))
        .add('C')
        .add('W', new Uint8Array(0))
        .add('W', Buffer.from(hex, 'hex')),
    );
    const order = ['done', 'malformed', 'unknown-version', 'unknown-request', 'impossible-value'];
    expect(reply?.[3]).toBe(order.indexOf(status));
    expect(reply?.length).toBe(20);
  });

  it('packs any stream as the TypeScript encoder does: any rate, MTU, start, flushes and lost rows', () => {
    const steps = fc.array(
      fc.oneof(
        { weight: 20, arbitrary: fc.record({ kind: fc.constant('row' as const), seed: fc.nat(65_535) }) },
        { weight: 1, arbitrary: fc.constant({ kind: 'flush' as const }) },
        {
          weight: 1,
          arbitrary: fc.record({ kind: fc.constant('skip' as const), rows: fc.integer({ min: 1, max: 90 }) }),
        },
      ),
      { maxLength: 120 },
    );
    const streams = fc.record({
      axes: fc.constantFrom(3 as const, 6 as const),
      mtu: fc.oneof(fc.constantFrom(23, 24, 25, 30, 31, 185, 247, 512), fc.integer({ min: 23, max: 300 })),
      rateMilliHz: fc.integer({ min: 1_000, max: 10_000_000 }),
      startNumber: fc.nat(255),
      steps,
    });
    fc.assert(
      fc.property(streams, ({ axes, mtu, rateMilliHz, startNumber, steps: taken }) => {
        const input = new HarnessInput().add('P', startBytes(axes, mtu, rateMilliHz, startNumber));
        const expected: Uint8Array[] = [];
        const short = mtu < 19 + 2 * axes;
        const perPacket = notificationSampleCount(rateMilliHz / 1e3, mtu, axes);
        const periodTicks = 1e9 / rateMilliHz;
        let waiting: number[] = [];
        let sequence = 0;
        let index = 0;
        let taken_ = 0;
        let firstTick = 0;
        const close = (): Uint8Array => {
          const rows = waiting.length / axes;
          const bytes = encodeNotification({
            form: short ? 'short' : 'full',
            startNumber: short ? null : startNumber,
            sequence,
            tick: firstTick,
            sampleIndex: short ? sequence : index,
            axes,
            samples: Int16Array.from(waiting),
          });
          waiting = [];
          sequence = (sequence + 1) % 65_536;
          index += rows;
          return bytes;
        };
        for (const step of taken) {
          if (step.kind === 'row') {
            const row = Int16Array.from({ length: axes }, (_, axis) => step.seed * (axis + 1));
            const tick = Math.round(taken_ * periodTicks) % 2 ** 32;
            if (waiting.length === 0) firstTick = tick;
            waiting.push(...row);
            taken_ += 1;
            input.add('R', rowBytes(tick, row));
            expected.push(waiting.length === perPacket * axes ? close() : new Uint8Array(0));
          } else if (step.kind === 'flush') {
            input.add('F');
            expected.push(waiting.length > 0 ? close() : new Uint8Array(0));
          } else {
            const lost = step.rows + waiting.length / axes;
            waiting = [];
            index += lost;
            taken_ += step.rows;
            sequence = (sequence + Math.ceil(lost / perPacket)) % 65_536;
            input.add('S', packed(['u32', step.rows]));
          }
        }
        expect(runReference(program, input)).toEqual(expected);
      }),
      { numRuns: 60 },
    );
  });

  it('counts lost rows so that the reader says how many are missing', () => {
    const input = new HarnessInput().add('P', startBytes(6, 247, 416_000, 9));
    const row = (at: number) => input.add('R', rowBytes(2404 * at, Int16Array.of(at, 0, 2049, 0, 0, 0)));
    for (let at = 0; at < 43; at++) row(at);
    input.add('F').add('S', packed(['u32', 57]));
    for (let at = 100; at < 140; at++) row(at);
    const parser = new NotificationParser({ sensorName: 'reference' });
    const events = runReference(program, input)
      .filter((bytes) => bytes.length > 0)
      .flatMap((bytes) => parser.push(bytes, null));
    events.push(...parser.finish());
    const rows = events.flatMap((event) =>
      event.kind === 'frame' ? Array.from(event.frame.samples).filter((_, k) => k % 6 === 0) : [],
    );
    expect(rows).toEqual([...Array(43).keys(), ...Array.from({ length: 40 }, (_, k) => 100 + k)]);
    const gaps = events.filter((event) => event.kind !== 'frame');
    expect(gaps).toMatchObject([{ kind: 'gap', missingSamples: 57 }]);
  });

  it('packs a practice of the simulated shooter into the same bytes as the simulator does', () => {
    const seed = 'reference in C';
    const { chunks, sensor } = encodePractice({ seed, acts: drawPracticePlan(seed, { shots: 1, decoys: 1 }) });
    const sent = [...chunks].flatMap(({ notifications }) => notifications.map(({ bytes }) => bytes));
    const start = startBytes(6, 247, Math.round(1e3 * sensor.rateHz), sensor.link.startNumber);
    const input = new HarnessInput().add('P', start);
    let next = 0;
    for (const bytes of sent) {
      const decoded = decodeNotification(bytes);
      if (decoded.kind !== 'frame') throw new Error(decoded.problem);
      const { sampleIndex, samples, tick } = decoded.frame;
      // What the simulated radio lost is lost here as well.
      if (sampleIndex > next) input.add('S', packed(['u32', sampleIndex - next]));
      for (let at = 0; at < samples.length; at += 6) input.add('R', rowBytes(tick, samples.subarray(at, at + 6)));
      next = sampleIndex + samples.length / 6;
    }
    expect(sent.length).toBeGreaterThan(100);
    expect(runReference(program, input).filter((bytes) => bytes.length > 0)).toEqual(sent);
  });

  it('answers any writes, in any state, as the model in TypeScript does', () => {
    const figures = fuzzControl(program, 20_000, 20_261);
    expect(figures.different).toBe(0);
    expect(figures.writes).toBe(20_000);
    // All of it was reached, or the agreement would say little.
    for (const count of Object.values(figures.statuses)) expect(count).toBeGreaterThan(20);
    expect(Object.keys(figures.statuses)).toHaveLength(7);
  });
});
