import { rmSync } from 'node:fs';
import path from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { ClubStore } from '../../../src/sessions/database/club-store.ts';
import { moveClub } from '../../../src/sessions/database/postgres/move-club.ts';
import { clubQuestions, clubStartS, fillClub } from '../../helpers/big-club.ts';
import { hasPostgres, noPostgres, sharedCluster } from '../../helpers/postgres-cluster.ts';
import { tempFolder } from '../../helpers/temp-folder.ts';

const file = path.join(tempFolder(), 'club.db');
let store: ClubStore;

beforeAll(async () => {
  const made = await ClubStore.open({ file, nowS: () => clubStartS });
  const { clubId } = made;
  await made.close();
  fillClub(file, clubId, { sessions: 40, shotsEach: 20, fixedSessions: 10 });
  store = await ClubStore.open({ file, nowS: () => clubStartS });
});
afterAll(async () => {
  await store.close();
  rmSync(file, { force: true });
});

/** Tables that grow with every practice. */
const growing = ['session', 'shot', 'shot_result', 'shot_set', 'edit'];

it.each(clubQuestions)('$name is answered by an index, without looking through a table that grows', async ({ ask }) => {
  const plans = await store.plansOf(() => ask(store));
  expect(plans.length).toBeGreaterThan(0);
  for (const { sql, plan } of plans) {
    const scans = plan.filter((line) => growing.some((table) => new RegExp(`^SCAN ${table}( |$)`).test(line)));
    // A walk along an index in the order that is asked for ends with the limit.
    const bad = scans.filter((line) => !/USING (COVERING )?INDEX/.test(line) || !/limit/.test(sql));
    expect(bad, `${sql}\n${plan.join('\n')}`).toEqual([]);
  }
});

it('the pages of one player, session and stretch of time begin where the page before ended, and need no sorting', async () => {
  for (const filter of [
    { playerId: 'player-1' },
    { sessionId: 'session-000001' },
    { fromS: clubStartS, untilS: clubStartS + 1e7 },
  ]) {
    const after = { atS: clubStartS + 10, id: 'a' };
    const plans = await store.plansOf(() => store.shots.list({ ...filter, after, limit: 100 }));
    const lines = plans.flatMap(({ plan }) => plan);
    expect(
      lines.filter((line) => line.includes('TEMP B-TREE')),
      lines.join('\n'),
    ).toEqual([]);
    expect(lines[0], lines.join('\n')).toMatch(/^SEARCH shot USING INDEX \w+ \(.*(at_s>|\(at_s,id\)>)/);
  }
});

describe.skipIf(!hasPostgres)(`on PostgreSQL${hasPostgres ? '' : ` (${noPostgres})`}`, () => {
  let moved: ClubStore;
  beforeAll(async () => {
    const cluster = await sharedCluster();
    const database = await cluster.createDatabase();
    const address = cluster.address(database);
    await moveClub({ file, address, nowS: () => clubStartS });
    // So small a table is looked through as a whole; what is asked is whether there is another way.
    await cluster.run(database, `alter database "${database}" set enable_seqscan = off`);
    moved = await ClubStore.open({ address: `${address}?connections=3`, nowS: () => clubStartS });
  });
  afterAll(() => moved?.close());

  it.each(clubQuestions)('$name is answered by an index of every part', async ({ ask }) => {
    const plans = await moved.plansOf(() => ask(moved));
    expect(plans.length).toBeGreaterThan(0);
    for (const { sql, plan } of plans) {
      const scans = plan.filter((line) => /Seq Scan on (session|shot|edit)/.test(line));
      expect(scans, `${sql}\n${plan.join('\n')}`).toEqual([]);
    }
  });

  it('a stretch of time is looked for in the parts of its months alone', async () => {
    const filter = { fromS: clubStartS, untilS: clubStartS + 86_400 };
    const [asked] = await moved.plansOf(() => moved.shots.list(filter));
    const parts = (asked?.plan ?? []).flatMap((line) => / on (shot_\d{4}_\d{2})/.exec(line)?.[1] ?? []);
    expect([...new Set(parts)]).toEqual(['shot_2020_09']);
  });
});
