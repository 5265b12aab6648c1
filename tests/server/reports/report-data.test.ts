import { expect, test } from 'vitest';
import { playerReport } from '../../../src/reports/player-report.ts';
import { playerReportData, sessionReportData } from '../../../src/server/reports/report-data.ts';
import { coach, madeResult, openedStore, withPlayer } from '../../sessions/database/opened-store.ts';

const request = { audience: 'coach', timeZone: 'UTC', madeS: 1_764_000_900, programVersion: '1.2.3' } as const;

async function twoPlayers() {
  const { store, clock } = await openedStore();
  const { playerId, sessionId } = await withPlayer(store);
  const otherId = await store.players.add(coach, { pseudonym: 'Player 08', age_band: 'under-10' });
  await store.players.giveConsent(coach, otherId, 'record', 'parent');
  const setId = await store.sessions.startSet(coach, sessionId, {
    kind: 'drill',
    playerId,
    distanceM: 4.6,
    factors: [{ factor: 'footwork', level: 'hop' }],
  } as never);
  for (let index = 0; index < 8; index++) {
    const own = index < 6;
    const place = {
      sessionId,
      setId: own ? setId : null,
      playerId: own ? playerId : otherId,
      sensorId: null,
      streamIndex: 0,
    };
    await store.shots.add({ ...place, atS: clock.nowS + 10 * index }, madeResult(index));
  }
  return { store, sessionId, playerId, otherId };
}

test('a practice of several players is told of all together, of whom nothing is judged', async () => {
  const { store, sessionId } = await twoPlayers();
  const told = await sessionReportData(store, sessionId, null, request);
  expect(told.shots).toHaveLength(8);
  expect(told.player).toBeNull();
  expect(told.findings).toEqual([]);
  await store.close();
});

test('one player has own shots, sets, findings and load alone', async () => {
  const { store, sessionId, playerId, otherId } = await twoPlayers();
  const told = await sessionReportData(store, sessionId, playerId, request);
  expect(told.shots).toHaveLength(6);
  expect(told.player).toMatchObject({ pseudonym: 'Player 07', ageYears: 18 });
  expect(told.findings.length).toBeGreaterThan(5);
  expect(told.places).toEqual(['ball']);
  expect(told.load).toMatchObject({ shotsToday: 6, days7: 1 });
  expect(told.timeZone).toBe('Europe/Berlin');
  // Under ten there is nothing that could be called a fault.
  const child = await sessionReportData(store, sessionId, otherId, request);
  expect(child.shots).toHaveLength(2);
  expect(child.findings).toEqual([]);
  await store.close();
});

test('who did not shoot there has no report of it', async () => {
  const { store, sessionId } = await twoPlayers();
  const absent = await store.players.add(coach, { pseudonym: 'Player 09' });
  await expect(sessionReportData(store, sessionId, absent, request)).rejects.toThrow(
    'Player 09 has no shot in this session',
  );
  await expect(sessionReportData(store, 'none', null, request)).rejects.toThrow('none');
  await store.close();
});

test('over time each practice is a day with its own numbers', async () => {
  const { store, playerId } = await twoPlayers();
  const told = await playerReportData(store, playerId, request);
  expect(told.days).toHaveLength(1);
  expect(told.days[0]).toMatchObject({ shots: 6, made: null, simulated: true });
  expect(told.days[0]?.values.launchAngleDeg?.values).toHaveLength(6);
  expect(told.days[0]?.values.speedMarginMps).toBeUndefined();
  // One day is no stretch of time, and one practice no change.
  const report = playerReport(told);
  expect(report).toContain('24 November 2025 · 1 practice');
  expect(report).not.toMatch(/From [^<]* to /);
  expect(report).toContain('This practice was simulated');
  expect(report).not.toContain('class="row-chart"');
  await store.close();
});
