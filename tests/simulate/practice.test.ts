import { describe, expect, it } from 'vitest';
import { type ImuBlock, sampleFlag } from '../../src/foundation/imu-block.ts';
import { nullReasons } from '../../src/foundation/measured.ts';
import { decodeNotification } from '../../src/protocol/notification.ts';
import { decodeSensorDescription } from '../../src/protocol/sensor-description.ts';
import { ballMeasureNames, contactKinds, startKinds } from '../../src/shots/shot.ts';
import { newState } from '../../src/simulate/ball-state.ts';
import { drawDecoyPlan, drawEndlessPlan, drawPracticePlan, drawShotPlan } from '../../src/simulate/draw-plan.ts';
import { encodePractice } from '../../src/simulate/encoded-practice.ts';
import { Packetiser, type SimulatedPacket } from '../../src/simulate/packets.ts';
import { playActs } from '../../src/simulate/play-acts.ts';
import { packetsToBlock, simulatePractice, streamPractice } from '../../src/simulate/practice.ts';
import { blockToCsv, csvHeader, withoutGyro } from '../../src/simulate/practice-csv.ts';
import { decoyKinds } from '../../src/simulate/practice-plan.ts';
import { truthMeasureNames } from '../../src/simulate/practice-truth.ts';
import { Random } from '../../src/simulate/random.ts';
import { drawSensor, perfectSensor } from '../../src/simulate/sensor-model.ts';
import { switchesOn, switchNames } from '../../src/simulate/switches.ts';

function sameBlocks(a: ImuBlock, b: ImuBlock): void {
  expect(b.length).toBe(a.length);
  expect(Buffer.from(b.timeS.buffer).equals(Buffer.from(a.timeS.buffer))).toBe(true);
  expect(Buffer.from(b.accelMps2.buffer).equals(Buffer.from(a.accelMps2.buffer))).toBe(true);
  expect(Buffer.from(b.gyroRadps?.buffer as ArrayBuffer).equals(Buffer.from(a.gyroRadps?.buffer as ArrayBuffer))).toBe(
    true,
  );
  expect(Buffer.from(b.flags.buffer).equals(Buffer.from(a.flags.buffer))).toBe(true);
}

const small = () => drawPracticePlan('small', { shots: 3, decoys: 3 });

describe('a simulated practice', () => {
  it('is the same bit for bit for a seed, and another for another', () => {
    const one = simulatePractice({ seed: 5, acts: small() });
    const two = simulatePractice({ seed: 5, acts: small() });
    sameBlocks(one.block, two.block);
    expect(two.truth).toEqual(one.truth);
    expect(simulatePractice({ seed: 6, acts: small() }).truth).not.toEqual(one.truth);
  });

  it('gives the same act by act as whole', () => {
    const whole = simulatePractice({ seed: 5, acts: small() });
    const packets: SimulatedPacket[] = [];
    const releases: number[] = [];
    let zeroTick: number | null = null;
    for (const chunk of streamPractice({ seed: 5, acts: small() })) {
      packets.push(...chunk.packets);
      releases.push(...chunk.shots.map((shot) => shot.releaseS));
      zeroTick = chunk.timeZeroTick;
    }
    expect(releases).toEqual(whole.truth.shots.map((shot) => shot.releaseS));
    sameBlocks(packetsToBlock(packets, drawSensor(5), zeroTick as number), whole.block);
  });

  it('has times that rise, gaps flagged where samples are missing, and time zero at the first sample', () => {
    const { block, sensor } = simulatePractice({ seed: 8, acts: small(), sensor: drawSensor(8, { lossShare: 0.1 }) });
    const period = 1 / (sensor.rateHz * (1 + sensor.rateError));
    expect(Math.abs(block.timeS[0] as number)).toBeLessThan(1e-6);
    let gaps = 0;
    for (let i = 1; i < block.length; i++) {
      const step = (block.timeS[i] as number) - (block.timeS[i - 1] as number);
      const missing = step > 1.5 * period;
      expect(step).toBeGreaterThan(0.9 * period);
      expect(((block.flags[i] as number) & sampleFlag.gapBefore) !== 0).toBe(missing);
      if (missing) gaps++;
    }
    expect(gaps).toBeGreaterThan(20);
  });

  it('tells the truth in order, by the names of a shot', () => {
    const { truth } = simulatePractice({ seed: 9, acts: drawPracticePlan(9, { shots: 6, decoys: 2 }) });
    expect([...truthMeasureNames]).toEqual([...ballMeasureNames]);
    expect(truth.shots.map((shot) => shot.index)).toEqual([0, 1, 2, 3, 4, 5]);
    for (const shot of truth.shots) {
      expect(startKinds).toContain(shot.startKind);
      expect(contactKinds).toContain(shot.contactKind);
      const times = [shot.pickupS, shot.liftS, shot.releaseS, shot.contactS].filter((t): t is number => t !== null);
      expect([...times].sort((a, b) => a - b)).toEqual(times);
      expect(Object.keys(shot.measures).sort()).toEqual([...truthMeasureNames].sort());
      for (const measure of Object.values(shot.measures)) {
        if (measure.value === null) expect(nullReasons).toHaveProperty(measure.reason);
        else expect(Number.isFinite(measure.value)).toBe(true);
      }
    }
    for (const decoy of truth.decoys) expect(decoy.endS).toBeGreaterThan(decoy.startS);
  });

  it('shows a release in the readings where the truth puts it', () => {
    const acts = [
      drawShotPlan(new Random('edge'), undefined, { start: { kind: 'routine', dribbles: 0, stillS: 1 }, spinRps: 2 }),
    ];
    const { block, truth } = simulatePractice({ seed: 'edge', acts, sensor: perfectSensor(1000) });
    const { releaseS, contactS } = truth.shots[0] as (typeof truth.shots)[number];
    const force = (t: number) =>
      Math.hypot(...block.accelMps2.subarray(3 * Math.round(t * 1000), 3 * Math.round(t * 1000) + 3));
    // In flight only drag and lift remain: about 0.15 g.
    expect(force(releaseS - 0.05)).toBeGreaterThan(15);
    for (let t = releaseS + 0.002; t < (contactS as number) - 0.002; t += 0.01) expect(force(t)).toBeLessThan(3);
    expect(Math.max(...[1, 2, 3, 4, 5, 6].map((ms) => force((contactS as number) + ms / 1000)))).toBeGreaterThan(5);
  });

  it('loses what it is told to lose around an event', () => {
    const losses = [{ shot: 0, event: 'release' as const, beforeS: 0.02, afterS: 0.02 }];
    const sensor = drawSensor(3, { lossShare: 0 });
    const { block, truth } = simulatePractice({ seed: 3, acts: small(), sensor, eventLosses: losses });
    const releaseS = truth.shots[0]?.releaseS as number;
    for (const t of block.timeS) expect(Math.abs(t - releaseS)).toBeGreaterThan(0.0195);
    expect([...block.flags].filter((bits) => bits & sampleFlag.gapBefore)).toHaveLength(1);
  });

  it('plays every other act and every switch', () => {
    const acts = decoyKinds.map((kind) => ({ kind, size: 0.7 }));
    const { truth, block } = simulatePractice({ seed: 'all', acts, switches: switchesOn(...switchNames), ballSize: 6 });
    expect(truth.shots).toEqual([]);
    expect(truth.decoys.map((decoy) => decoy.kind)).toEqual([...decoyKinds]);
    expect(block.accelMps2.every(Number.isFinite)).toBe(true);
  });

  it('never breaks off: position, velocity and turning go on from segment to segment', () => {
    const before = newState();
    const after = newState();
    const acts = [
      ...drawPracticePlan('joints', { shots: 8, decoys: 0 }),
      ...decoyKinds.map((kind) => ({ kind, size: 0.4 })),
    ];
    const options = { ballSize: 7 as const, gravityMps2: 9.80665, switches: switchesOn('unequalInertia') };
    for (const act of playActs(acts, new Random('joints'), options)) {
      for (let i = 1; i < act.segments.length; i++) {
        const [a, b] = [act.segments[i - 1], act.segments[i]] as [
          (typeof act.segments)[number],
          (typeof act.segments)[number],
        ];
        expect(b.startS).toBe(a.endS);
        a.stateAt(a.endS, before);
        b.stateAt(b.startS, after);
        // The room may turn about the vertical between segments: heights and sizes must agree.
        const sizes = (s: Float64Array) => [
          s[2],
          s[5],
          s[8],
          s[15],
          Math.hypot(s[3] as number, s[4] as number),
          Math.hypot(s[6] as number, s[7] as number),
          Math.hypot(s[13] as number, s[14] as number),
        ];
        const [x, y] = [sizes(before), sizes(after)];
        x.forEach((value, k) => {
          expect(
            Math.abs((value as number) - (y[k] as number)),
            `${act.plan.kind} segment ${i} quantity ${k}`,
          ).toBeLessThan(1e-4);
        });
      }
    }
  });
});

describe('other acts than shots', () => {
  it('never fly like a shot: high, fast, and down to about ring height or through it to the floor', () => {
    const random = new Random('decoys');
    const acts = decoyKinds.flatMap((kind) =>
      Array.from({ length: 6 }, (_, i) => drawDecoyPlan(random.fork(`${kind} ${i}`), [kind])),
    );
    const start = newState();
    const end = newState();
    for (const act of playActs(acts, random, { ballSize: 7, gravityMps2: 9.80665, switches: switchesOn() })) {
      act.segments.forEach((segment, i) => {
        if (segment.touch !== 'free' || act.segments[i - 1]?.touch !== 'hand') return;
        segment.stateAt(segment.startS, start);
        segment.stateAt(segment.endS, end);
        const speed = Math.hypot(start[3] as number, start[4] as number, start[5] as number);
        const rise = Math.max(0, start[5] as number) ** 2 / (2 * 9.81);
        const riseEnough = speed > 4 && rise > 0.5;
        const next = act.segments[i + 1]?.touch;
        if (riseEnough && next === 'hand') expect(end[2] as number).toBeLessThan((start[2] as number) + 0.2);
        if (riseEnough && next === 'floor') expect((start[2] as number) + rise).toBeLessThan(2.75);
      });
    }
  });
});

describe('packets', () => {
  const packets = (() => {
    const all: SimulatedPacket[] = [];
    const sensor = drawSensor('link', { rateHz: 416, lossShare: 0.05 });
    const late = { ...sensor, link: { ...sensor.link, startTick: 4294967296 - 3_000_000, lossRunLength: 3 } };
    const acts = drawEndlessPlan('link');
    for (const chunk of streamPractice({ seed: 'link', acts, sensor: late })) {
      all.push(...chunk.packets);
      if (all.length > 20_000) break;
    }
    return { all, sensor: late };
  })();

  it('span at most 25 ms and follow one another', () => {
    packets.all.forEach((packet, i) => {
      expect(packet.lastTrueS - packet.firstTrueS).toBeLessThanOrEqual(0.025);
      expect(packet.sequence).toBe(i);
      expect(packet.firstSampleIndex).toBe(i * packet.length);
    });
  });

  it('carry ticks that wrap and are late by no more than the jitter', () => {
    const { link } = packets.sensor;
    let wrapped = false;
    for (const packet of packets.all) {
      const exact = link.startTick + (packet.deviceTimeS[0] as number) / link.tickUnitS;
      const late = (packet.tick - exact) % 4294967296;
      const ticks = late < -2147483648 ? late + 4294967296 : late;
      expect(ticks * link.tickUnitS).toBeGreaterThanOrEqual(-1e-6);
      expect(ticks * link.tickUnitS).toBeLessThanOrEqual(link.tickJitterS + 1e-6);
      if (exact >= 4294967296) wrapped = true;
    }
    expect(wrapped).toBe(true);
  });

  it('are lost in the share and in runs of the length asked for', () => {
    const lost = packets.all.filter((packet) => packet.lost).length;
    let runs = 0;
    packets.all.forEach((packet, i) => {
      if (packet.lost && !packets.all[i - 1]?.lost) runs++;
    });
    const n = packets.all.length;
    // Runs of mean length 3 widen the error of the share by about √5.
    expect(Math.abs(lost / n - 0.05)).toBeLessThan(5 * Math.sqrt((5 * 0.05) / n));
    expect(Math.abs(lost / runs - 3)).toBeLessThan((5 * 2.5) / Math.sqrt(runs));
  });

  it('reach the host in order, never before the least delay, now and then late in a burst', () => {
    const { link } = packets.sensor;
    let last = Number.NEGATIVE_INFINITY;
    let late = 0;
    for (const packet of packets.all) {
      const delay = packet.hostTimeS - link.hostStartS - packet.lastTrueS;
      expect(packet.hostTimeS).toBeGreaterThanOrEqual(last);
      expect(delay).toBeGreaterThan(link.delayFloorS - 1e-6);
      expect(delay).toBeLessThan(0.5);
      if (delay > 0.1) late++;
      last = packet.hostTimeS;
    }
    expect(late).toBeGreaterThan(5);
  });

  it('wait for the rest of their samples', () => {
    const sensor = perfectSensor(200);
    const packetiser = new Packetiser(sensor, new Random(1));
    const run = (firstIndex: number, length: number) => ({
      firstIndex,
      length,
      timeS: Float64Array.from({ length }, (_, i) => (firstIndex + i) / 200),
      values: new Float64Array(6 * length).fill(firstIndex),
      clipped: new Uint8Array(length),
    });
    expect(packetiser.push(run(0, 3), [])).toHaveLength(0);
    const packet = packetiser.push(run(3, 4), []);
    expect(packet).toHaveLength(1);
    expect([...(packet[0]?.values ?? [])].filter((_, i) => i % 6 === 0)).toEqual([0, 0, 0, 3, 3]);
  });
});

describe('encoded practice', () => {
  it('decodes to the very samples of the block', () => {
    const options = () => ({ seed: 12, acts: drawPracticePlan(12, { shots: 1, decoys: 1 }) });
    const { block, truth } = simulatePractice(options());
    const { description, chunks } = encodePractice(options());
    const { accelScaleMps2PerLsb, gyroScaleRadpsPerLsb } = decodeSensorDescription(description);
    let at = 0;
    for (const chunk of chunks) {
      expect(chunk.timeZeroTick).toBe(truth.timeZeroTick);
      for (const { bytes } of chunk.notifications) {
        const decoded = decodeNotification(bytes);
        if (decoded.kind !== 'frame') throw new Error(decoded.problem);
        if (at === 0) expect(decoded.frame.tick - truth.timeZeroTick).toBeGreaterThanOrEqual(0);
        const { samples } = decoded.frame;
        for (let i = 0; i < samples.length; i += 6, at++) {
          for (const axis of [0, 1, 2]) {
            // The description carries scales in nano-units: 32767 of them can be off by 2e-9 of the value at most.
            expect((samples[i + axis] as number) * accelScaleMps2PerLsb).toBeCloseTo(
              block.accelMps2[3 * at + axis] as number,
              3,
            );
            expect((samples[i + 3 + axis] as number) * (gyroScaleRadpsPerLsb as number)).toBeCloseTo(
              block.gyroRadps?.[3 * at + axis] as number,
              4,
            );
          }
        }
      }
    }
    expect(at).toBe(block.length);
  });

  it('refuses a sensor without raw numbers', () => {
    expect(() => encodePractice({ seed: 1, acts: [], sensor: perfectSensor(200) })).toThrow('no raw numbers');
  });
});

describe('practice as CSV', () => {
  it('has a header, a row a sample and no gyroscope columns without gyroscope', () => {
    const { block } = simulatePractice({ seed: 2, acts: [{ kind: 'idle', durationS: 0.2 }] });
    const lines = blockToCsv(block, 10).trimEnd().split('\n');
    expect(lines[0]).toBe(csvHeader);
    expect(lines).toHaveLength(block.length + 1);
    const first = (lines[1] as string).split(',').map(Number);
    expect(first).toHaveLength(7);
    expect(first[0]).toBeCloseTo(10 + (block.timeS[0] as number), 6);
    expect(first[3]).toBeCloseTo(block.accelMps2[2] as number, 5);
    expect(blockToCsv(withoutGyro(block)).split('\n')[0]).toBe('t_s,ax_mps2,ay_mps2,az_mps2');
  });
});
