import type { ClubStore } from '../../src/sessions/database/club-store.ts';
import { openSqlite } from '../../src/sessions/database/open-sqlite.ts';
import { madeShot } from '../server/made-shots.ts';

/** A generated club; years of practices of many players. */
export interface BigClub {
  readonly sessions: number;
  readonly shotsEach: number;
  /** Sessions of one player and of one year, at the start of the club's time: the same whatever the total. */
  readonly fixedSessions: number;
}

/** The player and the year that are asked for. */
export const fixedPlayerId = 'player-fixed';
export const clubStartS = 1_600_000_000;
export const yearS = 365 * 86_400;
const daySeconds = 86_400;
const otherPlayers = 40;

/**
 * Fills an empty database: the fixed player's sessions in the first year, then as many of others over the years that follow. Each
 * shot has a result of the real size; every tenth set is shot with a hop.
 *
 * @param file of a database that `ClubStore` has made and closed.
 */
export function fillClub(file: string, clubId: string, { sessions, shotsEach, fixedSessions }: BigClub): void {
  const sqlite = openSqlite(file);
  const document = JSON.stringify(madeShot(7));
  const insert = (table: string, columns: number) =>
    sqlite.prepare(`insert into ${table} values (${Array(columns).fill('?').join(', ')})`);
  // A generated database need not outlive a loss of power.
  sqlite.exec('pragma synchronous = off');
  sqlite.exec('begin');
  const player = insert('player', 10);
  const addPlayer = (id: string, name: string) => {
    player.run([id, clubId, name, 'right', 'adult', 7, 3.05, 'metric', '', clubStartS]);
  };
  addPlayer(fixedPlayerId, 'Player 07');
  for (let i = 0; i < otherPlayers; i++) addPlayer(`player-${i}`, `Other ${i}`);
  insert('consent', 7).run(['consent-1', clubId, fixedPlayerId, 'export', clubStartS, 'player', null]);
  insert('sensor', 8).run(['sensor-1', clubId, 'one', 'ball', null, '00', clubStartS, clubStartS]);
  const session = insert('session', 13);
  const set = insert('shot_set', 13);
  const factor = insert('set_factor', 5);
  const shot = insert('shot', 15);
  const result = insert('shot_result', 10);
  for (let s = 0; s < sessions; s++) {
    const isFixed = s < fixedSessions;
    // The fixed ones lie within the first year, the others go on from there, two a day.
    const startS = isFixed ? clubStartS + (s * yearS) / fixedSessions : clubStartS + yearS + (s * daySeconds) / 2;
    const playerId = isFixed ? fixedPlayerId : `player-${s % otherPlayers}`;
    const id = `session-${String(s).padStart(6, '0')}`;
    session.run([id, clubId, '', startS, startS + 3600, 'UTC', 0, 0, null, '', '{}', '1', null]);
    set.run([`set-${s}`, clubId, id, playerId, 'drill', '', '', 4.6, startS, startS + 3600, null, null, '']);
    factor.run([`factor-${s}`, clubId, `set-${s}`, 'footwork', s % 10 === 0 ? 'hop' : 'one-two']);
    for (let k = 0; k < shotsEach; k++) {
      const shotId = `shot-${s}-${k}`;
      const seq = s * shotsEach + k;
      const atS = startS + 7 * k;
      shot.run([shotId, clubId, id, `set-${s}`, playerId, 'sensor-1', 0, k, atS, 'make', null, '', seq, '{}', shotId]);
      result.run([`result-${s}-${k}`, clubId, shotId, 1, '1', '{}', atS, 'dribble', 'ring', document]);
    }
    if (s % 100 === 99) {
      sqlite.exec('commit');
      sqlite.exec('begin');
    }
  }
  sqlite.exec('commit');
  sqlite.close();
}

/** What people ask of the club, none of which may take longer where there is more of it. */
export const clubQuestions: readonly { readonly name: string; readonly ask: (store: ClubStore) => Promise<unknown> }[] =
  [
    { name: 'list of the newest 50 sessions', ask: (store) => store.sessions.list({ limit: 50 }) },
    {
      name: "one player's year",
      ask: (store) => store.shots.all({ playerId: fixedPlayerId, fromS: clubStartS, untilS: clubStartS + yearS }),
    },
    {
      name: "one player's shots with a hop",
      ask: (store) => store.shots.all({ playerId: fixedPlayerId, factor: { factor: 'footwork', level: 'hop' } }),
    },
    {
      name: 'a week of everybody',
      ask: (store) => store.shots.all({ fromS: clubStartS, untilS: clubStartS + 7 * daySeconds }),
    },
    { name: 'shots of one session', ask: (store) => store.shots.all({ sessionId: 'session-000001' }) },
    {
      name: 'the newest shots of one session',
      ask: (store) => store.shots.list({ sessionId: 'session-000001', newestFirst: true, limit: 100 }),
    },
    {
      name: 'how many shots of one session lie before another',
      ask: (store) => store.shots.countBefore('session-000001', { atS: clubStartS + 2 * yearS, id: 'shot-1-1' }),
    },
    { name: 'whose the shots of one session are', ask: (store) => store.shots.countsIn('session-000001') },
    { name: 'what pages were told last', ask: (store) => store.shots.latestTold(1000) },
    { name: 'a shot by the name that a page knows', ask: (store) => store.shots.idsOf(['shot-1-1']) },
    { name: 'the last 50 changes', ask: (store) => store.edits.latest(50) },
  ];
