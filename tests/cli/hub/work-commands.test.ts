import { existsSync, readFileSync } from 'node:fs';
import path from 'node:path';
import { beforeAll, describe, expect, it } from 'vitest';
import type { Config } from '../../../src/cli/config.ts';
import { systemClock } from '../../../src/devices/system-clock.ts';
import { ClubStore } from '../../../src/sessions/database/club-store.ts';
import { mostTries } from '../../../src/sessions/hub/job-records.ts';
import { hasPostgres, noPostgres, sharedCluster } from '../../helpers/postgres-cluster.ts';
import { temporaryFolder } from '../../helpers/temporary-folder.ts';
import { coach, madeResult, withPlayer } from '../../sessions/database/opened-store.ts';
import { runCli } from '../run-cli.ts';

const readConfig = (): Config => ({ port: 0, dataFolder: temporaryFolder(), pageFolder: '' });

it('work is asked of a hub that is named, and of no other', async () => {
  for (const words of [['work'], ['jobs'], ['reanalyze'], ['export'], ['try-again']]) {
    const { code, stderr } = await runCli(['hub', ...words], { readConfig });
    expect({ code, stderr }).toMatchObject({ code: 2, stderr: expect.stringContaining('--database') });
  }
});

describe.skipIf(!hasPostgres)(`the commands for work of a hub${hasPostgres ? '' : ` (${noPostgres})`}`, () => {
  let address = '';
  const hub = (...words: string[]) =>
    runCli(['hub', ...words, '--database', address], { readConfig, untilEndIsAsked: () => new Promise(() => {}) });

  beforeAll(async () => {
    const cluster = await sharedCluster();
    address = cluster.address(await cluster.createDatabase());
    const store = await ClubStore.open({ address, nowS: () => systemClock.nowS() });
    const { playerId, sessionId } = await withPlayer(store);
    await store.players.giveConsent(coach, playerId, 'export', 'parent');
    await store.players.seeSensor({ id: 'ball-a', placement: 'ball', description: '00' });
    for (const index of [0, 1]) {
      const place = { sessionId, setId: null, playerId, sensorId: 'ball-a', streamIndex: 0 };
      await store.shots.add({ ...place, atS: systemClock.nowS() + index }, madeResult(index));
    }
    await store.close();
  });

  it('an export is asked for, written by a worker, listed and fetched', async () => {
    expect((await hub('jobs')).stdout).toContain('Nothing was asked');
    const id = (await hub('export', '--player', 'Player 07')).stdout.trim();
    expect((await hub('jobs')).stdout).toMatch(/waiting[^\n]*export/);
    const early = path.join(temporaryFolder(), 'early.zip');
    expect(await hub('fetch', id, early)).toMatchObject({
      code: 1,
      stderr: expect.stringContaining('finished export'),
    });
    expect(existsSync(early)).toBe(false);
    const worked = await hub('work', '--threads', '1', '--until-done');
    expect(worked).toMatchObject({ code: 0, stdout: expect.stringContaining('2 shots of 1 sessions written') });
    expect((await hub('jobs', '--watch')).stdout).toMatch(/done[\s\S]*1 done, 0 stopped/);
    const file = path.join(temporaryFolder(), 'export.zip');
    expect((await hub('fetch', id, file)).code).toBe(0);
    expect(readFileSync(file).subarray(0, 2).toString()).toBe('PK');
    expect(JSON.parse((await hub('jobs', '--json')).stdout).jobs).toMatchObject([{ id, state: 'done' }]);
  });

  it('what was put aside is told with its reason, and tried again or let go', async () => {
    const store = await ClubStore.open({ address, nowS: () => systemClock.nowS() });
    const id = await store.jobs.ask(coach, { kind: 'reanalysis', subject: 'no-such-session', words: {} });
    for (let tries = 0; tries < mostTries; tries++) {
      await store.context.db.updateTable('job').set({ not_before_s: 0 }).where('id', '=', id).execute();
      const job = await store.jobs.claim('w');
      if (job) await store.jobs.fail(job, 'the disk is wet');
    }
    await store.close();
    expect((await hub('jobs')).stdout).toMatch(/put aside[\s\S]*the disk is wet/);
    expect((await hub('try-again')).stdout).toContain('1 pieces of work');
    expect((await hub('jobs')).stdout).toMatch(/waiting[^\n]*no-such-session/);
    expect((await hub('stop-job', id)).stdout).toContain('is stopped');
    expect((await hub('stop-job', 'nothing-like-it')).code).toBe(2);
  });

  it('a session without a handed recording is not gone through, which is said', async () => {
    expect((await hub('reanalyze')).stdout).toContain('0 recordings');
    expect(await hub('reanalyze', 'last')).toMatchObject({
      code: 1,
      stderr: expect.stringContaining('no whole recording'),
    });
  });
});
