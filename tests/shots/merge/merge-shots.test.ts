import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { notMeasured } from '../../../src/foundation/measured.ts';
import { resolveParams } from '../../../src/foundation/parameters.ts';
import { fromHost, toHost } from '../../../src/shots/merge/host-line.ts';
import { matchShots } from '../../../src/shots/merge/match-shots.ts';
import { mergeParams } from '../../../src/shots/merge/merge-params.ts';
import { mergeShots, singleShot } from '../../../src/shots/merge/merge-shots.ts';
import { unseenByBall } from '../../../src/shots/shot.ts';
import { heard, lineFrom, madeShot } from './made-heard.ts';

const params = resolveParams(mergeParams);

describe('a host line', () => {
  it('goes there and back', () => {
    fc.assert(
      fc.property(
        fc.double({ min: -1e5, max: 1e5, noNaN: true }),
        fc.double({ min: -200, max: 200, noNaN: true }),
        (timeS, driftPpm) => {
          const line = lineFrom(1.7e9, driftPpm);
          // Double precision of a host time of 1.7e9 s is 2.4e-7 s.
          expect(Math.abs(fromHost(line, toHost(line, timeS).hostS) - timeS)).toBeLessThan(1e-6);
        },
      ),
    );
  });

  it('is less sure away from its reference', () => {
    const line = lineFrom(5000, 20);
    expect(toHost(line, 100).standardErrorS).toBe(0.002);
    expect(toHost(line, 3700).standardErrorS).toBeCloseTo(Math.hypot(0.002, 0.0072), 6);
  });
});

describe('matching', () => {
  it('pairs shots across clocks that run apart, each once', () => {
    const ballClock = lineFrom(1000, 40);
    const wristClock = lineFrom(1312.5, -60);
    const hostTimes = [1400, 1409, 1415, 1600];
    const balls = hostTimes.map((host) => heard('ball', madeShot(fromHost(ballClock, host)), ballClock));
    const wrists = [1409.01, 1415.004, 1600.02, 1700].map((host) =>
      heard('wrist', madeShot(fromHost(wristClock, host)), wristClock),
    );
    expect(matchShots(params, balls, wrists)).toEqual([
      { ball: 1, wrist: 0 },
      { ball: 2, wrist: 1 },
      { ball: 3, wrist: 2 },
    ]);
  });

  it('never pairs beyond the gate, and loses no shot, whatever the times', () => {
    const times = fc.array(fc.double({ min: 0, max: 30, noNaN: true }), { maxLength: 12 });
    fc.assert(
      fc.property(times, times, (a, b) => {
        const balls = a.map((t) => heard('ball', madeShot(t)));
        const wrists = b.map((t) => heard('wrist', madeShot(t)));
        const pairs = matchShots(params, balls, wrists);
        expect(new Set(pairs.map((pair) => pair.ball)).size).toBe(pairs.length);
        expect(new Set(pairs.map((pair) => pair.wrist)).size).toBe(pairs.length);
        for (const { ball, wrist } of pairs) expect(Math.abs(a[ball]! - b[wrist]!)).toBeLessThanOrEqual(params.gateS);
        const left = a.filter((_, k) => !pairs.some((pair) => pair.ball === k));
        const rest = b.filter((_, k) => !pairs.some((pair) => pair.wrist === k));
        for (const x of left) for (const y of rest) expect(Math.abs(x - y)).toBeGreaterThan(params.gateS);
      }),
    );
  });

  it('takes the nearer of two', () => {
    const balls = [heard('ball', madeShot(10))];
    const wrists = [heard('wrist', madeShot(10.2)), heard('wrist', madeShot(9.95))];
    expect(matchShots(params, balls, wrists)).toEqual([{ ball: 0, wrist: 1 }]);
  });

  it('finds the partner of a ball whose release was lost by its contact', () => {
    const ball = heard(
      'ball',
      madeShot(null, {}, { contactS: 11, timeErrorsS: { pickup: null, lift: null, release: null, contact: 0.003 } }),
    );
    expect(matchShots(params, [ball], [heard('wrist', madeShot(10))])).toHaveLength(1);
    expect(matchShots(params, [ball], [heard('wrist', madeShot(12.5))])).toHaveLength(0);
    const merged = mergeShots(params, ball, heard('wrist', madeShot(10)));
    expect(merged.releaseS).toBe(10);
    expect(merged.timeSources.release).toBe('wrist');
    expect(merged.flags).toContain('paired-by-contact');
  });
});

describe('a merged shot', () => {
  const ballShot = madeShot(
    10,
    { spinRps: [2, 0.01], backspinRps: [1.95, 0.02], dipDepthM: [0.3, 0.01], pickupToReleaseS: [0.8, 0.005] },
    { index: 4, contactS: 11, contactKind: 'ring' },
  );
  const ball = heard('ball-1', {
    ...ballShot,
    measures: { ...ballShot.measures, ...unseenByBall },
  });

  it('takes each measure from the better source and says which', () => {
    const wrist = heard(
      'wrist-1',
      madeShot(10.004, { backspinRps: [1.8, 0.3], snapPeakDegps: [1100, 15], pickupToReleaseS: [0.803, 0.004] }),
    );
    const merged = mergeShots(params, ball, wrist);
    const { spinRps, backspinRps, snapPeakDegps, pickupToReleaseS, dipDepthM } = merged.measures;
    expect(spinRps).toEqual({ value: 2, standardError: 0.01, source: 'ball' });
    expect(backspinRps).toEqual({ value: 1.95, standardError: 0.02, source: 'ball' });
    expect(snapPeakDegps).toEqual({ value: 1100, standardError: 15, source: 'wrist' });
    expect(pickupToReleaseS).toEqual({ value: 0.803, standardError: 0.004, source: 'wrist' });
    expect(dipDepthM).toMatchObject({ value: 0.3, source: 'ball' });
    expect(merged.ball).toEqual({ sensorId: 'ball-1', index: 4 });
    expect(merged.wrist).toEqual({ sensorId: 'wrist-1', index: 0 });
    expect(merged.contactKind).toBe('ring');
    expect(merged.flags).toEqual([]);
  });

  it('flags what differs beyond both errors, and only that', () => {
    const near = mergeShots(params, ball, heard('w', madeShot(10, { pickupToReleaseS: [0.81, 0.004] })));
    expect(near.measures.pickupToReleaseS).not.toHaveProperty('flags');
    const far = mergeShots(params, ball, heard('w', madeShot(10, { pickupToReleaseS: [0.9, 0.004] })));
    expect(far.measures.pickupToReleaseS).toMatchObject({ value: 0.9, source: 'wrist', flags: ['differs-from-ball'] });
    const dip = mergeShots(params, ball, heard('w', madeShot(10, { dipDepthM: [0.6, 0.01] })));
    expect(dip.measures.dipDepthM).toMatchObject({ value: 0.3, source: 'ball', flags: ['differs-from-wrist'] });
    // A wrist truly dips a little differently from the ball.
    const alike = mergeShots(params, ball, heard('w', madeShot(10, { dipDepthM: [0.38, 0.01] })));
    expect(alike.measures.dipDepthM).not.toHaveProperty('flags');
  });

  it('measures a lopsided error on the side of the other value', () => {
    const lopsided = madeShot(10);
    const wrist = heard('w', {
      ...lopsided,
      measures: {
        ...lopsided.measures,
        backspinRps: { value: 1.5, standardError: 0.3, interval90: [1.4, 2.5], source: 'model' },
      },
    });
    const up = mergeShots(params, ball, wrist);
    expect(up.measures.backspinRps).not.toHaveProperty('flags');
    const mirrored = heard('w', {
      ...lopsided,
      measures: {
        ...lopsided.measures,
        backspinRps: { value: 2.4, standardError: 0.3, interval90: [2.3, 3.4], source: 'model' },
      },
    });
    expect(mergeShots(params, ball, mirrored).measures.backspinRps).toMatchObject({ flags: ['differs-from-wrist'] });
  });

  it('fills what the ball lost from the arm, in the ball’s time, with the error of the clocks', () => {
    const ballClock = lineFrom(1000, 40);
    const wristClock = lineFrom(1312.5, -60);
    const lost = heard('b', { ...madeShot(500), pickupS: null, timeReasons: { pickup: 'gap' } }, ballClock);
    const hostReleaseS = toHost(ballClock, 500).hostS;
    const wrist = heard('w', madeShot(fromHost(wristClock, hostReleaseS)), wristClock);
    const merged = mergeShots(params, lost, wrist);
    expect(merged.timeSources).toEqual({ pickup: 'wrist', lift: 'ball', release: 'ball', contact: null });
    // Clocks 100 ppm apart over 0.8 s: 80 µs.
    expect(Math.abs(merged.pickupS! - 499.2)).toBeLessThan(1e-4);
    expect(merged.timeErrorsS.pickup).toBeGreaterThan(params.hostDelaySdS);
    expect(merged.timeErrorsS.release).toBe(0.002);
    expect(merged.timeReasons).not.toHaveProperty('pickup');
  });

  it('says when the sensors see another start or place a time elsewhere', () => {
    const wrist = heard('w', { ...madeShot(10), startKind: 'catch', pickupS: 9.0 });
    const merged = mergeShots(params, ball, wrist);
    expect(merged.startKind).toBe('dribble');
    expect(merged.flags).toEqual(['pickup-differs', 'start-kind-differs']);
  });

  it('keeps the reason that a person can do something about where both know nothing', () => {
    const none = madeShot(10);
    const wrist = heard('w', {
      ...none,
      measures: { ...none.measures, forearmElevationDeg: notMeasured('mount-unknown') },
    });
    const { forearmElevationDeg, entryAngleDeg } = mergeShots(params, ball, wrist).measures;
    expect(forearmElevationDeg).toEqual({ value: null, reason: 'mount-unknown' });
    expect(entryAngleDeg).toEqual({ value: null, reason: 'gap' });
  });

  it('does not change when the same pair is merged again, nor its input', () => {
    const wrist = heard('w', madeShot(10, { pickupToReleaseS: [0.9, 0.004] }));
    const before = structuredClone([ball, wrist]);
    expect(mergeShots(params, ball, wrist)).toEqual(mergeShots(params, ball, wrist));
    expect([ball, wrist]).toEqual(before);
  });
});

it('a shot of one sensor keeps its numbers and names their source', () => {
  const single = singleShot(heard('w', madeShot(3, { snapPeakDegps: [900, 10] })), 'wrist');
  expect(single.measures.snapPeakDegps).toEqual({ value: 900, standardError: 10, source: 'wrist' });
  expect(single.timesOf).toBe('wrist');
  expect(single.ball).toBeNull();
  expect(single.timeSources).toEqual({ pickup: 'wrist', lift: 'wrist', release: 'wrist', contact: null });
});
