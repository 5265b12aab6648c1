import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import type { BoardProfile } from '../../src/protocol/device-profile.ts';
import { decodeNotification, type NotificationFrame } from '../../src/protocol/notification.ts';
import { NotificationParser } from '../../src/protocol/notification-parser.ts';
import { parseDeviceProfile } from '../../src/protocol/parse-device-profile.ts';
import { describeBoard, ProfileTranslator, type TranslatedPacket } from '../../src/protocol/profile-translator.ts';
import { boardProfile, profileDocuments } from '../helpers/shipped-profiles.ts';
import { uniformFrom } from '../signal/simulated-sensor-clock.ts';

const sensorId = '00112233445566778899aabbccddeeff';
const g = 9.80665;
const degree = Math.PI / 180;

function frameOf({ bytes }: TranslatedPacket): NotificationFrame {
  const decoded = decodeNotification(bytes);
  if (decoded.kind !== 'frame') throw new Error(decoded.problem);
  return decoded.frame;
}

/** Rows of all packets in SI, as the description says, six numbers a row (three without gyroscope). */
function rowsOf(profile: BoardProfile, packets: readonly TranslatedPacket[]): number[][] {
  const description = describeBoard(profile, sensorId);
  return packets.flatMap((packet) => {
    const { axes, samples } = frameOf(packet);
    const rows: number[][] = [];
    for (let at = 0; at < samples.length; at += axes) {
      const row = Array.from(samples.subarray(at, at + axes));
      rows.push(
        row.map((raw, k) => raw * (k < 3 ? description.accelScaleMps2PerLsb : description.gyroScaleRadpsPerLsb!)),
      );
    }
    return rows;
  });
}

const int16le = (...values: number[]) => new Uint8Array(Int16Array.from(values).buffer);
const float32le = (...values: number[]) => new Uint8Array(Float32Array.from(values).buffer);
const text = (line: string) => new TextEncoder().encode(line);

describe('the layouts of the example profiles, bytes in', () => {
  it('nine int16: 1 g up, 90 °/s about x, the compass passed over', () => {
    const profile = boardProfile('nine-int16-fixed-point');
    // 1024 is 0x0400, 2880 = 90 × 32 is 0x0b40.
    const bytes = Uint8Array.from([0, 0, 0, 0, 0x00, 0x04, 0x40, 0x0b, 0, 0, 0, 0, 1, 2, 3, 4, 5, 6]);
    const packets = new ProfileTranslator(profile, 7).push(0, bytes, 1000);
    expect(frameOf(packets[0]!)).toMatchObject({ form: 'full', startNumber: 7, sequence: 0, sampleIndex: 0, axes: 6 });
    expect(Array.from(frameOf(packets[0]!).samples)).toEqual([0, 0, 1024, 2880, 0, 0]);
    const [row] = rowsOf(profile, packets);
    // The scale of the description is a whole number of nano-g.
    expect(Math.abs(row![2]! - g)).toBeLessThan(1024 * 0.51e-9 * g);
    expect(row![3]).toBeCloseTo(90 * degree, 9);
  });

  it('three int16: milli-g, no gyroscope, ±2 g', () => {
    const profile = boardProfile('three-int16-milli-g');
    const packets = new ProfileTranslator(profile, 0).push(0, int16le(-20, 35, 1001), 1000);
    expect(frameOf(packets[0]!)).toMatchObject({ axes: 3 });
    expect(rowsOf(profile, packets)[0]!.map((value) => value / g)).toEqual([
      expect.closeTo(-0.02, 9),
      expect.closeTo(0.035, 9),
      expect.closeTo(1.001, 9),
    ]);
    const description = describeBoard(profile, sensorId);
    expect(description.gyroRateHz).toBeNull();
    expect(description.accelRangeMps2).toBeCloseTo(2 * g, 9);
    expect(profile.startUp[0]!.bytes).toEqual(Uint8Array.of(20, 0));
  });

  it('float32 triples: two characteristics become one row', () => {
    const profile = boardProfile('float32-triples');
    const translator = new ProfileTranslator(profile, 0);
    expect(translator.push(0, float32le(0.5, -0.25, 9.81), 1000)).toEqual([]);
    const [row] = rowsOf(profile, translator.push(1, float32le(1, -2, 3), 1000.004));
    const accelStep = (4 * g) / 32_767;
    const gyroStep = 34.906585 / 32_767;
    for (const [k, value] of [0.5, -0.25, 9.81, 1, -2, 3].entries()) {
      expect(Math.abs(row![k]! - value)).toBeLessThanOrEqual(0.5001 * (k < 3 ? accelStep : gyroStep));
    }
  });

  it('six float32, as many rows as fit', () => {
    const profile = boardProfile('six-float32');
    const packets = new ProfileTranslator(profile, 0).push(
      0,
      float32le(0, 0, 1, 10, 20, 30, 0, 1, 0, 40, 50, 60),
      1000,
    );
    const rows = rowsOf(profile, packets);
    expect(rows).toHaveLength(2);
    expect(rows[1]![1]).toBeCloseTo(g, 2);
    expect(rows[1]![5]).toBeCloseTo(60 * degree, 3);
  });

  it('time and six float32: the tick is the time in microseconds', () => {
    const profile = boardProfile('time-six-float32');
    const translator = new ProfileTranslator(profile, 0);
    const bytes = (ms: number) =>
      Uint8Array.of(...new Uint8Array(Uint32Array.of(ms).buffer), ...float32le(0, 0, 1, 0, 0, 0));
    const frames = [100, 110, 119, 129].flatMap((ms) => translator.push(0, bytes(ms), 1000 + ms / 1e3)).map(frameOf);
    expect(frames.map(({ tick }) => tick)).toEqual([100_000, 110_000, 119_000, 129_000]);
    expect(frames.map(({ sequence }) => sequence)).toEqual([0, 1, 2, 3]);
  });

  it('lines of text that stand in several notifications', () => {
    const profile = boardProfile('csv-text');
    const translator = new ProfileTranslator(profile, 0);
    const stream = '0.98,1,2,3\r\n1000,0.01,-0.02,1.00,5,-6.5,7\r\n1020,0,0,1e0,0,0,0\r\n';
    const packets: TranslatedPacket[] = [];
    for (let at = 0; at < stream.length; at += 20)
      packets.push(...translator.push(0, text(stream.slice(at, at + 20)), 1));
    const rows = rowsOf(profile, packets);
    // The first line may be the rest of one; it is not believed, though it could be read.
    expect(rows).toHaveLength(2);
    expect(Math.abs(rows[0]![4]! + 6.5 * degree)).toBeLessThan((0.51 * 2000 * degree) / 32_767);
    expect(packets.map((packet) => frameOf(packet).tick)).toEqual([1_000_000, 1_020_000]);
    expect(translator.counts()).toEqual({ problems: {}, unpaired: 0 });
  });

  it.each([...profileDocuments()].filter(([, document]) => (document as { format: string }).format === 'board'))(
    '%s never throws on any bytes, and what comes out is the stream format',
    (_, document) => {
      const profile = parseDeviceProfile(document) as BoardProfile;
      const pushes = fc.array(
        fc.record({
          stream: fc.nat(2),
          bytes: fc.oneof(
            fc.uint8Array({ maxLength: 244 }),
            fc.string({ unit: 'grapheme-ascii', maxLength: 200 }).map((line) => text(`${line}\n`)),
          ),
          stepS: fc.oneof(fc.constant(0.02), fc.double({ min: -1, max: 100, noNaN: true })),
        }),
        { maxLength: 40 },
      );
      fc.assert(
        fc.property(pushes, fc.nat(255), (taken, startNumber) => {
          const translator = new ProfileTranslator(profile, startNumber);
          let hostTimeS = 1e9;
          for (const { stream, bytes, stepS } of taken) {
            hostTimeS += stepS;
            for (const packet of translator.push(stream, bytes, hostTimeS)) {
              expect(decodeNotification(packet.bytes).kind).toBe('frame');
            }
          }
        }),
        { numRuns: 150 },
      );
    },
  );
});

/** A board with all that a profile can say: big-endian, strides, signs, another order, sequence, tick. */
const crooked = parseDeviceProfile({
  profileVersion: 1,
  id: 'crooked',
  title: 'Crooked',
  format: 'board',
  match: { namePrefixes: ['crooked'] },
  nominalRateHz: 200,
  filterDelayS: 0.002,
  placement: 'ball',
  streams: [
    {
      mode: 'binary',
      service: '1234',
      characteristic: '1235',
      rowOffset: 6,
      rowBytes: 16,
      rows: 2,
      sequence: { type: 'uint8', offset: 1 },
      tick: { type: 'uint16', order: 'big', offset: 2, unitS: 0.0001 },
      values: [
        {
          quantity: 'accel',
          type: 'int16',
          order: 'big',
          offset: 2,
          step: 4,
          axes: ['-z', 'x', '-y'],
          scale: 2,
          unit: 'mg',
          range: 8000,
        },
        { quantity: 'gyro', type: 'int8', offset: 0, step: 4, axes: ['y', '-x', 'z'], scale: 2, unit: 'deg/s' },
      ],
    },
  ],
}) as BoardProfile;

function crookedBytes(sequence: number, tick: number): Uint8Array {
  const bytes = new Uint8Array(6 + 32);
  const view = new DataView(bytes.buffer);
  view.setUint8(1, sequence % 256);
  view.setUint16(2, tick % 65_536);
  for (const row of [0, 1]) {
    const at = 6 + 16 * row;
    for (const [k, raw] of [500, -100, 200].entries()) view.setInt16(at + 2 + 4 * k, raw + row);
    for (const [k, raw] of [3, 4, -5].entries()) view.setInt8(at + 4 * k, raw);
  }
  return bytes;
}

describe('a board with everything crooked', () => {
  it('is put straight', () => {
    const rows = rowsOf(crooked, new ProfileTranslator(crooked, 0).push(0, crookedBytes(0, 0), 1));
    // Of 500, −100, 200 in 2 mg: −z 500, x −100, −y 200; of 3, 4, −5 in 2 °/s: y 3, −x 4, z −5.
    expect(rows[0]!.slice(0, 3).map((value) => value / g)).toEqual([
      expect.closeTo(-0.2, 9),
      expect.closeTo(-0.4, 9),
      expect.closeTo(-1, 9),
    ]);
    expect(rows[0]!.slice(3).map((value) => value / degree)).toEqual([
      expect.closeTo(-8, 6),
      expect.closeTo(6, 6),
      expect.closeTo(-10, 6),
    ]);
    expect(rows[1]![0]! / g).toBeCloseTo(-0.198, 9);
    expect(describeBoard(crooked, sensorId)).toMatchObject({ placement: 'ball', filterDelayS: 0.002 });
    // A number of one byte ends at 127.
    expect(describeBoard(crooked, sensorId).gyroRangeRadps! / degree).toBeCloseTo(254, 6);
  });

  it('keeps count over the ends of sequence and tick, and over lost notifications', () => {
    const translator = new ProfileTranslator(crooked, 0);
    const parser = new NotificationParser({ sensorName: 'crooked' });
    const lost = new Set([300, 301, 302, 700]);
    const events = [];
    for (let at = 250; at < 900; at++) {
      if (lost.has(at)) continue;
      for (const { bytes } of translator.push(0, crookedBytes(at, 100 * at), at / 100))
        events.push(...parser.push(bytes, null));
    }
    const frames = events.filter((event) => event.kind === 'frame');
    expect(frames).toHaveLength(650 - lost.size);
    expect(frames.at(-1)!.index).toBe(2 * 649);
    expect(
      frames.every(({ index, frame }) => (frame.tick - frames[0]!.frame.tick) >>> 0 === (index / 2) * 10_000),
    ).toBe(true);
    const others = events.filter((event) => event.kind !== 'frame');
    expect(others).toMatchObject([
      { kind: 'gap', missingSamples: 6 },
      { kind: 'gap', missingSamples: 2 },
    ]);
  });
});

describe('a board with a tick and no sequence', () => {
  const profile = boardProfile('time-six-float32');
  const row = (ms: number) =>
    Uint8Array.of(...new Uint8Array(Uint32Array.of(ms >>> 0).buffer), ...float32le(0, 0, 1, 0, 0, 0));

  it('shows lost rows by its tick, at a rate that is not the nominal one, over the end of the counter', () => {
    const translator = new ProfileTranslator(profile, 0);
    const parser = new NotificationParser({ sensorName: 'ticked' });
    const lost = new Set([400, 401, 402, 403, 404, 900]);
    const events = [];
    // 109.46 Hz where 104 Hz are stated; milliseconds are rounded.
    for (let at = 0; at < 1200; at++) {
      if (lost.has(at)) continue;
      const ms = 2 ** 32 - 5000 + Math.round((1000 * at) / 109.46);
      for (const { bytes } of translator.push(0, row(ms), at / 109.46)) events.push(...parser.push(bytes, null));
    }
    const frames = events.filter((event) => event.kind === 'frame');
    expect(frames).toHaveLength(1200 - lost.size);
    expect(frames.at(-1)!.index).toBe(1199);
    expect(events.filter((event) => event.kind !== 'frame')).toMatchObject([
      { kind: 'gap', missingSamples: 5 },
      { kind: 'gap', missingSamples: 1 },
    ]);
  });

  it('begins a new start where its time runs backward', () => {
    const translator = new ProfileTranslator(profile, 255);
    const frames = [5000, 5010, 5020, 3, 13].flatMap((ms) => translator.push(0, row(ms), 1)).map(frameOf);
    expect(frames.map(({ startNumber }) => startNumber)).toEqual([255, 255, 255, 0, 0]);
    expect(frames.map(({ sequence }) => sequence)).toEqual([0, 1, 2, 0, 1]);
  });

  it('counts a notification that cannot be read as lost', () => {
    const translator = new ProfileTranslator(profile, 0);
    const bad = row(20);
    bad.set(float32le(Number.NaN), 4);
    const frames = [row(0), row(10), bad, Uint8Array.of(1, 2), row(40)]
      .flatMap((bytes, at) => translator.push(0, bytes, at / 100))
      .map(frameOf);
    expect(frames.map(({ sampleIndex }) => sampleIndex)).toEqual([0, 1, 4]);
    expect(translator.counts().problems).toEqual({ 'not-a-number': 1, 'too-short': 1 });
  });
});

describe('a board without any clock', () => {
  const profile = boardProfile('six-float32');
  const row = float32le(0, 0, 1, 0, 0, 0);

  it('gets times from the receipt, smoothed, at its true rate', () => {
    const translator = new ProfileTranslator(profile, 0);
    const parser = new NotificationParser({ sensorName: 'unticked' });
    const uniform = uniformFrom(4711);
    const periodS = 1 / 109.46;
    const errorsS: number[] = [];
    let lastHostS = 0;
    for (let at = 0; at < 4000; at++) {
      // Up to 15 ms late, as connection intervals make it.
      lastHostS = Math.max(lastHostS, at * periodS + 0.015 * uniform());
      for (const { bytes } of translator.push(0, row, 1e9 + lastHostS)) {
        for (const event of parser.push(bytes, 1e9 + lastHostS)) {
          expect(event.kind).toBe('frame');
          if (event.kind === 'frame' && at > 500) {
            const tickS = ((event.frame.tick - Math.round((1e9 * 1e6) % 2 ** 32)) | 0) / 1e6 - at * periodS;
            errorsS.push(tickS);
          }
        }
      }
    }
    expect(errorsS.length).toBeGreaterThan(3400);
    const mean = errorsS.reduce((sum, each) => sum + each, 0) / errorsS.length;
    const rms = Math.sqrt(errorsS.reduce((sum, each) => sum + (each - mean) ** 2, 0) / errorsS.length);
    // Uniform jitter of 15 ms has 4.3 ms; a g-h filter with g = 0.02 passes √(g/(2−g)·…) ≈ 0.12 of white noise: 0.5 ms.
    expect(rms).toBeLessThan(0.0012);
    expect(mean).toBeGreaterThan(0);
    expect(mean).toBeLessThan(0.015);
  });

  it('begins anew after a silence, which may hide any number of rows', () => {
    const translator = new ProfileTranslator(profile, 3);
    const times = [0, 0.01, 0.02, 0.03, 2, 2.01];
    const frames = times.flatMap((timeS) => translator.push(0, row, 1000 + timeS)).map(frameOf);
    expect(frames.map(({ startNumber }) => startNumber)).toEqual([3, 3, 3, 3, 4, 4]);
    expect(frames[4]!.sampleIndex).toBe(0);
  });
});

describe('rows of two characteristics', () => {
  const profile = boardProfile('float32-triples');
  const description = describeBoard(profile, sensorId);

  /** @returns the numbers of the rows that came out, the accelerometer's and the gyroscope's. */
  function play(apartS: number, isLost: (at: number, quantity: 'accel' | 'gyro') => boolean) {
    const translator = new ProfileTranslator(profile, 0);
    const uniform = uniformFrom(99);
    const pushes = Array.from({ length: 200 }, (_, at) => [
      { at, quantity: 'accel' as const, hostTimeS: 1000 + 0.02 * at + 0.004 * uniform() },
      { at, quantity: 'gyro' as const, hostTimeS: 1000 + 0.02 * at + apartS + 0.004 * uniform() },
    ])
      .flat()
      .filter(({ at, quantity }) => !isLost(at, quantity))
      .sort((one, other) => one.hostTimeS - other.hostTimeS);
    const frames = pushes.flatMap(({ at, quantity, hostTimeS }) =>
      quantity === 'accel'
        ? translator.push(0, float32le(at / 10, 0, 9.8), hostTimeS)
        : translator.push(1, float32le(at / 10, 0, 0), hostTimeS),
    );
    const numbers = frames.map(frameOf).map(({ samples }) => ({
      accel: Math.round(10 * samples[0]! * description.accelScaleMps2PerLsb),
      gyro: Math.round(10 * samples[3]! * description.gyroScaleRadpsPerLsb!),
    }));
    return { numbers, unpaired: translator.counts().unpaired };
  }

  it.each([0.003, 0.006, -0.006])('are lost together where one of them does not come; %s s apart', (apartS) => {
    const lost = (at: number, quantity: string) =>
      (at === 7 && quantity === 'accel') || ((at === 12 || at === 13) && quantity === 'gyro');
    const { numbers, unpaired } = play(apartS, lost);
    expect(numbers).toHaveLength(197);
    expect(numbers.every(({ accel, gyro }) => accel === gyro)).toBe(true);
    expect(unpaired).toBe(3);
  });

  it('are paired as they come where they come far apart, after a start without', () => {
    const { numbers } = play(0.017, () => false);
    expect(numbers.length).toBeGreaterThan(180);
    const shifts = new Set(numbers.slice(20).map(({ accel, gyro }) => accel - gyro));
    expect(shifts.size).toBe(1);
  });
});
