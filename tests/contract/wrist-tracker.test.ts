import { describe, expect, it } from 'vitest';
import { type ImuBlock, sampleFlag } from '../../src/foundation/imu-block.ts';
import { defaultWristSettings, type Shot, type ShotEvent, shotTimes } from '../../src/shots/shot.ts';
import { WristTracker } from '../../src/shots/wrist/wrist-tracker.ts';
import { drawWristPlan } from '../../src/simulate/arm/wrist-plan.ts';
import { simulateWristPractice } from '../../src/simulate/arm/wrist-practice.ts';
import { Random } from '../../src/simulate/random.ts';

const plan = drawWristPlan('contract', { shots: 3, decoys: 3 });
const { block, truth, traits } = simulateWristPractice({ seed: 'contract', plan });

function part(of: ImuBlock, from: number, to: number): ImuBlock {
  return {
    length: to - from,
    timeS: of.timeS.slice(from, to),
    accelMps2: of.accelMps2.slice(3 * from, 3 * to),
    gyroRadps: of.gyroRadps?.slice(3 * from, 3 * to) ?? null,
    flags: of.flags.slice(from, to),
  };
}

function track(of: ImuBlock, next: () => number = () => of.length): ShotEvent[] {
  const tracker = new WristTracker(traits, defaultWristSettings);
  const events: ShotEvent[] = [];
  for (let from = 0; from < of.length; ) {
    const to = Math.min(of.length, from + next());
    events.push(...tracker.push(part(of, from, to)));
    from = to;
  }
  events.push(...tracker.finish());
  return events;
}

function shotsOf(events: readonly ShotEvent[]): Shot[] {
  return events.flatMap((event) => (event.kind === 'shot' ? [event.shot] : []));
}

function withoutGyro(of: ImuBlock): ImuBlock {
  return { ...of, gyroRadps: null };
}

describe('the wrist tracker', () => {
  const whole = track(block);

  it('finds the shots of the practice', () => {
    const found = truth.shots.filter(({ releaseS }) =>
      shotsOf(whole).some((shot) => Math.abs((shot.releaseS ?? 0) - releaseS) < 0.1),
    );
    expect(found.length).toBeGreaterThanOrEqual(2);
  });

  it('says the same when every sample comes alone', () => {
    expect(track(block, () => 1)).toEqual(whole);
  });

  it.each(['one', 'two', 'three'])('says the same in random chunks, draw %s', (draw) => {
    const random = new Random(draw);
    expect(track(block, () => random.whole(1, random.chance(0.2) ? 3000 : 40))).toEqual(whole);
  });

  it('says the same in chunks without a gyroscope', () => {
    const random = new Random('chunks');
    expect(track(withoutGyro(block), () => random.whole(1, 200))).toEqual(track(withoutGyro(block)));
  });

  it('leaves its input as it was', () => {
    const copy = part(block, 0, block.length);
    const tracker = new WristTracker(traits, defaultWristSettings);
    tracker.push(copy);
    tracker.finish();
    expect(copy).toEqual(part(block, 0, block.length));
  });

  it('has nothing more to say when it is finished twice, and nothing when nothing came', () => {
    const tracker = new WristTracker(traits, defaultWristSettings);
    expect(tracker.finish()).toEqual([]);
    tracker.push(block);
    tracker.finish();
    expect(tracker.finish()).toEqual([]);
  });

  it('gives every missing number its reason and every number a finite error', () => {
    const shots = shotsOf(whole);
    expect(shots.length).toBeGreaterThan(0);
    for (const shot of shots) {
      for (const name of shotTimes) {
        const timeS = shot[`${name}S`];
        expect(shot.timeErrorsS[name] === null).toBe(timeS === null);
        expect(shot.timeReasons[name] !== undefined).toBe(timeS === null);
        if (timeS !== null) expect(shot.timeErrorsS[name]).toBeGreaterThan(0);
      }
      for (const measure of Object.values(shot.measures)) {
        if (measure.value === null) expect(measure.reason.length).toBeGreaterThan(1);
        else {
          expect(Number.isFinite(measure.value)).toBe(true);
          expect(measure.standardError).toBeGreaterThan(0);
          expect(Number.isFinite(measure.standardError)).toBe(true);
        }
      }
    }
  });

  it('says of the flight that a wrist cannot see it', () => {
    for (const shot of shotsOf(whole)) {
      expect(shot.timeReasons.contact).toBe('not-observable-from-wrist');
      for (const name of ['launchSpeedMps', 'launchAngleDeg', 'entryAngleDeg', 'flightS', 'spinRps'] as const) {
        expect(shot.measures[name]).toEqual({ value: null, reason: 'not-observable-from-wrist' });
      }
    }
  });

  it('tells only what the mount can see', () => {
    const run = (mount: 'forearm' | 'back-of-hand'): Shot[] => {
      const tracker = new WristTracker(traits, { mount });
      return shotsOf([...tracker.push(block), ...tracker.finish()]);
    };
    const unseen = { value: null, reason: 'not-observable-from-this-mount' };
    for (const shot of run('forearm')) expect(shot.measures.axisTiltDeg).toEqual(unseen);
    for (const shot of run('back-of-hand')) {
      expect(shot.measures.forearmElevationDeg).toEqual(unseen);
      expect(shot.measures.followThroughS).toEqual(unseen);
      expect(shot.measures.headingChangeDeg).toEqual(unseen);
    }
  });

  it('without a gyroscope gives the time of release only, the rest null for that reason', () => {
    for (const shot of shotsOf(track(withoutGyro(block)))) {
      expect(shot.releaseS).not.toBeNull();
      for (const measure of Object.values(shot.measures)) expect(measure).toEqual({ value: null, reason: 'no-gyro' });
    }
  });

  it('tells no number that needs a moment lost in a gap', () => {
    const release = shotsOf(whole)[0]?.releaseS as number;
    const from = block.timeS.findIndex((t) => t > release + traits.filterDelayS - 0.04);
    const to = block.timeS.findIndex((t) => t > release + traits.filterDelayS + 0.04);
    const length = block.length - (to - from);
    const join = (a: Float64Array, width: number): Float64Array => {
      const joined = new Float64Array(width * length);
      joined.set(a.subarray(0, width * from));
      joined.set(a.subarray(width * to), width * from);
      return joined;
    };
    const flags = new Uint8Array(length);
    flags.set(block.flags.subarray(0, from));
    flags.set(block.flags.subarray(to), from);
    flags[from] = (flags[from] as number) | sampleFlag.gapBefore;
    const torn: ImuBlock = {
      length,
      timeS: join(block.timeS, 1),
      accelMps2: join(block.accelMps2, 3),
      gyroRadps: join(block.gyroRadps as Float64Array, 3),
      flags,
    };
    const gap = [torn.timeS[from - 1] as number, torn.timeS[from] as number] as const;
    const widthS = gap[1] - gap[0];
    let lost = 0;
    for (const shot of shotsOf(track(torn))) {
      // An arm knows no contact, so the release is what a shot stands by in time.
      expect(shot.releaseS).not.toBeNull();
      const delayedS = (shot.releaseS as number) + traits.filterDelayS;
      if (!(delayedS > gap[0] && delayedS < gap[1])) continue;
      lost += 1;
      expect(shot.timeErrorsS.release).toBeCloseTo(widthS / Math.sqrt(12), 9);
      expect(shot.measures.pickupToReleaseS).toEqual({ value: null, reason: 'gap' });
      expect(shot.measures.snapToReleaseS).toEqual({ value: null, reason: 'gap' });
    }
    expect(lost).toBeLessThanOrEqual(1);
  });

  it.each([19.9, 5000.1, 0, -200, Number.NaN, Number.POSITIVE_INFINITY])('refuses a rate of %f Hz', (nominalRateHz) => {
    expect(() => new WristTracker({ ...traits, nominalRateHz }, defaultWristSettings)).toThrow(
      `nominalRateHz = ${nominalRateHz} Hz is outside 20..5000 Hz`,
    );
  });
});
