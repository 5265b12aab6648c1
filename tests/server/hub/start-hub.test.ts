import { setTimeout as pause } from 'node:timers/promises';
import { describe, expect, it, onTestFinished } from 'vitest';
import WebSocket from 'ws';
import { systemClock } from '../../../src/devices/system-clock.ts';
import { startHub } from '../../../src/server/hub/start-hub.ts';
import type { LiveDocument, ShotDocument } from '../../../src/server/wire/live-document.ts';
import { ClubStore } from '../../../src/sessions/database/club-store.ts';
import { defaultBallSettings } from '../../../src/shots/shot.ts';
import { hasPostgres, noPostgres, sharedCluster } from '../../helpers/postgres-cluster.ts';
import { temporaryFolder } from '../../helpers/temporary-folder.ts';
import { coach, madeResult } from '../../sessions/database/opened-store.ts';
import { travelled } from '../../sessions/hub/court-and-hub.ts';

const nowS = () => systemClock.nowS();

async function hubProcess(address: string) {
  const hub = await startHub({
    ...{ version: '1.2.3', port: 0, dataFolder: temporaryFolder(), pageFolder: '', settings: defaultBallSettings },
    database: { address },
  });
  onTestFinished(() => hub.close());
  return hub;
}

/** What a page of one process is told. */
async function page(url: string, since?: number): Promise<LiveDocument[]> {
  const told: LiveDocument[] = [];
  const query = since === undefined ? '' : `?since=${since}`;
  const socket = new WebSocket(new URL(`/api/live${query}`, url.replace('http', 'ws')));
  onTestFinished(() => socket.terminate());
  socket.on('message', (data) => told.push(JSON.parse(String(data)) as LiveDocument));
  await new Promise((resolve) => socket.once('open', resolve));
  return told;
}

const shots = (told: readonly LiveDocument[]) =>
  told.filter((document): document is ShotDocument => document.kind === 'shot');

async function until(holds: () => boolean): Promise<void> {
  while (!holds()) await pause(10);
}

const name = hasPostgres ? 'a hub' : `a hub (${noPostgres})`;

describe.skipIf(!hasPostgres)(name, () => {
  it('tells the pages of all its processes the same under the same numbers, and whose court it was', async () => {
    const cluster = await sharedCluster();
    const address = cluster.address(await cluster.createDatabase());
    const store = await ClubStore.open({ address, nowS });
    onTestFinished(() => store.close());
    const { id: courtId } = await store.courts.make('North 2');
    const court = await ClubStore.open({ file: ':memory:', nowS });
    onTestFinished(() => court.close());
    await court.players.seeSensor({ id: 'ball-a', placement: 'ball', description: '00' });
    const words = { name: '', timeZone: 'UTC', simulated: false, recording: null, settings: {} };
    const sessionId = await court.sessions.start(coach, words);
    const shoot = async (index: number) => {
      const head = {
        v: 1,
        kind: 'shot',
        shotId: `run.${index}`,
        runId: 'run',
        sensorId: 'ball-a',
        at: '',
        hostTimeS: 1,
      };
      const place = { sessionId, setId: null, playerId: null, sensorId: 'ball-a', streamIndex: 0, atS: nowS() };
      await court.shots.add(place, madeResult(index), { seq: index, head: { ...head, simulated: false } as never });
      const after = await court.hub.position('handed');
      const { documents, upTo } = await court.hub.forHub(after, 100);
      await store.hub.take({ id: courtId, name: 'North 2' }, travelled(documents));
      await court.hub.setPosition('handed', upTo);
    };
    await shoot(1);
    const [one, other] = [await hubProcess(address), await hubProcess(address)];
    const [first, second] = [await page(one.url), await page(other.url)];
    await shoot(2);
    await until(() => shots(first).length >= 2 && shots(second).length >= 2);
    expect(shots(first).map(({ shotId, court: name }) => [shotId, name])).toEqual([
      ['run.1', 'North 2'],
      ['run.2', 'North 2'],
    ]);
    expect(shots(first)).toEqual(shots(second));
    // What a coach changes at one process is told by the other, with a higher number.
    const answer = await fetch(new URL('/api/shots/tag', one.url), {
      method: 'POST',
      headers: { 'content-type': 'application/json' },
      body: JSON.stringify({ which: { shotIds: ['run.2'] }, outcome: 'make' }),
    });
    expect(answer.status).toBe(200);
    await until(() => shots(first).length >= 3 && shots(second).length >= 3);
    expect(shots(second).at(-1)).toMatchObject({ shotId: 'run.2', outcome: 'make' });
    expect(shots(first)).toEqual(shots(second));
    // A page that turns to the other process misses nothing and hears nothing twice.
    const returned = await page(other.url, shots(first)[1]?.seq);
    await until(() => shots(returned).length >= 1);
    await pause(100);
    expect(shots(returned)).toEqual(shots(first).slice(2));
    // A connection that PostgreSQL ended loses nothing either.
    await cluster.run(
      'postgres',
      `select pg_terminate_backend(pid) from pg_stat_activity where query like 'listen%' and datname = '${new URL(address).pathname.slice(1)}'`,
    );
    await shoot(3);
    await until(() => shots(first).length >= 4 && shots(second).length >= 4);
    expect(shots(first)).toEqual(shots(second));
  });

  it('hears nothing of another club in the same database', async () => {
    const cluster = await sharedCluster();
    const address = cluster.address(await cluster.createDatabase());
    const hub = await hubProcess(address);
    const told = await page(hub.url);
    const { addPostgresClub } = await import('../../../src/sessions/database/postgres/postgres-engine.ts');
    const clubId = await addPostgresClub(address, nowS(), 'Another club');
    const others = await ClubStore.open({ address, clubId, nowS });
    onTestFinished(() => others.close());
    await others.players.add(coach, { pseudonym: 'Player of another club' });
    const { key } = await others.courts.make('Court of another club');
    await pause(1500);
    expect(JSON.stringify(told)).not.toContain('another club');
    expect(told.filter(({ kind }) => kind === 'change')).toEqual([]);
    const refused = await fetch(new URL('/api/hub/court', hub.url), { headers: { authorization: `Bearer ${key}` } });
    expect(refused.status).toBe(401);
  });
});
