import { describe, expect, it } from 'vitest';
import { ageStages, stageOfAge } from '../../src/coaching/age-stages.ts';
import { type BandedMeasure, bandsFor, bandTable } from '../../src/coaching/bands.ts';
import { bestSetsOf } from '../../src/coaching/best-sets.ts';
import { drillLibrary, drillsFor } from '../../src/coaching/drills.ts';
import { faultNames } from '../../src/coaching/fault-names.ts';
import { faultRules } from '../../src/coaching/fault-rules.ts';
import { deriveWatch, initialWatch, readWatch, stepWatch, type WatchedShot } from '../../src/coaching/fault-watch.ts';
import { implausibleMeasures, leastCleanEntryRad, plausibility } from '../../src/coaching/plausibility.ts';
import { type ShotMeasureName, unseenByBall } from '../../src/shots/shot.ts';
import { Random } from '../../src/simulate/random.ts';
import { faultStrengths } from '../helpers/fault-strengths.ts';
import { coachedShot } from '../helpers/made-coached-shot.ts';
import { MadeShooter } from '../helpers/made-shooter.ts';

/** Measures of the path, the times and the arm itself; those of the flight are the ball's alone. */
const seenByArm: readonly string[] = [
  ...['pickupToReleaseS', 'liftToReleaseS', 'pauseS', 'sidePathM', 'dipDepthM', 'pathPlanarity', 'backspinRps'],
  ...['axisTiltDeg', 'followThroughS', 'forearmElevationDeg', 'headingChangeDeg'],
];

const adult = deriveWatch(bandsFor(), 20);

function watch(shots: readonly WatchedShot[], coefficients = adult) {
  let state = initialWatch;
  for (const shot of shots) state = stepWatch(coefficients, state, shot);
  return readWatch(coefficients, state);
}

const named = (shots: readonly WatchedShot[], coefficients = adult) =>
  watch(shots, coefficients).flatMap((finding) => (finding.named ? [finding.name] : []));

/** Shots with these levels and little scatter. */
function shotsWith(
  levels: Readonly<Partial<Record<ShotMeasureName, number>>>,
  count = 15,
  errorShare = 0.02,
): WatchedShot[] {
  const random = new Random('shots with');
  return Array.from({ length: count }, (_, i) => {
    const numbers = Object.entries(levels).map(([name, level]) => {
      const spread = bandTable[name as keyof typeof bandTable].usualSpread;
      return [name, [level + random.normal(0, 0.6 * spread), errorShare * spread]] as const;
    });
    return { shot: coachedShot(i, Object.fromEntries(numbers)), distanceM: 4.6 };
  });
}

describe('naming a fault', () => {
  it('names a leaning spin, and tells a push of the other hand from a flick of the wrist', () => {
    expect(named(shotsWith({ axisTiltDeg: 15, sidewaysImpulseMps: 0.02 }))).toEqual(['side-flick']);
    expect(named(shotsWith({ axisTiltDeg: -15, sidewaysImpulseMps: 0.5 }))).toEqual(['off-hand-push']);
    expect(named(shotsWith({ axisTiltDeg: 15 }))).toEqual(['side-flick']);
    expect(named(shotsWith({ axisTiltDeg: 1, sidewaysImpulseMps: 0.5 }))).toEqual([]);
  });

  it('never on few shots, however wild', () => {
    expect(named(shotsWith({ pauseS: 0.6 }, 5))).toEqual([]);
    expect(named(shotsWith({ pauseS: 0.6 }, 8))).toEqual(['two-part']);
  });

  it('names a stop that a poor sensor is sure of, though it is far beyond the usual spread and the sensor is off by its error', () => {
    const random = new Random('poor sensor');
    const stops = Array.from({ length: 15 }, (_, i): WatchedShot => {
      const shot = coachedShot(i, { pauseS: [0.36 + random.normal(0, 0.02), i % 2 === 0 ? 0.08 : 0.25] });
      return { shot, distanceM: 4.6 };
    });
    expect(named(stops)).toEqual(['two-part']);
  });

  it('names within 10 shots what is plain even to a sensor whose error is many spreads, and nothing at the edge of what it may be off by', () => {
    const random = new Random('sensor that knows little');
    // An error of 0.2 s against a usual spread of 0.03 s, part of it the same in all shots.
    const practice = (level: number) => {
      const common = random.normal(0, 0.1);
      return Array.from({ length: 10 }, (_, i): WatchedShot => {
        const pauseS = level + common + random.normal(0, 0.1);
        return { shot: coachedShot(i, { pauseS: [pauseS, 0.2 + 0.02 * (i % 3)] }), distanceM: 4.6 };
      });
    };
    const share = (level: number) =>
      Array.from({ length: 100 }, () => named(practice(level))).filter((names) => names.includes('two-part')).length /
      100;
    expect(share(bandTable.pauseS.high)).toBeLessThanOrEqual(0.05);
    expect(share(0.85)).toBeGreaterThan(0.9);
  });

  it('is not hidden by one shot of which the sensor knew nothing, and not brought about by one', () => {
    const random = new Random('one blind shot');
    const shots = (level: number, blind: readonly [number, number]) =>
      Array.from({ length: 15 }, (_, i): WatchedShot => {
        const told = i === 4 ? blind : ([level + random.normal(0, 0.04), 0.02] as const);
        return { shot: coachedShot(i, { pickupToReleaseS: told }), distanceM: 4.6 };
      });
    expect(named(shots(1.6, [0.5, 1.2]))).toEqual(['slow-pickup']);
    expect(named(shots(0.8, [3, 1.2]))).toEqual([]);
  });

  it('keeps a fault named, with the shot at which it was', () => {
    const shots = [...shotsWith({ pauseS: 0.5 }, 12), ...shotsWith({ pauseS: 0.02 }, 40)];
    const [first] = watch(shots);
    expect(first).toMatchObject({ name: 'two-part', named: true });
    expect(first!.namedAtShot).toBeLessThanOrEqual(12);
  });

  it('says what it saw, with an interval and the edge', () => {
    const [first] = watch(shotsWith({ backspinRps: 0.7 }));
    expect(first!.name).toBe('weak-backspin');
    const [part] = first!.parts;
    expect(part!.estimate).toBeCloseTo(0.7, 1);
    expect(part!.interval95![0]).toBeLessThan(0.7);
    expect(part!.interval95![1]).toBeGreaterThan(part!.estimate!);
    expect(part!.low).toBeLessThan(bandTable.backspinRps.low);
    expect(part!.high).toBeNull();
    expect(first!.evidence).toBeGreaterThanOrEqual(first!.border);
  });

  it('is held back by the error of the sensor', () => {
    // Levels 8 degrees under the edge: plain for a good sensor, not for one that is off by 12 degrees a shot.
    expect(named(shotsWith({ forearmElevationDeg: 50 }, 15, 0.05))).toEqual(['low-finish']);
    expect(named(shotsWith({ forearmElevationDeg: 50 }, 15, 3))).toEqual([]);
  });

  /** The same shots, one number of them flagged. */
  const flagged = (shots: readonly WatchedShot[], measure: BandedMeasure, flag: string): WatchedShot[] =>
    shots.map(({ shot, distanceM }) => {
      const measures = { ...shot.measures, [measure]: { ...shot.measures[measure], flags: [flag] } };
      return { shot: { ...shot, measures }, distanceM };
    });

  it('takes no backspin from the arm that nothing has calibrated, and no impossible number', () => {
    const shots = shotsWith({ backspinRps: 0.5 });
    expect(named(shots)).toEqual(['weak-backspin']);
    expect(named(flagged(shots, 'backspinRps', 'uncalibrated'))).toEqual([]);
    expect(named(shotsWith({ pickupToReleaseS: -2 }))).toEqual([]);
  });

  it('takes a path whose larger side is not sure as evidence of no side', () => {
    const shots = shotsWith({ sidePathM: 0.4 });
    expect(named(shots)).toEqual(['across-body']);
    expect(named(flagged(shots, 'sidePathM', 'side-unsure'))).toEqual([]);
    // Nor as a target of the player's own.
    const targetOf = (set: readonly WatchedShot[]) => bestSetsOf([set.map(({ shot }) => shot)]).sidePathM;
    expect(targetOf(shots)?.shots).toHaveLength(15);
    expect(targetOf(flagged(shots, 'sidePathM', 'side-unsure'))).toBeUndefined();
  });

  it('asks no pickup time of a shot from a hold', () => {
    const slow = shotsWith({ pickupToReleaseS: 1.8 });
    expect(named(slow)).toEqual(['slow-pickup']);
    const held = slow.map(({ shot, distanceM }) => ({ shot: { ...shot, startKind: 'hold' as const }, distanceM }));
    expect(named(held)).toEqual([]);
  });

  it('names differences between starts, between distances and over a session', () => {
    const random = new Random('contrasts');
    const shoot = (make: (i: number) => { levels: Record<string, number>; hold: boolean; far: boolean }) =>
      Array.from({ length: 50 }, (_, i): WatchedShot => {
        const { levels, hold, far } = make(i);
        const numbers = Object.entries(levels).map(([name, level]) => {
          const spread = bandTable[name as keyof typeof bandTable].usualSpread;
          return [name, [level + random.normal(0, 0.7 * spread), 0.1 * spread]] as const;
        });
        const shot = coachedShot(i, Object.fromEntries(numbers), hold ? 'hold' : 'dribble');
        return { shot, distanceM: far ? 6.9 : 4.2 };
      });
    const odd = (i: number) => i % 2 === 1;
    expect(
      named(shoot((i) => ({ levels: { liftToReleaseS: odd(i) ? 0.75 : 0.5 }, hold: odd(i), far: false }))),
    ).toEqual(['uneven-starts']);
    expect(
      named(shoot((i) => ({ levels: { liftToReleaseS: odd(i) ? 0.75 : 0.5 }, hold: false, far: odd(i) }))),
    ).toEqual(['out-of-range']);
    expect(named(shoot((i) => ({ levels: { launchAngleDeg: 52 - 0.2 * i }, hold: false, far: false })))).toEqual([
      'tired-drift',
    ]);
    expect(
      named(shoot(() => ({ levels: { launchAngleDeg: 52, liftToReleaseS: 0.5 }, hold: false, far: false }))),
    ).toEqual([]);
  });

  it('tells a slow pickup from a stop on the way up, which makes the pickup as long, and names both where both are', () => {
    const usual = { pickupToReleaseS: 1, pauseS: 0.03 };
    const shots = (add: { gather?: number; stop?: number }) =>
      shotsWith({
        pickupToReleaseS: usual.pickupToReleaseS + (add.gather ?? 0) + (add.stop ?? 0),
        pauseS: usual.pauseS + (add.stop ?? 0),
      });
    expect(named(shots({}))).toEqual([]);
    expect(named(shots({ stop: 0.4 }))).toEqual(['two-part']);
    expect(named(shots({ gather: 0.4 }))).toEqual(['slow-pickup']);
    expect(named(shots({ gather: 0.6, stop: 0.4 })).sort()).toEqual(['slow-pickup', 'two-part']);
  });

  it('takes no forearm that rolls over with another spin for a turn in the air', () => {
    // Bands are the usual ones, 30 degrees to either side.
    expect(named(shotsWith({ headingChangeDeg: -42, axisTiltDeg: 0, backspinRps: 2 }))).toEqual(['turn-in-air']);
    expect(named(shotsWith({ headingChangeDeg: -42, axisTiltDeg: -15, backspinRps: 2 }))).toEqual(['side-flick']);
    expect(named(shotsWith({ headingChangeDeg: -42, axisTiltDeg: 0, backspinRps: 0.8 }))).toEqual(['weak-backspin']);
    // Nothing is known of the spin, or it is another one: only what no rolling over explains is a turn.
    expect(named(shotsWith({ headingChangeDeg: -42 }))).toEqual([]);
    expect(named(shotsWith({ headingChangeDeg: -75 }))).toEqual(['turn-in-air']);
    expect(named(shotsWith({ headingChangeDeg: -75, axisTiltDeg: -15, backspinRps: 2 })).sort()).toEqual([
      'side-flick',
      'turn-in-air',
    ]);
  });

  it('waits for a push that shows slowly before a leaning spin is called a flick of the wrist', () => {
    const random = new Random('slow push');
    const shots = Array.from({ length: 15 }, (_, i): WatchedShot => {
      const push = 0.3 + random.normal(0, 0.09);
      return {
        shot: coachedShot(i, { axisTiltDeg: [15 + random.normal(0, 2), 0.3], sidewaysImpulseMps: [push, 0.04] }),
        distanceM: 4.6,
      };
    });
    expect(named(shots)).toEqual(['off-hand-push']);
    expect(named(shots.slice(0, 6))).toEqual([]);
  });

  it('is not kept from a difference between starts by one wild time', () => {
    const random = new Random('wild time');
    const hold = (i: number) => i % 2 === 1;
    const shots = Array.from({ length: 16 }, (_, i): WatchedShot => {
      const liftToReleaseS = i === 0 ? 2.2 : (hold(i) ? 0.78 : 0.5) + random.normal(0, 0.03);
      return {
        shot: coachedShot(i, { liftToReleaseS: [liftToReleaseS, 0.005] }, hold(i) ? 'hold' : 'catch'),
        distanceM: 4.6,
      };
    });
    const best = Array.from({ length: 30 }, () => ({
      ...{ value: 0.5 + random.normal(0, 0.03), standardError: 0.005, startKind: 'catch' as const },
    }));
    const own = deriveWatch(bandsFor({}, { liftToReleaseS: { sets: 2, shots: best } }), 20);
    expect(named(shots, own)).toEqual(['uneven-starts']);
  });

  it('takes the player’s own level from a hold for what a hold comes to, once it is known', () => {
    const random = new Random('own hold');
    const level = { hold: 0.7, catch: 0.5 };
    const kind = (i: number) => (i % 2 === 1 ? ('hold' as const) : ('catch' as const));
    const best = Array.from({ length: 40 }, (_, i) => ({
      ...{ value: level[kind(i)] + random.normal(0, 0.03), standardError: 0.005, startKind: kind(i) },
    }));
    const own = deriveWatch(bandsFor({}, { liftToReleaseS: { sets: 2, shots: best } }), 20);
    const shots = (more: number) =>
      Array.from({ length: 16 }, (_, i): WatchedShot => {
        const liftToReleaseS = level[kind(i)] + (kind(i) === 'hold' ? more : 0) + random.normal(0, 0.03);
        return { shot: coachedShot(i, { liftToReleaseS: [liftToReleaseS, 0.005] }, kind(i)), distanceM: 4.6 };
      });
    expect(named(shots(0), own)).toEqual([]);
    expect(named(shots(0.25), own)).toEqual(['uneven-starts']);
  });

  it('goes on from its state through JSON', () => {
    const shooter = new MadeShooter({ levels: { pauseS: 0.3 } }, new Random('json'));
    const shots = Array.from({ length: 30 }, (_, i) => shooter.shoot({ hold: i % 4 === 0, far: i % 3 === 0 }));
    let whole = initialWatch;
    let parts = initialWatch;
    for (const shot of shots) {
      whole = stepWatch(adult, whole, shot);
      parts = JSON.parse(JSON.stringify(stepWatch(adult, parts, shot)));
    }
    expect(parts).toEqual(whole);
    expect(readWatch(adult, parts)).toEqual(readWatch(adult, whole));
  });
});

describe('ages', () => {
  it('flags nothing under ten and more with each stage', () => {
    expect(stageOfAge(9).faults).toEqual([]);
    expect(stageOfAge(10).name).toBe('straight-line');
    expect(stageOfAge(null).name).toBe('high-finish');
    for (let i = 1; i < ageStages.length; i++) {
      for (const fault of ageStages[i - 1]!.faults) expect(ageStages[i]!.faults).toContain(fault);
      expect(ageStages[i]!.faults.length).toBeGreaterThan(ageStages[i - 1]!.faults.length);
    }
    expect(named(shotsWith({ pauseS: 0.9, axisTiltDeg: 40 }, 50), deriveWatch(bandsFor(), 8))).toEqual([]);
  });
});

describe('bands', () => {
  const best = (sets: number, count: number) => {
    const random = new Random('best');
    const shots = Array.from({ length: count }, () => ({
      ...{ value: random.normal(7, 2), standardError: 0.05, startKind: 'hold' as const },
    }));
    return { entryAngleDeg: { sets, shots }, pauseS: { sets, shots } };
  };

  it('come from the coach before the own best sets before the defaults', () => {
    expect(bandsFor().pauseS).toMatchObject({ from: 'default', high: bandTable.pauseS.high });
    const own = bandsFor({}, best(3, 40)).pauseS;
    expect(own.from).toBe('own-best-sets');
    expect(own.target).toBeCloseTo(7, 0);
    expect(own.high! - own.target!).toBeCloseTo(2, 0);
    expect(own.low).toBeNull();
    expect(bandsFor({ pauseS: { high: 0.2 } }, best(3, 40)).pauseS).toMatchObject({ from: 'coach', high: 0.2 });
  });

  it('of one’s own have a level for each start where the start makes it, about which the spread is taken', () => {
    const random = new Random('levels');
    const startKind = (i: number) => (i % 2 === 0 ? ('catch' as const) : ('dribble' as const));
    const dip = (i: number) => (i % 2 === 0 ? 0.3 : 0.15) + random.normal(0, 0.02);
    const shots = Array.from({ length: 30 }, (_, i) => ({
      ...{ value: dip(i), standardError: 0.01, startKind: startKind(i) },
    }));
    // One shot of which the sensor knew nothing makes no level.
    shots[3] = { value: 2, standardError: 2, startKind: 'dribble' };
    const { dipDepthM } = bandsFor({}, { dipDepthM: { sets: 2, shots } });
    expect(dipDepthM.levels!.catch).toBeCloseTo(0.3, 1);
    expect(dipDepthM.levels!.dribble).toBeCloseTo(0.15, 1);
    expect(dipDepthM.levels!.hold).toBeUndefined();
    expect(dipDepthM.high! - dipDepthM.target!).toBeCloseTo(bandTable.dipDepthM.leastHalfWidth, 5);
    const bands = { ...bandsFor(), dipDepthM };
    const deep = (kind: 'catch' | 'dribble' | 'hold', dipM: number) =>
      Array.from({ length: 15 }, (_, i): WatchedShot => {
        const shot = coachedShot(i, { dipDepthM: [dipM + random.normal(0, 0.02), 0.01] });
        return { shot: { ...shot, startKind: kind }, distanceM: 4.6 };
      });
    const watchful = deriveWatch(bands, 20);
    expect(named(deep('catch', 0.3), watchful)).toEqual([]);
    expect(named(deep('dribble', 0.3), watchful)).toEqual(['deep-dip']);
    expect(named(deep('hold', 0.5), watchful)).toEqual([]);
  });

  it('take too few best shots for none', () => {
    expect(bandsFor({}, best(1, 40)).pauseS.from).toBe('default');
    expect(bandsFor({}, best(3, 19)).pauseS.from).toBe('default');
  });

  it('each name their source', () => {
    for (const row of Object.values(bandTable)) expect(row.source.length).toBeGreaterThan(10);
  });
});

describe('rules and drills', () => {
  it('are there for every fault, with words, sensors, other explanations and a strength to be proved with', () => {
    expect(faultRules.map(({ name }) => name)).toEqual(faultNames);
    expect(faultStrengths.map(({ fault }) => fault)).toEqual(faultNames);
    for (const rule of faultRules) {
      expect(rule.words.length).toBeGreaterThan(20);
      expect(rule.otherExplanations.length).toBeGreaterThan(0);
      expect(Object.values(rule.sensors).some((text) => text !== null)).toBe(true);
      expect(rule.source.length).toBeGreaterThan(10);
    }
  });

  it('say of the ball that it cannot see what no ball measures', () => {
    for (const rule of faultRules) {
      const onlyArm = rule.parts.every(({ measure }) => measure in unseenByBall);
      expect(rule.sensors.ball === null).toBe(onlyArm);
    }
  });

  it('say of a place on the arm that it cannot see what is not measured there', () => {
    // What each place of the mount gives: wrist-shot.ts, `byMount`.
    const elsewhere = {
      forearm: ['axisTiltDeg'],
      'back-of-hand': ['followThroughS', 'forearmElevationDeg', 'headingChangeDeg'],
    };
    for (const place of ['forearm', 'back-of-hand'] as const) {
      for (const { name, parts, sensors, from = {}, seldom = [] } of faultRules) {
        const seen = parts.filter(({ measure }) => seenByArm.includes(measure) && !elsewhere[place].includes(measure));
        // A rule that needs all its parts needs all of them seen.
        if (seen.length === 0) expect(sensors[place], `${name} ${place}`).toBeNull();
        if (sensors[place] === null) expect([...seldom, ...Object.keys(from)], name).not.toContain(place);
      }
    }
  });

  it('leave no fault without a drill, nor a drill without a caution', () => {
    for (const name of faultNames) expect(drillsFor(name, null).length, name).toBeGreaterThan(0);
    for (const { name, faults, fromAge } of ageStages)
      for (const fault of faults) expect(drillsFor(fault, fromAge).length, `${name} ${fault}`).toBeGreaterThan(0);
    for (const { name, parts } of faultRules) {
      const moved = drillsFor(name, null).map(({ moves }) => moves.measure as string);
      expect(
        parts.some(({ measure }) => moved.includes(measure)),
        `a drill for ${name} that moves what the rule looks at`,
      ).toBe(true);
    }
    for (const drill of drillLibrary) {
      expect(drill.cautions.length).toBeGreaterThan(0);
      expect(drill.steps.length).toBeGreaterThan(1);
      expect(drill.dose.daysAWeek).toBeLessThanOrEqual(4);
      expect(drill.moves.by).toBeGreaterThan(0);
    }
    expect(new Set(drillLibrary.map(({ name }) => name)).size).toBe(drillLibrary.length);
  });

  it('take drills of a coach first', () => {
    const own = { ...drillLibrary[0]!, name: 'own' };
    expect(drillsFor('side-flick', 15, [own])[0]!.name).toBe('own');
  });
});

describe('numbers that cannot be', () => {
  it('is a speed below the least that reaches the ring', () => {
    expect(plausibility('speedMarginMps', -0.8, 0.05)).toBe('impossible');
    expect(plausibility('speedMarginMps', -0.2, 0.05)).toBe('fine');
    expect(plausibility('speedMarginMps', -0.8, 0.4)).toBe('fine');
  });

  it('is a lift of more than two seconds', () => {
    expect(plausibility('liftToReleaseS', 2.3, 0.01)).toBe('impossible');
    expect(plausibility('liftToReleaseS', 2.3, 0.3)).toBe('fine');
    expect(plausibility('liftToReleaseS', 1.2, 0.01)).toBe('fine');
  });

  it('tells unusual entries, and leaves the usual alone', () => {
    expect(plausibility('entryAngleDeg', 31, 0.5)).toBe('unusual');
    expect(plausibility('entryAngleDeg', 43.9, 0.5)).toBe('fine');
    expect(implausibleMeasures(coachedShot(0, { entryAngleDeg: [95, 1], pauseS: [0.1, 0.01] }))).toEqual([
      { measure: 'entryAngleDeg', what: 'impossible' },
    ]);
  });

  it('knows how flat a ball may come in', () => {
    // Ball and ring as beside each number; computed from asin(ball / ring).
    for (const [ballM, ringM, deg] of [
      [0.2426, 0.4572, 32.05],
      [9.5, 18, 31.86],
      [0.2435, 0.45, 32.76],
      [0.232, 0.45, 31.03],
    ] as const)
      expect((leastCleanEntryRad(ballM, ringM) * 180) / Math.PI).toBeCloseTo(deg, 1);
  });
});
