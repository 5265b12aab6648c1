import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { decodeNotification, encodeNotification, type NotificationFrame } from '../../src/protocol/notification.ts';
import {
  NotificationParser,
  type NotificationParserOptions,
  type ProtocolEvent,
} from '../../src/protocol/notification-parser.ts';
import { normalFrom, uniformFrom } from '../signal/simulated-sensor-clock.ts';
import { plainStream, type StreamShape, streamFrame } from './made-frames.ts';

const options: NotificationParserOptions = { sensorName: 'ball-2' };

function packets(shape: StreamShape, from: number, to: number): Uint8Array[] {
  return Array.from({ length: to - from }, (_, at) => encodeNotification(streamFrame(shape, from + at)));
}

function parse(notifications: readonly Uint8Array[], more: Partial<NotificationParserOptions> = {}): ProtocolEvent[] {
  const parser = new NotificationParser({ ...options, ...more });
  const events = notifications.flatMap((bytes, at) => parser.push(bytes, at));
  return [...events, ...parser.finish()];
}

function framesOf(events: readonly ProtocolEvent[]) {
  return events.filter((event) => event.kind === 'frame');
}

/** Everything but frames, as far as it is told apart. */
function wordsOf(events: readonly ProtocolEvent[]): string[] {
  return events.flatMap((event) => {
    switch (event.kind) {
      case 'frame':
        return [];
      case 'gap':
        return [`gap ${event.missingPackets}/${event.missingSamples} before ${event.sequence}`];
      case 'reordered':
        return [`${event.restored ? 'restored' : 'dropped'} ${event.sequence}`];
      case 'corrupt':
        return [`corrupt ${event.code}`];
      default:
        return [`${event.kind} ${event.sequence}`];
    }
  });
}

const shapes: readonly (readonly [string, StreamShape])[] = [
  ['full form', plainStream],
  ['full form, accelerometer only', { ...plainStream, axes: 3 }],
  [
    'full form at the end of all counters',
    { ...plainStream, firstSequence: 65_530, firstIndex: 2 ** 32 - 30, firstTick: 2 ** 32 - 100_000 },
  ],
  ['short form', { ...plainStream, form: 'short' }],
  [
    'short form at the end of all counters',
    { ...plainStream, form: 'short', firstSequence: 65_530, firstTick: 2 ** 32 - 50_000 },
  ],
];

describe.each(shapes)('the parser, %s', (_, shape) => {
  const rows = shape.form === 'short' ? 1 : shape.rows;
  const firstIndex = shape.form === 'short' ? shape.firstSequence : shape.firstIndex;

  it('gives an undisturbed stream as it is, with unwrapped indices and host times', () => {
    const events = parse(packets(shape, 0, 20));
    expect(wordsOf(events)).toEqual([]);
    const frames = framesOf(events);
    expect(frames.map((event) => event.frame)).toEqual(Array.from({ length: 20 }, (_, at) => streamFrame(shape, at)));
    expect(frames.map((event) => event.index)).toEqual(Array.from({ length: 20 }, (_, at) => firstIndex + at * rows));
    expect(frames.map((event) => event.hostTimeS)).toEqual(Array.from({ length: 20 }, (_, at) => at));
    expect(frames.some((event) => event.afterGap || event.afterRestart)).toBe(false);
  });

  it('counts what is missing and goes on', () => {
    const all = packets(shape, 0, 20);
    const events = parse([...all.slice(0, 6), ...all.slice(9)]);
    expect(wordsOf(events)).toEqual([`gap 3/${3 * rows} before ${streamFrame(shape, 9).sequence}`]);
    const frames = framesOf(events);
    expect(frames.length).toBe(17);
    expect(frames.filter((event) => event.afterGap).map((event) => event.index)).toEqual([firstIndex + 9 * rows]);
    expect(frames.at(-1)?.index).toBe(firstIndex + 19 * rows);
  });

  it('counts a loss longer than it trusts a single packet with', () => {
    const events = parse([...packets(shape, 0, 10), ...packets(shape, 510, 520)]);
    expect(wordsOf(events)).toEqual([`gap 500/${500 * rows} before ${streamFrame(shape, 510).sequence}`]);
    expect(framesOf(events).length).toBe(20);
    expect(framesOf(events).at(-1)?.index).toBe(firstIndex + 519 * rows);
  });

  it('counts a loss in which the sequence came around', () => {
    const far = 10 + 70_000;
    const events = parse([...packets(shape, 0, 10), ...packets(shape, far, far + 5)]);
    expect(wordsOf(events)).toEqual([`gap 70000/${70_000 * rows} before ${streamFrame(shape, far).sequence}`]);
    expect(framesOf(events).at(-1)?.index).toBe(firstIndex + (far + 4) * rows);
  });

  it('drops duplicates and says so', () => {
    const all = packets(shape, 0, 8);
    const events = parse([all[0]!, all[0]!, ...all.slice(1, 5), all[4]!, all[2]!, ...all.slice(5)]);
    expect(wordsOf(events)).toEqual([0, 4, 2].map((at) => `duplicate ${streamFrame(shape, at).sequence}`));
    expect(framesOf(events).length).toBe(8);
  });

  it('puts a packet back that comes a little late', () => {
    const all = packets(shape, 0, 10);
    const events = parse([...all.slice(0, 4), all[5]!, all[6]!, all[4]!, ...all.slice(7)]);
    expect(wordsOf(events)).toEqual([`restored ${streamFrame(shape, 4).sequence}`]);
    expect(framesOf(events).map((event) => event.frame.sequence)).toEqual(
      Array.from({ length: 10 }, (_, at) => streamFrame(shape, at).sequence),
    );
  });

  it('drops a packet that comes too late', () => {
    const all = packets(shape, 0, 10);
    const events = parse([...all.slice(0, 4), ...all.slice(5, 8), all[4]!, ...all.slice(8)]);
    expect(wordsOf(events)).toEqual([
      `gap 1/${rows} before ${streamFrame(shape, 5).sequence}`,
      `dropped ${streamFrame(shape, 4).sequence}`,
    ]);
    expect(framesOf(events).length).toBe(9);
  });

  it('waits for nothing when told so', () => {
    const all = packets(shape, 0, 10);
    const parser = new NotificationParser({ ...options, reorderPackets: 0 });
    const kinds = [...all.slice(0, 4), ...all.slice(5)].map((bytes) => parser.push(bytes, 0).map(({ kind }) => kind));
    expect(kinds).toEqual([
      [],
      ['frame', 'frame'],
      ['frame'],
      ['frame'],
      ['gap', 'frame'],
      ['frame'],
      ['frame'],
      ['frame'],
      ['frame'],
    ]);
  });

  it('follows a sensor that started anew, soon or late', () => {
    for (const before of [3, 20, 500]) {
      const firstTick = shape.firstSequence === 0 ? 1234 : 900e6;
      const again = { ...shape, startNumber: 4, firstSequence: 0, firstIndex: 0, firstTick };
      const events = parse([...packets(shape, 0, before), ...packets(again, 0, 10)]);
      expect(wordsOf(events), `after ${before}`).toEqual(['restart 0']);
      const frames = framesOf(events);
      expect(frames.length).toBe(before + 10);
      expect(frames.slice(before).map((event) => event.index)).toEqual(
        Array.from({ length: 10 }, (_, at) => at * rows),
      );
      expect(frames.map((event) => event.afterRestart).indexOf(true)).toBe(before);
    }
  });

  it('goes on after damage, having lost no good packet', () => {
    const all = packets(shape, 0, 12);
    const damaged = all[5]!.slice();
    damaged[damaged.length - 1]! ^= 0x40;
    const events = parse([...all.slice(0, 5), damaged, new Uint8Array(3), ...all.slice(6)]);
    expect(wordsOf(events)).toEqual([
      'corrupt checksum',
      'corrupt too-short',
      `gap 1/${rows} before ${streamFrame(shape, 6).sequence}`,
    ]);
    expect(framesOf(events).length).toBe(11);
  });

  it('is not led astray by a good checksum over senseless counters', () => {
    const all = packets(shape, 0, 30);
    const stray = (at: number, change: Partial<NotificationFrame>) => {
      const frame = { ...streamFrame(shape, at), ...change };
      return encodeNotification(shape.form === 'short' ? { ...frame, sampleIndex: frame.sequence } : frame);
    };
    const sequence = (streamFrame(shape, 7).sequence + 30_000) % 65_536;
    const strays = [
      stray(7, { sequence }),
      stray(7, { tick: (streamFrame(shape, 7).tick + 2 ** 31) % 2 ** 32 }),
      stray(7, { sequence, sampleIndex: 5, tick: 77 }),
    ];
    for (const bytes of strays) {
      const events = parse([...all.slice(0, 7), bytes, ...all.slice(7)]);
      expect(wordsOf(events)).toEqual(['corrupt implausible']);
      expect(framesOf(events).map((event) => event.index)).toEqual(
        Array.from({ length: 30 }, (_, at) => firstIndex + at * rows),
      );
    }
  });
});

describe('the parser', () => {
  it('says what is wrong with a packet in a sentence', () => {
    const frame = streamFrame({ ...plainStream, rows: 19, firstSequence: 4711 }, 0);
    const bytes = encodeNotification(frame).subarray(0, 223);
    expect(parse([bytes])).toEqual([
      {
        kind: 'corrupt',
        code: 'length',
        sequence: 4711,
        message: 'packet 4711 of sensor ball-2: header says 19 samples, 223 bytes hold 17',
      },
    ]);
    expect(parse([new Uint8Array(2)])).toMatchObject([
      { message: 'a packet of sensor ball-2: expected a header of at least 8 bytes, 2 came' },
    ]);
  });

  it('believes a single packet only when nothing else came', () => {
    const [only] = packets(plainStream, 0, 1);
    const parser = new NotificationParser(options);
    expect(parser.push(only!, 5)).toEqual([]);
    expect(parser.finish()).toMatchObject([{ kind: 'frame', index: 0, hostTimeS: 5, afterRestart: false }]);
  });

  it('counts rows the sensor could not send', () => {
    const skip = { ...plainStream, firstIndex: 5 * 8 };
    const after = packets(skip, 6, 12);
    const events = parse([...packets(plainStream, 0, 6), ...after]);
    // The packets carry ticks of rows 30 on, so that counters and ticks disagree: believed with the second packet.
    expect(wordsOf(events)).toEqual(['gap 0/40 before 6']);
    expect(framesOf(events).length).toBe(12);
  });

  it('follows a sensor that paused', () => {
    const paused = { ...plainStream, firstTick: plainStream.firstTick + 60e6 };
    const events = parse([...packets(plainStream, 0, 6), ...packets(paused, 6, 12)]);
    expect(wordsOf(events)).toEqual(['gap 0/0 before 6']);
    expect(framesOf(events).map((event) => event.index)).toEqual(Array.from({ length: 12 }, (_, at) => at * 5));
  });

  it('takes a sensor that stamps roughly as it is, noise or single late stamps', () => {
    const uniform = uniformFrom(5);
    for (const [, shape] of shapes) {
      const noisy = Array.from({ length: 600 }, (_, at) => {
        const frame = streamFrame(shape, at);
        // Noise of a quarter row for a while, then good stamps with one in fifty up to three rows late.
        const late = at < 300 ? 0.25 * normalFrom(uniform) : uniform() < 0.02 ? 3 * uniform() : 0;
        const tick = Math.round(frame.tick + late * shape.ticksPerRow + 2 ** 32) % 2 ** 32;
        return { ...frame, tick };
      });
      const events = parse(noisy.map(encodeNotification));
      expect(wordsOf(events)).toEqual([]);
      expect(framesOf(events).map((event) => event.frame)).toEqual(noisy);
    }
  });

  it('prefers the better stamp of two packets with one number in the short form', () => {
    const shape = { ...plainStream, form: 'short' as const };
    const all = packets(shape, 0, 60);
    const off = encodeNotification({ ...streamFrame(shape, 50), tick: streamFrame(shape, 49).tick });
    for (const around of [
      [off, all[50]!, all[51]!],
      [all[51]!, off, all[50]!],
      [off, all[51]!],
    ]) {
      const events = parse([...all.slice(0, 50), ...around, ...all.slice(52)]);
      const [frame] = framesOf(events).filter((event) => event.index === 50);
      expect(frame?.frame.tick).toBe(streamFrame(shape, around.includes(all[50]!) ? 50 : 49).tick);
      expect(framesOf(events).length).toBe(60);
      expect(wordsOf(events).filter((word) => word === 'corrupt implausible').length).toBe(around.length === 3 ? 1 : 0);
    }
  });

  it('gives every frame of any stream with losses, duplicates and damage exactly once and in order', () => {
    const disturbance = fc.constantFrom('keep', 'keep', 'keep', 'keep', 'lose', 'twice', 'damage');
    fc.assert(
      fc.property(
        fc.constantFrom(...shapes.map(([, shape]) => shape)),
        fc.array(disturbance, { minLength: 2, maxLength: 60 }),
        fc.integer({ min: 0, max: 3 }),
        (shape, plan, reorderPackets) => {
          const notifications: Uint8Array[] = [];
          const kept: number[] = [];
          plan.forEach((what, at) => {
            const [bytes] = packets(shape, at, at + 1);
            if (what === 'damage') {
              bytes![bytes!.length - 2]! ^= 0x01;
              notifications.push(bytes!);
            } else if (what !== 'lose') {
              kept.push(streamFrame(shape, at).sequence);
              notifications.push(bytes!);
              if (what === 'twice') notifications.push(bytes!.slice());
            }
          });
          const events = parse(notifications, { reorderPackets });
          expect(framesOf(events).map((event) => event.frame.sequence)).toEqual(kept);
          const count = (kind: string) => events.filter((event) => event.kind === kind).length;
          expect(count('corrupt')).toBe(plan.filter((what) => what === 'damage').length);
          expect(count('duplicate')).toBe(plan.filter((what) => what === 'twice').length);
          const missing = events.reduce((sum, event) => sum + (event.kind === 'gap' ? event.missingPackets : 0), 0);
          const between = plan.slice(plan.findIndex(isKept), plan.findLastIndex(isKept) + 1);
          expect(missing).toBe(between.filter((what) => !isKept(what)).length);
        },
      ),
      { numRuns: 500 },
    );
  });

  it('keeps the frame it decoded', () => {
    const [bytes, next] = packets(plainStream, 0, 2);
    const parser = new NotificationParser(options);
    const copy = bytes!.slice();
    parser.push(bytes!, 0);
    bytes!.fill(0);
    const [frame] = framesOf(parser.push(next!, 1));
    const decoded = decodeNotification(copy);
    expect(decoded.kind === 'frame' && decoded.frame).toEqual(frame!.frame);
  });
});

function isKept(what: string): boolean {
  return what === 'keep' || what === 'twice';
}
