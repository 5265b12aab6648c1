import { describe, expect, it } from 'vitest';
import type { ImuBlock, SensorTraits } from '../../src/foundation/imu-block.ts';
import { BallTracker } from '../../src/shots/ball/ball-tracker.ts';
import {
  defaultBallSettings,
  type RejectedFlight,
  type Shot,
  type ShotEvent,
  shotTimes,
  unseenByBall,
} from '../../src/shots/shot.ts';
import { drawPracticePlan } from '../../src/simulate/draw-plan.ts';
import { simulatePractice } from '../../src/simulate/practice.ts';
import { withoutGyro } from '../../src/simulate/practice-csv.ts';
import { Random } from '../../src/simulate/random.ts';
import { drawSensor } from '../../src/simulate/sensor-model.ts';

const seed = 'contract of the ball tracker';
const { block, traits, truth } = simulatePractice({
  seed,
  acts: drawPracticePlan(seed, { shots: 3, decoys: 3 }),
  sensor: drawSensor(seed, { rateHz: 200 }),
});

function part(whole: ImuBlock, from: number, to: number): ImuBlock {
  return {
    length: to - from,
    timeS: whole.timeS.slice(from, to),
    accelMps2: whole.accelMps2.slice(3 * from, 3 * to),
    gyroRadps: whole.gyroRadps ? whole.gyroRadps.slice(3 * from, 3 * to) : null,
    flags: whole.flags.slice(from, to),
  };
}

/** Pushes a block in pieces; after each piece is taken it is spoilt, so that nothing may be kept of it but copies. */
function track(whole: ImuBlock, sizes: () => number = () => whole.length): ShotEvent[] {
  const tracker = new BallTracker(traits, defaultBallSettings);
  const events: ShotEvent[] = [];
  for (let at = 0; at < whole.length; ) {
    const to = Math.min(whole.length, at + sizes());
    const piece = part(whole, at, to);
    events.push(...tracker.push(piece));
    piece.timeS.fill(Number.NaN);
    piece.accelMps2.fill(Number.NaN);
    piece.gyroRadps?.fill(Number.NaN);
    piece.flags.fill(255);
    at = to;
  }
  events.push(...tracker.finish());
  return events;
}

const whole = track(block);

const isFinal = (event: ShotEvent) => event.kind === 'shot' && event.shot.stage === 'final';

/** Every number within a value, with the way to it. */
function numbersIn(value: unknown, where: string): [string, number][] {
  if (typeof value === 'number') return [[where, value]];
  if (value === null || typeof value !== 'object') return [];
  return Object.entries(value).flatMap(([key, inner]) => numbersIn(inner, `${where}.${key}`));
}

describe('the ball tracker', () => {
  it('finds the shots of the practice, so that there is something to compare', () => {
    expect(truth.shots).toHaveLength(3);
    const finals = whole.filter(isFinal).map((event) => (event as { shot: Shot }).shot);
    expect(finals.map(({ index }) => index)).toEqual([0, 1, 2]);
    // Far coarser than the error of an instant: only to say that these are the same shots.
    for (const [i, shot] of finals.entries())
      expect(Math.abs((shot.releaseS as number) - (truth.shots[i]?.releaseS as number))).toBeLessThan(0.03);
    expect(whole.some((event) => event.kind === 'shot' && event.shot.stage === 'early')).toBe(true);
    expect(whole.some((event) => event.kind === 'rejected')).toBe(true);
  });

  it('says the same when every sample comes alone', () => {
    expect(track(block, () => 1)).toEqual(whole);
  });

  it.each(['one', 'two', 'three'])('says the same in random chunks, draw %s', (draw) => {
    const random = new Random(draw);
    expect(track(block, () => random.whole(1, random.chance(0.2) ? 3000 : 40))).toEqual(whole);
  });

  it('takes an empty block for nothing', () => {
    let turn = 0;
    expect(track(block, () => (turn++ % 2) * 500)).toEqual(whole);
  });

  it('says the same when all is prepared ahead, and has then nothing of it left to do', () => {
    const tracker = new BallTracker(traits, defaultBallSettings);
    const events: ShotEvent[] = [];
    let pieces = 0;
    for (let at = 0; at < block.length; at += 5) {
      events.push(...tracker.push(part(block, at, Math.min(block.length, at + 5))));
      for (let next = tracker.preparation(); next; next = tracker.preparation()) {
        expect(next.dueInS).toBeGreaterThan(0);
        next.work();
        pieces++;
      }
    }
    events.push(...tracker.finish());
    expect(pieces).toBeGreaterThan(20);
    expect(events).toEqual(whole);
  });

  it('says the same when the pieces of two trackers are prepared in turn, some of them not in time', () => {
    const random = new Random('pieces');
    const trackers = [0, 1].map(() => new BallTracker(traits, defaultBallSettings));
    const events: ShotEvent[][] = [[], []];
    // The second one is a little behind, so that other pieces of both meet.
    for (let at = 0; at < block.length + 35; at += 5) {
      for (const [k, tracker] of trackers.entries()) {
        const from = Math.max(0, at - 35 * k);
        const to = Math.min(block.length, at + 5 - 35 * k);
        if (to > from) events[k]?.push(...tracker.push(part(block, from, to)));
      }
      for (const tracker of trackers) if (random.chance(0.6)) tracker.preparation()?.work();
    }
    for (const [k, tracker] of trackers.entries()) expect([...(events[k] ?? []), ...tracker.finish()]).toEqual(whole);
  });

  it('tells the same shots of a recording, of which nobody waits for first estimates', () => {
    const told = (events: readonly ShotEvent[]) =>
      events.filter((event) => event.kind === 'shot').filter(({ shot }) => shot.stage === 'final');
    const tracker = new BallTracker(traits, defaultBallSettings, false);
    const events = [...tracker.push(block), ...tracker.finish()];
    expect(events.some((event) => event.kind === 'shot' && event.shot.stage === 'early')).toBe(false);
    expect(whole.some((event) => event.kind === 'shot' && event.shot.stage === 'early')).toBe(true);
    expect(told(events)).toEqual(told(whole));
  });

  it('leaves its input as it was', () => {
    const copy = part(block, 0, block.length);
    const tracker = new BallTracker(traits, defaultBallSettings);
    tracker.push(copy);
    tracker.finish();
    expect(copy).toEqual(part(block, 0, block.length));
  });

  it('keeps nothing outside itself: two trackers do not disturb each other', () => {
    const [one, other] = [new BallTracker(traits, defaultBallSettings), new BallTracker(traits, defaultBallSettings)];
    const events: ShotEvent[] = [];
    const half = Math.floor(block.length / 2);
    events.push(...one.push(part(block, 0, half)));
    other.push(part(block, 0, half));
    other.finish();
    events.push(...one.push(part(block, half, block.length)), ...one.finish());
    expect(events).toEqual(whole);
  });

  it('has nothing more to say when it is finished twice, and nothing when nothing came', () => {
    const tracker = new BallTracker(traits, defaultBallSettings);
    expect(tracker.finish()).toEqual([]);
    // Cut in mid-flight, so that the first finish has something to say.
    const flightS = ((truth.shots[0]?.releaseS as number) + (truth.shots[0]?.contactS as number)) / 2 + 0.1;
    tracker.push(
      part(
        block,
        0,
        block.timeS.findIndex((timeS) => timeS > flightS),
      ),
    );
    expect(tracker.finish().length).toBeGreaterThan(0);
    expect(tracker.finish()).toEqual([]);
  });

  it('follows every early shot by its final one or by a rejection of the same flight', () => {
    let open: Shot | null = null;
    for (const event of whole) {
      if (event.kind === 'shot' && event.shot.stage === 'early') {
        expect(open).toBeNull();
        open = event.shot;
      } else if (open && event.kind === 'shot') {
        expect(event.shot.index).toBe(open.index);
        expect(Math.abs((event.shot.releaseS as number) - (open.releaseS as number))).toBeLessThan(0.05);
        open = null;
      } else if (open && event.kind === 'rejected' && contains(event.rejected, open.releaseS as number)) open = null;
    }
    expect(open).toBeNull();
  });

  it('follows an early shot by a rejection even when the flight ends at once', () => {
    const shot = truth.shots[0] as { releaseS: number; contactS: number | null };
    const copy = part(block, 0, block.length);
    const fromS = shot.releaseS + traits.filterDelayS + 0.275;
    for (let i = 0; i < copy.length; i++) {
      const timeS = copy.timeS[i] as number;
      if (timeS > fromS && timeS < fromS + 1.5) copy.accelMps2.fill(i % 2 === 0 ? 40 : -40, 3 * i, 3 * i + 3);
    }
    const tracker = new BallTracker(traits, defaultBallSettings);
    const end = copy.timeS.findIndex((timeS) => timeS > fromS + 1.4);
    const events = [...tracker.push(part(copy, 0, end)), ...tracker.finish()];
    const early = events.findIndex(
      (event) => event.kind === 'shot' && Math.abs((event.shot.releaseS ?? 0) - shot.releaseS) < 0.05,
    );
    expect(events[early]).toMatchObject({ shot: { stage: 'early' } });
    const after = events.slice(early + 1);
    expect(after).toHaveLength(1);
    expect(after[0]?.kind).toBe('rejected');
    expect(contains((after[0] as { rejected: RejectedFlight }).rejected, shot.releaseS)).toBe(true);
  });

  it('tells every rejected flight in the time of the motion, not of the filtered samples', () => {
    const rejected = whole.flatMap((event) => (event.kind === 'rejected' ? [event.rejected] : []));
    expect(traits.filterDelayS).toBeGreaterThan(0.001);
    for (const { startS, endS } of rejected) {
      for (const timeS of [startS, endS]) {
        // A rejected flight begins and ends at samples; these are later than the motion by the filter's delay.
        const nearestS = Math.min(...Array.from(block.timeS, (other) => Math.abs(other - timeS - traits.filterDelayS)));
        expect(nearestS).toBeLessThan(1e-9);
      }
    }
    // One that was judged by its physics is among them.
    expect(rejected.some(({ startS, endS }) => endS - startS >= 0.4)).toBe(true);
  });

  it('tells an even motion longer than its memory', () => {
    // A ball that spins evenly and feels nothing for 40 s, between two stretches of rest.
    const n = 10_000;
    const even: ImuBlock = {
      length: n,
      timeS: Float64Array.from({ length: n }, (_, i) => i * 0.005),
      accelMps2: new Float64Array(3 * n),
      gyroRadps: new Float64Array(3 * n),
      flags: new Uint8Array(n),
    };
    for (let i = 0; i < n; i++) {
      const still = i < 1000 || i >= 9000;
      even.accelMps2[3 * i + 2] = still ? 9.80665 : 0.5;
      even.gyroRadps?.fill(still ? 0 : 3, 3 * i, 3 * i + 1);
    }
    const events = track(even);
    const last = events[events.length - 1];
    expect(last).toMatchObject({ kind: 'rejected', rejected: { kind: 'not-flight' } });
    expect((last as { rejected: RejectedFlight }).rejected.endS).toBeCloseTo(45 - 0.005 - traits.filterDelayS, 1);
  });

  it('never says NaN or an infinite number', () => {
    for (const events of [whole, track(withoutGyro(block))]) {
      const numbers = numbersIn(events, 'events');
      expect(numbers.length).toBeGreaterThan(10);
      expect(numbers.filter(([, value]) => !Number.isFinite(value))).toEqual([]);
    }
  });

  it('gives every missing time its reason and every time its error', () => {
    for (const event of whole) {
      if (event.kind !== 'shot') continue;
      const { shot } = event;
      for (const name of shotTimes) {
        const timeS = shot[`${name}S`];
        expect(shot.timeErrorsS[name] === null).toBe(timeS === null);
        expect(shot.timeReasons[name] !== undefined).toBe(timeS === null);
        if (timeS !== null) expect(shot.timeErrorsS[name]).toBeGreaterThan(0);
      }
      for (const measure of Object.values(shot.measures)) {
        if (measure.value === null) expect(measure.reason.length).toBeGreaterThan(1);
        else expect(measure.standardError).toBeGreaterThan(0);
      }
    }
  });

  it('without a gyroscope gives flights and times only, the rest null for that reason', () => {
    const events = track(withoutGyro(block));
    const shots = events.flatMap((event) => (event.kind === 'shot' ? [event.shot] : []));
    for (const { releaseS, contactS } of truth.shots) {
      const found = shots.find((shot) => Math.abs((shot.releaseS ?? 0) - releaseS) < 0.05);
      expect(found).toBeDefined();
      expect(Math.abs((found?.contactS as number) - (contactS as number))).toBeLessThan(0.05);
    }
    for (const shot of shots) {
      expect(shot).toMatchObject({ stage: 'final', pickupS: null, liftS: null, contactKind: 'unknown', pauseAt: null });
      expect(shot.timeReasons).toMatchObject({ pickup: 'no-gyro', lift: 'no-gyro' });
      for (const [name, measure] of Object.entries(shot.measures)) {
        if (name !== 'flightS' && !(name in unseenByBall)) expect(measure).toEqual({ value: null, reason: 'no-gyro' });
      }
      expect(shot.measures.flightS.value).toBeCloseTo((shot.contactS as number) - (shot.releaseS as number), 12);
    }
  });

  it.each([19.9, 5000.1, 0, -200, Number.NaN, Number.POSITIVE_INFINITY])('refuses a rate of %f Hz', (nominalRateHz) => {
    const wrong: SensorTraits = { ...traits, nominalRateHz };
    expect(() => new BallTracker(wrong, defaultBallSettings)).toThrow(
      `nominalRateHz = ${nominalRateHz} Hz is outside 20..5000 Hz`,
    );
  });
});

function contains({ startS, endS }: RejectedFlight, timeS: number): boolean {
  return timeS > startS - 0.05 && timeS < endS;
}
