import { describe, expect, it } from 'vitest';
import { type LoadDay, summarizeLoad } from '../../src/coaching/load.ts';
import { driftDirection, sessionDrift } from '../../src/coaching/session-drift.ts';
import { compareStarts } from '../../src/coaching/start-similarity.ts';
import { Random } from '../../src/simulate/random.ts';
import { coachedShot } from '../helpers/made-coached-shot.ts';
import { drawPlayer, MadePlayer } from '../helpers/made-player.ts';

describe('load', () => {
  const daily = (count: number, minutes: number): LoadDay[] =>
    Array.from({ length: count }, (_, i) => ({ day: 100 - i, shots: 80, minutes }));
  const codes = (days: readonly LoadDay[], age: number | null) =>
    summarizeLoad(days, 100, age).cautions.map(({ code }) => code);

  it('adds up day and weeks', () => {
    expect(summarizeLoad(daily(10, 30), 100, 15)).toMatchObject({
      shotsToday: 80,
      shots7Days: 560,
      shots7DaysBefore: 240,
      minutes7Days: 210,
      days7: 7,
    });
  });

  it('asks the young for rest days, and nobody for a number of shots', () => {
    expect(codes(daily(6, 30), 11)).toContain('rest-days');
    expect(codes(daily(5, 30), 11)).not.toContain('rest-days');
    expect(codes(daily(6, 30), 15)).not.toContain('rest-days');
    expect(codes(daily(7, 30), 15)).toContain('rest-days');
    expect(codes(daily(7, 30), 30)).toEqual(['pain']);
    expect(codes(daily(6, 30), null)).toContain('rest-days');
  });

  it('names more hours than years, long practices and a year without a break', () => {
    expect(codes(daily(5, 150), 12)).toContain('hours-above-age');
    expect(codes(daily(5, 140), 12)).not.toContain('hours-above-age');
    expect(codes(daily(1, 91), 12)).toContain('long-practice');
    expect(codes(daily(1, 90), 12)).not.toContain('long-practice');
    expect(codes(daily(360, 10), 16)).toContain('months-off');
  });

  it('names a source for each caution, and always what to do with pain', () => {
    const { cautions } = summarizeLoad(daily(360, 200), 100, 10);
    expect(cautions.length).toBe(5);
    for (const { source } of cautions) expect(source.length).toBeGreaterThan(8);
    expect(codes([], 15)).toEqual(['pain']);
  });
});

describe('drift over a session', () => {
  const usual = { level: 51, spread: 1.3, serialCorrelation: 0.3 };

  it('sees a flattening arc, and says "none seen" without one', () => {
    const random = new Random('arc');
    const fall = Array.from({ length: 60 }, (_, i) => 51 - 0.08 * i + random.normal(0, 1.3));
    const level = Array.from({ length: 60 }, () => 51 + random.normal(0, 1.3));
    const falling = sessionDrift(fall, usual);
    expect(driftDirection(falling)).toBe('down');
    expect(falling.firstSignal).toBeGreaterThan(10);
    expect(falling.average).toHaveLength(60);
    expect(driftDirection(sessionDrift(level, usual))).toBe('none-seen');
    expect(sessionDrift(level, null)).toMatchObject({ average: [], firstSignal: null });
    expect(driftDirection(sessionDrift(level.slice(0, 5), usual))).toBe('none-seen');
  });

  it('calls few level sessions of players whose shots hang together a drift', () => {
    const random = new Random('level sessions');
    let [slopes, charts] = [0, 0];
    for (let run = 0; run < 400; run++) {
      const player = new MadePlayer({ ...drawPlayer(random, 0), daySd: 0, trendPer100: 0, slipShare: 0 }, random);
      player.nextDay();
      const drift = sessionDrift(player.shootMany(60), { level: 0, spread: 1, serialCorrelation: 0.35 });
      if (driftDirection(drift) !== 'none-seen') slopes++;
      if (drift.firstSignal !== null) charts++;
    }
    // 5 % by the interval, standard error of 400 runs 1.1 %. Two charts with one false alarm in about 400 shots each: 60/200.
    expect(slopes / 400).toBeLessThan(0.05 + 0.033);
    expect(charts / 400).toBeLessThan(0.3);
  });
});

describe('the same shot from every start', () => {
  const shots = (count: number, holdSlower: number) => {
    const random = new Random('starts');
    return Array.from({ length: count }, (_, i) => {
      const hold = i % 2 === 0;
      const lift = 0.5 + (hold ? holdSlower : 0) + random.normal(0, 0.04);
      return coachedShot(i, { liftToReleaseS: [lift, 0.01] }, hold ? 'hold' : 'dribble');
    });
  };
  const answer = (count: number, holdSlower: number) =>
    compareStarts(shots(count, holdSlower)).find(({ measure }) => measure === 'liftToReleaseS')?.answer;

  it('is "the same", "different" or open', () => {
    expect(answer(40, 0)).toBe('same');
    expect(answer(40, 0.2)).toBe('different');
    expect(answer(40, 0.08)).toBe('open');
    expect(answer(10, 0)).toBe('open');
  });

  it('says of a measure that was not seen that it is open', () => {
    const tilt = compareStarts(shots(40, 0)).find(({ measure }) => measure === 'axisTiltDeg');
    expect(tilt).toMatchObject({ answer: 'open', shots: [0, 0] });
  });
});
