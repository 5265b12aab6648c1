import { describe, expect, it } from 'vitest';
import { type FlightFacts, judgeFlight } from '../../../src/shots/ball/classify.ts';

/** A free throw on the ring: 0.9 m above release, falling at 3.5 m/s after 4.2 m. */
const freeThrow: FlightFacts = {
  flightS: 0.95,
  speedMps: 7.1,
  speedDoubtMps: 0.02,
  launchAngleRad: 0.93,
  apexM: 1.6,
  endHeightM: 0.9,
  endRiseMps: -3.5,
  endAwayM: 4.2,
  contactKind: 'ring',
  noHand: true,
  hard: true,
  passesRing: true,
};
const ring = { meanM: 0.85, standardDeviationM: 0.1 };
const judge = (facts: Partial<FlightFacts>, hoopHeightM = 3.05) =>
  judgeFlight({ ...freeThrow, ...facts }, ring, hoopHeightM);

describe('a flight is a shot', () => {
  it.each<[string, Partial<FlightFacts>]>([
    ['that meets the ring', {}],
    ['that swishes', { contactKind: 'net', hard: false, endHeightM: 0.65 }],
    ['that meets the board above the ring', { contactKind: 'board', endHeightM: 1.3, endRiseMps: -1 }],
    ['that meets the bracket below the ring, which is hard', { endHeightM: 0.35 }],
    ['that meets the net from outside and falls on', { contactKind: 'net', hard: false, endHeightM: 0.3 }],
    ['that grazes the board on a flat way', { contactKind: 'board', hard: false, endHeightM: 1, endRiseMps: -2 }],
    ['that misses everything and falls to the floor', { contactKind: 'floor', endHeightM: -2, endRiseMps: -7 }],
    [
      'whose end fell into a gap, on an arc down through the height of the ring',
      { endHeightM: null, endRiseMps: null, contactKind: 'unknown' },
    ],
  ])('%s', (_, facts) => {
    expect(judge(facts)).toEqual({ shot: true });
  });

  it('at a low hoop from a lower speed, in proportion to the root of the height', () => {
    // 4 m/s · √(2.13 / 3.05) = 3.34 m/s.
    expect(judge({ speedMps: 3.4 }, 2.13)).toEqual({ shot: true });
    expect(judge({ speedMps: 3.3 }, 2.13)).toMatchObject({ shot: false, reason: expect.stringContaining('3.3 m/s') });
    expect(judge({ speedMps: 3.4 })).toMatchObject({ shot: false });
  });

  const laidUp = { speedMps: 3.6, launchAngleRad: 1.15, apexM: 0.55, endHeightM: 0.5, endRiseMps: -0.9, endAwayM: 0.8 };

  it('laid up slowly from beside the ring, where it meets iron or wood', () => {
    expect(judge({ ...laidUp, contactKind: 'ring' })).toEqual({ shot: true });
    expect(judge({ ...laidUp, contactKind: 'board' })).toEqual({ shot: true });
    expect(judge({ ...laidUp, contactKind: 'net', hard: false })).toMatchObject({ shot: false });
    expect(judge({ ...laidUp, endAwayM: 2 })).toMatchObject({ shot: false });
    expect(judge({ ...laidUp, noHand: false })).toMatchObject({ shot: false });
  });

  it('that left a little slower than a shot leaves, by less than the doubt of it', () => {
    const slow = { speedMps: 3.8, contactKind: 'net', hard: false } as const;
    expect(judge({ ...slow, speedDoubtMps: 0.3 })).toEqual({ shot: true });
    expect(judge({ ...slow, speedDoubtMps: 0.1 })).toMatchObject({ shot: false, kind: 'pass' });
  });
});

describe('a flight is no shot', () => {
  it.each<[string, Partial<FlightFacts>, string, string]>([
    ['dropped', { apexM: 0.01, endAwayM: 0.2, contactKind: 'floor', endHeightM: -1 }, 'drop', 'rose 0.01 m'],
    ['a chest pass', { apexM: 0.2, endAwayM: 4, contactKind: 'hands', noHand: false, hard: false }, 'pass', '0.20 m'],
    [
      'lobbed to a hand as high as the ring, 9° downward',
      { speedMps: 9.2, launchAngleRad: 0.49, endRiseMps: -1.2, contactKind: 'net', hard: false },
      'pass',
      '8° downward',
    ],
    [
      'tossed softly up',
      { speedMps: 3.5, endAwayM: 0.3, contactKind: 'hands', noHand: false, hard: false },
      'toss',
      '3.5 m/s',
    ],
    ['passed softly', { speedMps: 3.5, endAwayM: 2.5 }, 'pass', '4.0 m/s or more'],
    ['thrown straight up, even against the ring', { endAwayM: 0.5 }, 'toss', '0.5 m along the floor'],
    [
      'lobbed into hands',
      { contactKind: 'hands', noHand: false, hard: false, endHeightM: 0.5 },
      'pass',
      'in hands 0.50 m',
    ],
    [
      'caught as high above its release as a ring may be',
      { contactKind: 'hands', noHand: false, hard: false, endHeightM: 0.9 },
      'pass',
      'in hands 0.90 m',
    ],
    [
      'tossed and caught',
      { contactKind: 'hands', noHand: false, hard: false, endAwayM: 1.2, endHeightM: 0.2 },
      'toss',
      'in hands',
    ],
    ['low over the floor', { contactKind: 'floor', apexM: 0.53, endHeightM: -2 }, 'pass', 'without coming near'],
    ['left too flat for a ring', { launchAngleRad: 0.4 }, 'pass', 'so flat it cannot fall into a ring'],
    ['ended far below the ring', { endHeightM: 0.1, contactKind: 'unknown' }, 'pass', 'away from the height'],
    [
      'ended below the ring, softly',
      { endHeightM: 0.35, hard: false, noHand: false, contactKind: 'unknown' },
      'pass',
      'away from the height',
    ],
    ['still rising where it ended', { endRiseMps: 2 }, 'pass', 'away from the height'],
    ['ended far above the ring', { endHeightM: 2.1, contactKind: 'unknown' }, 'pass', '2.10 m'],
    [
      'ended in a gap on a low arc',
      { endHeightM: null, endRiseMps: null, passesRing: false },
      'undecided',
      'was not seen',
    ],
  ])('%s', (_, facts, kind, reason) => {
    expect(judge(facts)).toEqual({ shot: false, kind, reason: expect.stringContaining(reason) });
  });
});
