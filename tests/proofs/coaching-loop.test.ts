import { expect, it } from 'vitest';
import { bandsFor } from '../../src/coaching/bands.ts';
import { deriveWatch, initialWatch, stepWatch } from '../../src/coaching/fault-watch.ts';
import { sessionWith } from '../helpers/fault-habits.ts';
import { faultStrengths } from '../helpers/fault-strengths.ts';
import { playShooter } from '../helpers/play-shooter.ts';

it('a leaning spin that is built into the shooter comes out of the whole analysis and is named (a small part of the proof)', () => {
  const session = {
    ...({ playerSeed: 'small part', sessionSeed: 'small part', place: 'wrist-forearm', sensors: 'ball' } as const),
    ...{ shots: sessionWith('side-flick', 2, 8, 1), distanceM: 4.6 },
  };
  const watch = deriveWatch(bandsFor(), null);
  let state = initialWatch;
  let taken = 0;
  for (const { ball } of playShooter(session)) {
    for (; taken < ball.length; taken++) state = stepWatch(watch, state, { shot: ball[taken]!, distanceM: 4.6 });
    if (state.namedAtShot['side-flick'] !== undefined) break;
  }
  expect(taken).toBeGreaterThanOrEqual(6);
  expect(Object.keys(state.namedAtShot)).toEqual(['side-flick']);
});

it('a session can be built of every fault at every strength', () => {
  for (const { fault } of faultStrengths) {
    for (const strength of [0, 1, 2]) {
      const shots = sessionWith(fault, strength, 4, -1);
      expect(shots.some(({ habit }) => Object.keys(habit).length > 0)).toBe(true);
    }
  }
  expect(sessionWith(null, 0, 4, 1).every(({ habit }) => Object.keys(habit).length === 0)).toBe(true);
  expect(() => sessionWith('none', 0, 1, 1)).toThrow('no session is known');
});
