import { describe, expect, it } from 'vitest';
import { sampleFlag } from '../../src/foundation/imu-block.ts';
import { simulatePractice } from '../../src/simulate/practice.ts';
import { scenarioNames, scenarioPractice, scenarios } from '../../src/simulate/scenarios.ts';
import { filterDelayS } from '../../src/simulate/sensor-model.ts';

type Practice = ReturnType<typeof simulatePractice>;
const played = new Map<string, Practice>();

function play(name: string): Practice {
  let practice = played.get(name);
  if (!practice) {
    practice = simulatePractice(scenarioPractice(name));
    played.set(name, practice);
  }
  return practice;
}

const contacts = (name: string) => play(name).truth.shots.map((shot) => shot.contactKind);
const starts = (name: string) => play(name).truth.shots.map((shot) => shot.startKind);
const values = (name: string, measure: 'spinRps' | 'rifleSpinRps' | 'pauseS' | 'flightS') =>
  play(name).truth.shots.map((shot) => shot.measures[measure].value as number);

/** What each scenario is there to show, seen in its truth or its samples. */
const shows: Record<string, () => void> = {
  'free-throw-swish': () => {
    expect(contacts('free-throw-swish')).toEqual(['net', 'net']);
    expect(starts('free-throw-swish')).toEqual(['hold', 'hold']);
  },
  'pull-up-ring-miss': () => {
    expect(contacts('pull-up-ring-miss')).toEqual(['ring', 'ring']);
    expect(starts('pull-up-ring-miss')).toEqual(['dribble', 'dribble']);
  },
  'catch-and-shoot-net': () => {
    expect(contacts('catch-and-shoot-net')).toEqual(['net', 'net', 'net']);
    expect(starts('catch-and-shoot-net')).toEqual(['catch', 'catch', 'catch']);
  },
  'air-ball': () => expect(contacts('air-ball')).toEqual(['floor', 'floor']),
  'bank-shot': () => expect(contacts('bank-shot')).toEqual(['board', 'board']),
  'net-before-ring': () => expect(contacts('net-before-ring')).toEqual(['net']),
  'passes-and-tosses': () => expect(play('passes-and-tosses').truth.decoys).toHaveLength(6),
  'ball-handling': () => expect(play('ball-handling').truth.decoys).toHaveLength(6),
  'high-set-point': () => {
    for (const pause of values('high-set-point', 'pauseS')) expect(pause).toBeGreaterThan(0.28);
    expect(play('high-set-point').truth.shots.map((shot) => shot.pauseAt)).toEqual(['high', 'high']);
  },
  'nutating-ball': () => expect(contacts('nutating-ball')).toHaveLength(2),
  'wall-mounted': () => expect(Math.hypot(...play('wall-mounted').sensor.offsetM)).toBeCloseTo(0.11, 9),
  'fast-spin-clipped': () => {
    expect(values('fast-spin-clipped', 'spinRps').every((spin) => spin > 5.9)).toBe(true);
    expect(
      [...play('fast-spin-clipped').block.flags].filter((bits) => bits & sampleFlag.gyroClipped).length,
    ).toBeGreaterThan(50);
  },
  'lossy-link': () => {
    const gaps = [...play('lossy-link').block.flags].filter((bits) => bits & sampleFlag.gapBefore).length;
    expect(gaps).toBeGreaterThan(20);
  },
  'slow-filter': () => expect(filterDelayS(play('slow-filter').sensor)).toBeCloseTo(0.01124, 4),
  'slow-spin': () => {
    for (const spin of values('slow-spin', 'spinRps')) expect(spin).toBeCloseTo(0.3, 1);
  },
  'rifle-spin': () => {
    for (const [i, rifle] of values('rifle-spin', 'rifleSpinRps').entries()) {
      expect(Math.abs(rifle)).toBeGreaterThan(0.7 * (values('rifle-spin', 'spinRps')[i] as number));
    }
  },
  'close-range': () => {
    for (const flight of values('close-range', 'flightS')) expect(flight).toBeLessThan(0.8);
  },
  'gap-at-release': () => {
    const { truth, block } = play('gap-at-release');
    const events = [truth.shots[0]?.releaseS, truth.shots[1]?.pickupS] as number[];
    for (const event of events) for (const t of block.timeS) expect(Math.abs(t - event)).toBeGreaterThan(0.019);
  },
  'overhead-hold': () => expect(starts('overhead-hold')).toEqual(['hold']),
  'small-ball-low-hoop': () => {
    for (const shot of play('small-ball-low-hoop').truth.shots) expect(shot.setting.hoopHeightM).toBe(2.6);
  },
  'everything-at-once': () => expect(contacts('everything-at-once')).toHaveLength(2),
};

describe('the scenarios', () => {
  it('are each described by what they show', () => {
    expect(Object.keys(shows).sort()).toEqual(scenarios.map((scenario) => scenario.name).sort());
    expect(scenarioNames()).toContain('practice');
    expect(new Set(scenarioNames()).size).toBe(scenarioNames().length);
  });

  it.each(scenarios.map((scenario) => scenario.name))('%s shows it, in less than half a minute', (name) => {
    const { block, truth } = play(name);
    expect(block.timeS[block.length - 1] as number).toBeLessThan(30);
    expect(truth.shots).toHaveLength(scenarios.find((scenario) => scenario.name === name)?.shots.length ?? -1);
    (shows[name] as () => void)();
  });

  it('refuse a name that is none and say which there are', () => {
    expect(() => scenarioPractice('three-pointer')).toThrow('expected one of free-throw-swish');
  });

  it('change with the seed', () => {
    expect(simulatePractice(scenarioPractice('bank-shot', 2)).truth).not.toEqual(play('bank-shot').truth);
  });
});
