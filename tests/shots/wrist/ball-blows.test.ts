import { describe, expect, it } from 'vitest';
import { type HandBefore, lastOfBall, lookBeforeLift, wasDribbled } from '../../../src/shots/wrist/ball-blows.ts';
import type { Impact } from '../../../src/shots/wrist/impacts.ts';
import type { Strapdown } from '../../../src/shots/wrist/strapdown.ts';

const stepS = 0.005;
const releaseS = 3.5;

/** A hand whose height against that at release runs straight between knots of time and height; it turns at 1 rad/s where it moves. */
function handAlong(knots: readonly (readonly [number, number])[]): HandBefore {
  const length = 720;
  const heightM = (i: number): number => {
    const t = i * stepS;
    let k = 1;
    while (k < knots.length - 1 && (knots[k]?.[0] as number) < t) k++;
    const [t0, h0] = knots[k - 1] as readonly [number, number];
    const [t1, h1] = knots[k] as readonly [number, number];
    // Eased at both ends, as a hand goes.
    const u = Math.min(1, Math.max(0, (t - t0) / (t1 - t0)));
    return h0 + (h1 - h0) * u * u * (3 - 2 * u);
  };
  const riseMps = (i: number): number => (heightM(i + 1) - heightM(i - 1)) / (2 * stepS);
  const path = {
    reference: Math.round(releaseS / stepS),
    block: { length },
    timeOf: (i: number) => i * stepS,
    rateInSensor: (i: number) => [Math.abs(riseMps(i)) > 0.05 ? 1 : 0.2, 0, 0],
  } as unknown as Strapdown;
  return { path, heightM, riseMps, speedMps: (i) => Math.abs(riseMps(i)), releaseS };
}

function blowAt(timeS: number, sizeMps2: number): Impact {
  const start = Math.round(timeS / stepS);
  return { start, peak: start + 2, end: start + 8, sizeMps2 };
}

function judge(hand: HandBefore, blows: readonly Impact[]) {
  return lastOfBall(hand, lookBeforeLift(hand), blows);
}

/** Up to the top to meet the ball, down with the push, up again: 0.6 s each; the last time gathered, down a little and up to the release. */
const dribbled = handAlong([
  [0, -0.7],
  [0.8, -0.7],
  [1, -1.1],
  [1.4, -0.7],
  [1.6, -1.1],
  [2, -0.7],
  [2.2, -1.1],
  [2.6, -0.7],
  [2.95, -0.85],
  [3.5, 0],
]);
/** Slow in front of the body until the lift. */
const held = handAlong([
  [0, -0.75],
  [2.8, -0.72],
  [2.9, -0.74],
  [3.5, 0],
]);

describe('which blow on the hand was the last of the ball', () => {
  it('takes a soft gather in the rhythm of a dribble, not the harder push before it', () => {
    const blows = [blowAt(0.8, 40), blowAt(1.4, 35), blowAt(2, 40), blowAt(2.6, 12)];
    const { likely, none } = judge(dribbled, blows);
    expect(likely[3]).toBeGreaterThan(0.5);
    expect(likely[2]).toBeLessThan(0.45);
    expect(none).toBeLessThan(0.05);
  });

  it('does not take the same soft blow on a hand that was slow for long: it had the ball', () => {
    const { none } = judge(held, [blowAt(2.6, 12)]);
    expect(none).toBeGreaterThan(0.7);
  });

  it('does not take a jerk of a hand that goes up to the release already', () => {
    const { likely } = judge(dribbled, [blowAt(2.6, 30), blowAt(3.2, 20)]);
    expect(likely[0]).toBeGreaterThan(0.7);
    expect(likely[1]).toBeLessThan(0.2);
  });

  it('shares out all of the probability', () => {
    const { likely, none } = judge(dribbled, [blowAt(2, 20), blowAt(2.6, 15), blowAt(2.9, 10)]);
    expect(likely.reduce((sum, share) => sum + share, none)).toBeCloseTo(1, 9);
    expect(judge(held, [])).toEqual({ likely: [], none: 1 });
  });

  it('tells a dribble by the push down and the blow before, a catch by a hand that waited', () => {
    expect(wasDribbled(dribbled, [blowAt(2, 40), blowAt(2.6, 12)], 1)).toBe(true);
    expect(wasDribbled(held, [blowAt(1.9, 6), blowAt(2.6, 30)], 1)).toBe(false);
  });

  it('knows how long the hand was slow before the lift', () => {
    expect(lookBeforeLift(held).slowS).toBeGreaterThan(1.8);
    expect(lookBeforeLift(dribbled).slowS).toBeLessThan(0.6);
  });
});
