import { expect, test } from 'vitest';
import { sessionWith } from './fault-habits.ts';
import { playShooter } from './play-shooter.ts';

test('a deep dip that is built in is as deep as it is meant to be, whatever the pass', () => {
  const shots = sessionWith('deep-dip', 2, 6, 1);
  const session = { playerSeed: 'deep', sessionSeed: 'deep 1', place: 'wrist-forearm', sensors: 'ball' } as const;
  let depthsM: (number | null | undefined)[] = [];
  for (const seen of playShooter({ ...session, shots, distanceM: null })) {
    depthsM = seen.truth.ball.map(({ measures }) => measures.dipDepthM?.value);
  }
  expect(depthsM).toHaveLength(6);
  for (const depthM of depthsM) expect(Math.abs((depthM ?? 0) - 0.65)).toBeLessThan(0.1);
});
