import { expect, test } from 'vitest';
import { bandsFor } from '../../src/coaching/bands.ts';
import { playerReport } from '../../src/reports/player-report.ts';
import { Random } from '../../src/simulate/random.ts';
import { reportFrame } from '../helpers/made-report.ts';

const random = new Random('days');
const days = [0.62, 0.6, 0.55].map((level, i) => ({
  startedS: 1_764_000_000 + i * 3 * 86_400,
  simulated: false,
  shots: 24,
  made: null,
  values: {
    pickupToReleaseS: {
      values: Array.from({ length: 24 }, () => random.normal(level, 0.03)),
      standardErrors: Array.from({ length: 24 }, () => 0.006),
    },
  },
}));
const input = {
  ...reportFrame,
  player: { pseudonym: 'Player 07', hand: 'right' as const, ageYears: 16 },
  ...{ days, bands: bandsFor(), proofs: [], load: null },
};

test('the first and the last practice are told with what their shots leave open', () => {
  const told = playerReport(input);
  expect(told).toMatch(/First practice 0\.\d\d s \(0\.\d\d to 0\.\d\d s\), last 0\.\d\d s \(0\.\d\d to 0\.\d\d s\)\./);
  expect(told).toContain('Pain means stop');
});

test('a player without a practice has a report that says so', () => {
  const told = playerReport({ ...input, days: [], player: { ...input.player, ageYears: null } });
  expect(told).toContain('No practice of this player has been kept yet.');
  expect(told).toMatch(/looked at in the oldest \(/);
});
