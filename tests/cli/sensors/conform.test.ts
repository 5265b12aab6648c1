import { describe, expect, it } from 'vitest';
import { crc8Register } from '../../../src/protocol/checksum.ts';
import type { ClauseResult } from '../../../src/protocol/conformity/clause.ts';
import { clauses } from '../../../src/protocol/conformity/judge.ts';
import { sensorCharacteristics } from '../../../src/protocol/gatt-layout.ts';
import { encodeSensorDescription } from '../../../src/protocol/sensor-description.ts';
import { type Breaks, FakeSensor, type RowSource } from '../../helpers/fake-sensor.ts';
import { ballDescription } from '../../protocol/made-frames.ts';
import { runInFakeAir } from './in-fake-air.ts';

interface Made {
  readonly breaks?: Breaks;
  readonly mtu?: number;
  readonly rows?: RowSource;
  readonly accelOnly?: boolean;
}

async function conform({ accelOnly = false, ...made }: Made) {
  const description = accelOnly ? { gyroRateHz: null, gyroScaleRadpsPerLsb: null, gyroRangeRadps: null } : {};
  const { code, stdout, stderr } = await runInFakeAir(['conform', '5e:00:00:00:00:01', '--json'], (clock) => [
    new FakeSensor(clock, { ...made, description, breaks: { ...made.breaks } }),
  ]);
  const results: readonly ClauseResult[] = stdout === '' ? [] : JSON.parse(stdout).results;
  const of = (outcome: ClauseResult['outcome']) =>
    results.filter((each) => each.outcome === outcome).map(({ clause }) => clause);
  return { code, stderr, results, failed: of('fail'), passed: of('pass'), untested: of('not-tested') };
}

/** The answer with other values and a right checksum. */
function altered(answer: Uint8Array, change: (bytes: Uint8Array) => void): Uint8Array {
  const bytes = answer.slice();
  change(bytes);
  bytes[19] = crc8Register(bytes, 0, 19) ^ 0xff;
  return bytes;
}

/** Alters answers to one request; `code` as the host wrote it. */
const onAnswerTo =
  (code: number, change: (bytes: Uint8Array) => void, when: (written: Uint8Array) => boolean = () => true) =>
  (answer: Uint8Array, written: Uint8Array | null): Uint8Array =>
    written?.[1] === code && when(written) ? altered(answer, change) : answer;

const puts = (at: number, value: number) => (bytes: Uint8Array) => {
  bytes[at] = value;
};
const says = (status: number) => puts(3, status);
const rightChecksum = (written: Uint8Array) =>
  (crc8Register(written, 0, written.length - 1) ^ 0xff) === written[written.length - 1];

describe('a sensor that keeps to all of it', () => {
  it('passes every clause', async () => {
    const { code, failed, untested, passed } = await conform({});
    expect({ code, failed, untested }).toEqual({ code: 0, failed: [], untested: [] });
    expect(passed).toEqual(clauses.map(({ clause }) => clause));
  });

  it('passes with ATT MTU 23, without gyroscope, without control or battery, as far as it can be tested', async () => {
    const short = await conform({ mtu: 23 });
    expect(short.failed).toEqual([]);
    expect(short.untested).toEqual(['stream.sample-index', 'start.number']);
    expect((await conform({ accelOnly: true })).failed).toEqual([]);
    const bare = await conform({ breaks: { hasControl: false, characteristics: (all) => all.slice(0, 3) } });
    expect(bare.failed).toEqual([]);
    expect(bare.code).toBe(0);
    expect(bare.untested).toContain('battery.percent');
    expect(bare.untested.filter((clause) => clause.startsWith('control.')).length).toBeGreaterThan(10);
  });

  it('passes although the radio loses packets', async () => {
    const { failed } = await conform({ breaks: { packet: (bytes, at) => (at % 9 === 4 ? null : bytes) } });
    expect(failed).toEqual([]);
  });

  it('passes where it is moved, but for what only a still sensor shows', async () => {
    const rows: RowSource = (at) => [3 * Math.sin(at / 9), 9 + 4 * Math.cos(at / 7), 5, 1, 2, 3];
    const { failed, untested } = await conform({ rows });
    expect(failed).toEqual([]);
    expect(untested).toEqual(['values.scale']);
  });
});

/** For each clause a sensor that breaks it, and nothing else. */
const breakers: Readonly<Record<string, Made>> = {
  'advertisement.service': { breaks: { sighting: { serviceUuids: ['180f'] } } },
  'advertisement.name': { breaks: { sighting: { name: "Player 07's ball" } } },
  'gatt.stream': {
    breaks: {
      characteristics: (all) =>
        all.map((each) =>
          each.characteristic === sensorCharacteristics.stream.characteristic
            ? { ...each, properties: ['read', 'indicate'] }
            : each,
        ),
    },
  },
  'gatt.description': {
    breaks: {
      characteristics: (all) =>
        all.map((each) =>
          each.characteristic === sensorCharacteristics.description.characteristic
            ? { ...each, properties: ['notify'] }
            : each,
        ),
    },
  },
  'gatt.control': {
    breaks: {
      characteristics: (all) =>
        all.map((each) =>
          each.characteristic === sensorCharacteristics.control.characteristic
            ? { ...each, properties: ['read', 'writeWithoutResponse'] }
            : each,
        ),
    },
  },
  'gatt.once': { breaks: { characteristics: (all) => [...all, all[0]!] } },
  'information.firmware': { breaks: { firmwareRevision: '9.9.9' } },
  'information.no-serial': {
    breaks: { characteristics: (all) => [...all, { service: '180a', characteristic: '2a25', properties: ['read'] }] },
  },
  'battery.percent': { breaks: { battery: Uint8Array.of(200) } },
  'description.document': {
    breaks: {
      description: (bytes) => {
        const damaged = bytes.slice();
        damaged[20]! ^= 1;
        return damaged;
      },
    },
  },
  'description.same': {
    breaks: {
      description: (bytes, reading) =>
        reading < 3 ? bytes : encodeSensorDescription({ ...ballDescription, filterDelayS: 0.01 }),
    },
  },
  'stream.starts': { breaks: { streamsOnSubscribing: false } },
  'stream.decodes': {
    breaks: {
      packet: (bytes, at) => {
        const damaged = bytes.slice();
        if (at % 5 === 3) damaged[20]! ^= 0x10;
        return damaged;
      },
    },
  },
  'stream.layout': {
    breaks: {
      frame: (frame) => ({
        ...frame,
        axes: 3,
        samples: frame.samples.filter((_, k) => k % 6 < 3),
      }),
    },
  },
  'stream.one-form': {
    breaks: {
      frame: (frame, at) =>
        at % 8 === 7 ? { ...frame, axes: 3, samples: frame.samples.filter((_, k) => k % 6 < 3) } : frame,
    },
  },
  'stream.span': { breaks: { rowsAPacket: 19 } },
  'stream.sequence': { breaks: { frame: (frame, at) => ({ ...frame, sequence: at >> 1 }) } },
  'stream.sample-index': { breaks: { frame: (frame, at) => ({ ...frame, sampleIndex: at }) } },
  'stream.tick': {
    // Read when it is sent, not when it is taken.
    breaks: { frame: (frame, at) => ({ ...frame, tick: (frame.tick + (at % 3) * 5_000) % 2 ** 32 }) },
  },
  'stream.tick-unit': { breaks: { ticksFactor: 1.024 * 1.1 } },
  'stream.rate': { breaks: { rateFactor: 0.8 } },
  'values.scale': { rows: (at) => [0.02 * Math.sin(12.9898 * at), 0, 2 * 9.80665, 0, 0, 0] },
  'start.counters': { breaks: { keepsCounting: true } },
  'start.number': { breaks: { startNumberStep: 0 } },
  'stop.unsubscribing': { breaks: { stopsOnUnsubscribing: false } },
  'start.reconnecting': { breaks: { reconnects: false } },
  'control.answers': { breaks: { answer: (answer, written) => (written?.[1] === 2 ? answer.slice(0, 19) : answer) } },
  'control.echo': { breaks: { answer: (answer) => altered(answer, puts(2, 0)) } },
  'control.refuses-checksum': { breaks: { answer: onAnswerTo(2, says(0), (written) => !rightChecksum(written)) } },
  'control.refuses-length': { breaks: { answer: onAnswerTo(2, says(0), (written) => written.length === 6) } },
  'control.refuses-version': { breaks: { answer: onAnswerTo(2, says(1), (written) => written[0] === 2) } },
  'control.refuses-request': { breaks: { answer: onAnswerTo(250, says(0)) } },
  'control.refuses-value': {
    breaks: { answer: onAnswerTo(3, says(0), (written) => written.slice(3, 7).every((byte) => byte === 0)) },
  },
  'control.rate-streaming': {
    breaks: {
      answer: (answer, written) => (written?.[1] === 3 && answer[3] === 5 ? altered(answer, says(0)) : answer),
    },
  },
  'control.start-unsubscribed': {
    breaks: {
      answer: (answer, written) => (written?.[1] === 1 && answer[3] === 5 ? altered(answer, says(0)) : answer),
    },
  },
  'control.stop': { breaks: { stops: false } },
  'control.start': { breaks: { starts: false } },
  'control.rate': {
    breaks: {
      answer: (answer, written) => (written?.[1] === 3 && answer[3] === 0 ? altered(answer, says(6)) : answer),
    },
  },
  'control.ranges': { breaks: { answer: onAnswerTo(4, puts(10, 1)) } },
  'control.placement': { breaks: { answer: onAnswerTo(5, says(5)) } },
  'control.identify': { breaks: { answer: onAnswerTo(6, says(3)) } },
  'control.settings': { breaks: { answer: onAnswerTo(1, puts(5, 3)) } },
};

describe('a sensor that breaks one clause fails there and nowhere else', () => {
  it('is made for every clause', () => {
    expect(Object.keys(breakers)).toEqual(clauses.map(({ clause }) => clause));
  });

  it.each(Object.entries(breakers))('%s', async (clause, made) => {
    const { code, failed, results, stderr } = await conform(made);
    expect(
      failed,
      JSON.stringify(
        results.filter(({ outcome }) => outcome === 'fail'),
        null,
        1,
      ),
    ).toEqual([clause]);
    expect(code).toBe(4);
    expect(stderr).toContain(`breaks ${clause}`);
  });
});
