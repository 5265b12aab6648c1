import { describe, expect, it } from 'vitest';
import type { ShotTruth } from '../../src/simulate/practice-truth.ts';
import { excusesNull, gapsOf, insideGap, type StreamGaps } from './gap-rule.ts';

const shot = {
  startKind: 'catch',
  pickupS: 9,
  liftS: 9.4,
  releaseS: 10,
  contactS: 11,
  contactKind: 'ring',
  setting: { aim: 'through' },
} as ShotTruth;

const gapAt = (fromS: number, toS: number): StreamGaps => ({
  spansS: [[fromS, toS]],
  filterDelayS: 0.003,
  periodS: 0.005,
});

describe('what a null may be excused by', () => {
  it('an event in a gap, as the sensor shows it with its delay, excuses what needs that event and nothing else', () => {
    const gaps = gapAt(9.99, 10.02);
    for (const name of ['release', 'launchSpeedMps', 'flightS', 'pickupToReleaseS']) {
      expect(excusesNull(name, 'gap', shot, gaps), name).toBe(true);
    }
    for (const name of ['pickup', 'contact', 'dipDepthM', 'contactHardnessMps']) {
      expect(excusesNull(name, 'gap', shot, gaps), name).toBe(false);
    }
    expect(excusesNull('release', 'poor-fit', shot, gaps)).toBe(false);
    expect(excusesNull('release', 'gap', shot, null)).toBe(false);
  });

  it('reaches two samples beyond the gap and no farther', () => {
    expect(excusesNull('release', 'gap', shot, gapAt(9.95, 9.994))).toBe(true);
    expect(excusesNull('release', 'gap', shot, gapAt(9.95, 9.992))).toBe(false);
  });

  it('a contact that does not tell the ring’s height excuses the entry angle alone', () => {
    const board = { ...shot, contactKind: 'board' } as ShotTruth;
    const outsideNet = { ...shot, contactKind: 'net', setting: { aim: 'short-air' } } as ShotTruth;
    expect(excusesNull('entryAngleDeg', 'no-ring-reference', board, null)).toBe(true);
    expect(excusesNull('entryAngleDeg', 'no-ring-reference', outsideNet, null)).toBe(true);
    expect(excusesNull('entryAngleDeg', 'no-ring-reference', shot, null)).toBe(false);
    expect(excusesNull('apexM', 'no-ring-reference', board, null)).toBe(false);
  });
});

describe('numbers that nobody can know', () => {
  it('are those of sudden events deeper than 5 ms in a gap; the lift is none', () => {
    expect(insideGap('release', shot, gapAt(9.99, 10.02))).toBe(true);
    expect(insideGap('release', shot, gapAt(10, 10.03))).toBe(false);
    expect(insideGap('spinRps', shot, gapAt(9.99, 10.02))).toBe(false);
    expect(insideGap('lift', shot, gapAt(9.38, 9.42))).toBe(false);
    expect(insideGap('pickup', shot, gapAt(8.98, 9.03))).toBe(true);
    expect(insideGap('pickup', { ...shot, startKind: 'hold' }, gapAt(8.98, 9.03))).toBe(false);
  });
});

it('the gaps of a block are where its samples say that some are missing before them', () => {
  const block = {
    length: 3,
    timeS: Float64Array.of(0, 0.005, 0.04),
    accelMps2: new Float64Array(9),
    gyroRadps: null,
    flags: Uint8Array.of(0, 0, 4),
  };
  expect(gapsOf(block, 0.003, 200)).toEqual({ spansS: [[0.005, 0.04]], filterDelayS: 0.003, periodS: 0.005 });
});
