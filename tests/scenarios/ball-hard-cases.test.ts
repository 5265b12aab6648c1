import { describe, expect, it } from 'vitest';
import type { BallMeasureName, Shot, ShotTime } from '../../src/shots/shot.ts';
import type { ShotTruth } from '../../src/simulate/practice-truth.ts';
import { type PlayedScenario, playScenario } from '../helpers/play-scenario.ts';

/** The hard cases, each with what the analysis shall do in it. */

/** A right standard error is exceeded 3.5 times by one number in two thousand; some 150 are checked here. */
const withinStandardErrors = 3.5;

interface Pair {
  readonly told: Shot;
  readonly truth: ShotTruth;
}

function expectMeasure({ told, truth }: Pair, name: BallMeasureName, largestError = Number.POSITIVE_INFINITY): void {
  const got = told.measures[name];
  const wanted = truth.measures[name];
  expect(got.value, `${name} is told`).not.toBeNull();
  if (got.value === null || wanted.value === null) return;
  const error = Math.abs(got.value - wanted.value);
  const allowed = Math.min(largestError, withinStandardErrors * got.standardError);
  const about = `${name}: ${got.value} ± ${got.standardError}, in truth ${wanted.value}`;
  const [low, high] = got.interval90 ?? [got.value, got.value];
  // A lopsided error is told by its interval.
  if (wanted.value >= low && wanted.value <= high) return;
  expect(error, about).toBeLessThanOrEqual(allowed);
}

function expectTime({ told, truth }: Pair, name: ShotTime, largestErrorS: number): void {
  const got = told[`${name}S`];
  const wanted = truth[`${name}S`];
  expect(got, `${name} is told`).not.toBeNull();
  expect(Math.abs((got ?? 0) - (wanted ?? 0)), `${name} ${got}, in truth ${wanted}`).toBeLessThanOrEqual(largestErrorS);
}

function expectNull({ told }: Pair, names: readonly BallMeasureName[], reason: string): void {
  for (const name of names) expect(told.measures[name], name).toEqual({ value: null, reason });
}

const flightMeasures = ['spinRps', 'axisTiltDeg', 'launchSpeedMps', 'launchAngleDeg'] as const;

function expectAllFound({ score }: PlayedScenario): void {
  expect(score.missed).toEqual([]);
  expect(score.falseList).toEqual([]);
  expect(score.startWrong).toEqual([]);
}

describe('a ball that meets something else than the ring first', () => {
  it('an air ball is a shot that ended on the floor; its entry angle has no ring to refer to', () => {
    const played = playScenario('air-ball');
    expectAllFound(played);
    for (const index of [0, 1]) {
      const pair = played.shot(index);
      expect(pair.told.contactKind).toBe('floor');
      expectNull(pair, ['entryAngleDeg'], 'no-ring-reference');
      for (const name of flightMeasures) expectMeasure(pair, name);
      expectTime(pair, 'contact', 0.006);
    }
  });

  it('a bank shot ends at the board, which does not tell how high the ring is', () => {
    const played = playScenario('bank-shot');
    expectAllFound(played);
    for (const index of [0, 1]) {
      const pair = played.shot(index);
      expect(pair.told.contactKind).toBe('board');
      expectNull(pair, ['entryAngleDeg'], 'no-ring-reference');
      for (const name of flightMeasures) expectMeasure(pair, name);
    }
  });

  it('a net met from outside before the ring is told as the net', () => {
    const played = playScenario('net-before-ring');
    expectAllFound(played);
    const pair = played.shot(0);
    expect(pair.told.contactKind).toBe('net');
    expectTime(pair, 'contact', 0.02);
    for (const name of flightMeasures) expectMeasure(pair, name);
  });
});

describe('spin that is hard to measure', () => {
  it('0.3 revolutions a second: the spin is told, and the axis with a wider error or not at all', () => {
    const played = playScenario('slow-spin');
    expectAllFound(played);
    for (const index of [0, 1]) {
      const pair = played.shot(index);
      expectMeasure(pair, 'spinRps', 0.03);
      expectMeasure(pair, 'launchSpeedMps');
      const tilt = pair.told.measures.axisTiltDeg;
      if (tilt.value === null) expect(tilt.reason).toBe('spin-too-slow');
      else expectMeasure(pair, 'axisTiltDeg');
    }
  });

  it('strong rifle spin: launch and axis are less certain than with backspin, and say so', () => {
    const rifle = playScenario('rifle-spin');
    expectAllFound(rifle);
    for (const index of [0, 1]) {
      const pair = rifle.shot(index);
      for (const name of [...flightMeasures, 'rifleSpinRps'] as const) expectMeasure(pair, name);
    }
    const usual = playScenario('free-throw-swish').shot(0).told.measures.axisTiltDeg;
    const doubtful = rifle.shot(0).told.measures.axisTiltDeg;
    expect(doubtful.value === null || usual.value === null || doubtful.standardError > 1.5 * usual.standardError).toBe(
      true,
    );
  });
});

describe('a ball or sensor out of the ordinary', () => {
  it('a sensor at the wall, several g of centripetal force: measured like any other', () => {
    const played = playScenario('wall-mounted');
    expectAllFound(played);
    for (const index of [0, 1]) {
      const pair = played.shot(index);
      for (const name of flightMeasures) expectMeasure(pair, name);
      expectTime(pair, 'release', 0.006);
    }
  });

  it('an unbalanced ball nutates: spin at release and mean axis are still told within their errors', () => {
    const played = playScenario('nutating-ball');
    expectAllFound(played);
    for (const index of [0, 1]) for (const name of flightMeasures) expectMeasure(played.shot(index), name);
  });

  it('a slow filter: its delay of 11 ms is taken out and the times say that they are blunt', () => {
    const played = playScenario('slow-filter');
    expectAllFound(played);
    for (const index of [0, 1]) {
      const pair = played.shot(index);
      for (const name of ['release', 'contact'] as const) {
        // Less than the delay: otherwise it would not have been taken out.
        expectTime(pair, name, 0.011);
        const error = Math.abs((pair.told[`${name}S`] ?? 0) - (pair.truth[`${name}S`] ?? 0));
        expect(error).toBeLessThan(withinStandardErrors * (pair.told.timeErrorsS[name] ?? 0));
      }
    }
  });

  it('a smaller ball, a lower hoop and a child: found and measured when told so', () => {
    const played = playScenario('small-ball-low-hoop', { ballSize: 5, hoopHeightM: 2.6 });
    expectAllFound(played);
    for (const index of [0, 1]) for (const name of flightMeasures) expectMeasure(played.shot(index), name);
  });

  it('from 2.1 m the flight is short: errors are several times larger than from 6.4 m, and say so', () => {
    const near = playScenario('close-range');
    expectAllFound(near);
    const far = playScenario('catch-and-shoot-net').shot(0).told;
    for (const index of [0, 1]) {
      const pair = near.shot(index);
      for (const name of flightMeasures) expectMeasure(pair, name);
      for (const name of ['axisTiltDeg', 'entryAngleDeg'] as const) {
        const [close, away] = [pair.told.measures[name], far.measures[name]];
        if (close.value === null || away.value === null) continue;
        expect(close.standardError, name).toBeGreaterThan(2 * away.standardError);
      }
    }
  });

  it('everything that the model leaves out at once: the shots are found, the numbers within their errors', () => {
    const played = playScenario('everything-at-once');
    expectAllFound(played);
    for (const index of [0, 1]) for (const name of flightMeasures) expectMeasure(played.shot(index), name);
  });
});

describe('samples lost at the wrong moment', () => {
  it('a gap at release: no release time and nothing that needs it, but the spin', () => {
    const played = playScenario('gap-at-release');
    expectAllFound(played);
    const pair = played.shot(0);
    expect(pair.told.releaseS).toBeNull();
    expect(pair.told.timeReasons.release).toBe('gap');
    expect(pair.told.timeErrorsS.release).toBeNull();
    expectNull(pair, ['pickupToReleaseS', 'liftToReleaseS', 'flightS', 'launchSpeedMps', 'launchAngleDeg'], 'gap');
    expectTime(pair, 'contact', 0.006);
    expectMeasure(pair, 'spinRps', 0.03);
  });

  it('a gap at pickup: no pickup time and nothing that needs it; the flight is not touched by it', () => {
    const pair = playScenario('gap-at-release').shot(1);
    expect(pair.told.pickupS).toBeNull();
    expect(pair.told.timeReasons.pickup).toBe('gap');
    expectNull(pair, ['pickupToReleaseS', 'dipDepthM'], 'gap');
    expectTime(pair, 'release', 0.006);
    for (const name of flightMeasures) expectMeasure(pair, name);
  });

  it('a tenth of the packets lost: both shots are found', () => {
    const played = playScenario('lossy-link');
    expectAllFound(played);
    for (const index of [0, 1]) for (const name of flightMeasures) expectMeasure(played.shot(index), name);
  });
});

describe('how the ball came to the hands', () => {
  it('held above the head and shot from there: a hold without a low rest, so the clock never started', () => {
    const played = playScenario('overhead-hold');
    expectAllFound(played);
    const pair = played.shot(0);
    expect(pair.told.startKind).toBe('hold');
    expect(pair.told.pickupS).toBeNull();
    expect(pair.told.timeReasons.pickup).toBe('no-low-rest');
    expectNull(pair, ['pickupToReleaseS'], 'no-low-rest');
    expectNull(pair, ['dipDepthM'], 'no-pickup-event');
    for (const name of flightMeasures) expectMeasure(pair, name);
  });

  it('a high set point held for a third of a second is a pause up there and does not restart the clock', () => {
    const played = playScenario('high-set-point');
    expectAllFound(played);
    for (const index of [0, 1]) {
      const pair = played.shot(index);
      expect(pair.told.pauseAt).toBe('high');
      expectMeasure(pair, 'pauseS', 0.025);
      expect(pair.truth.measures.pauseS.value).toBeGreaterThan(0.25);
    }
  });

  it.each(['passes-and-tosses', 'ball-handling'])('nothing in %s is a shot', (name) => {
    const { score } = playScenario(name);
    expect(score.decoys).toBe(6);
    expect(score.falseList).toEqual([]);
  });
});
