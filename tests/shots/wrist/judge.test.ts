import { describe, expect, it } from 'vitest';
import { resolveParams } from '../../../src/foundation/parameters.ts';
import { judgeMovement } from '../../../src/shots/wrist/judge.ts';
import type { Movement } from '../../../src/shots/wrist/movement.ts';
import { wristParams } from '../../../src/shots/wrist/wrist-params.ts';

const params = resolveParams(wristParams);

/** A usual jump shot: 0.9 m at 4.5 m/s and 55°, an arm straight 0.06 s later, a snap of 15 rad/s, a hand that stays. */
const shot: Movement = {
  snap: 500,
  snapS: 2.5,
  snapRateRadps: 15,
  riseM: 0.9,
  lowestS: 2,
  riseSpeedMps: 4.5,
  fastest: 496,
  fastestS: 2.48,
  speedMps: 5.5,
  snapDelayS: 0.02,
  steepRad: 0.96,
  levelSpeedMps: 3.1,
  runM: 0.1,
  ahead: [1, 0, 0],
  pushGainMps: 4,
  forwardTurnRad: 0.9,
  stopS: 0.06,
  stopWayM: 0.17,
  settleS: 0.07,
  againShare: 0.25,
  overshootM: 0.15,
  dropM: 0.05,
  fallSpeedMps: 1,
  laterShare: 0.1,
  downS: 0.7,
  riseOnM: 0.05,
  snapUpShare: 0.12,
  snapRollShare: 0.15,
  carriedTurnRad: 1,
  holdRateRadps: 0.5,
  elevationRad: 1.2,
  raisedRad: 1.4,
};

describe('the judgement of a movement', () => {
  it('takes a usual shot, a soft one of a mime and one from a high set point', () => {
    const mimed = {
      ...shot,
      riseM: 1.1,
      riseSpeedMps: 1.4,
      speedMps: 1.7,
      pushGainMps: 1.2,
      stopS: 0.11,
      stopWayM: 0.1,
    };
    const high = { ...shot, riseM: 0.4, riseSpeedMps: 6, speedMps: 7, stopS: 0.04 };
    for (const one of [shot, mimed, high]) expect(judgeMovement(one, params).isShot).toBe(true);
  });

  it('takes one of which the mount is not known, and one that misses a requirement for another', () => {
    const unknown = { ...shot, elevationRad: null, raisedRad: null };
    const lively = { ...shot, holdRateRadps: 3 };
    for (const one of [unknown, lively]) expect(judgeMovement(one, params).isShot).toBe(true);
  });

  it.each<[string, Partial<Movement>, string]>([
    ['a level throw', { steepRad: 0 }, 'throw'],
    ['a player who runs', { runM: 4.5 }, 'layup-like'],
    [
      'a player who runs a little, leaps and lays the ball up',
      { runM: 2, steepRad: 1.4, snapRateRadps: 7 },
      'layup-like',
    ],
    ['a ball raised and then thrown over the head', { laterShare: 2 }, 'throw'],
    ['a pass from the chest', { raisedRad: 0.1, elevationRad: -0.2 }, 'other-movement'],
    ['an arm raised from hanging', { carriedTurnRad: 2.8, riseOnM: 0.5 }, 'other-movement'],
  ])('does not take %s, and says why', (_, change, kind) => {
    const verdict = judgeMovement({ ...shot, ...change }, params);
    expect(verdict).toMatchObject({ isShot: false, kind });
    expect(verdict.reason).not.toBe('');
  });

  it('tells what one requirement alone speaks against', () => {
    expect(judgeMovement({ ...shot, steepRad: 0 }, params).worthTelling).toBe(true);
    expect(judgeMovement({ ...shot, steepRad: 0, laterShare: 2 }, params).worthTelling).toBe(false);
  });

  it('tells a ball that was raised as for a shot and came down again as a fake', () => {
    const fake = {
      ...shot,
      steepRad: 1.3,
      levelSpeedMps: 0.6,
      holdRateRadps: 6,
      forwardTurnRad: -0.4,
      downS: 0.3,
      againShare: 0.8,
    };
    expect(judgeMovement(fake, params)).toMatchObject({ isShot: false, worthTelling: true, kind: 'pump-fake' });
    expect(judgeMovement({ ...fake, downS: null }, params).kind).not.toBe('pump-fake');
  });
});
