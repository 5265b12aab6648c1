import { describe, expect, it } from 'vitest';
import type { ClubStore } from '../../../src/sessions/database/club-store.ts';
import { type JobLease, LeaseLostError, mostTries } from '../../../src/sessions/hub/job-records.ts';
import { onBothEngines } from '../database/on-both-engines.ts';
import { coach, madeResult, withPlayer } from '../database/opened-store.ts';

const about = (subject: string) => ({ kind: 'reanalysis' as const, subject, words: { analysisVersion: '1' } });

/** The time until a failed piece may be tried again, or a silent worker is taken to be gone, is over. */
async function letTimePass(store: ClubStore): Promise<void> {
  const jobs = store.context.db.updateTable('job').where('club_id', '=', store.clubId);
  await jobs.set({ not_before_s: 0 }).execute();
  await jobs.set({ lease_until_s: 1 }).where('state', '=', 'running').execute();
}

const end = (store: ClubStore, job: JobLease) => store.context.write((trx) => store.jobs.done(trx, job, { again: 2 }));

describe('work of a hub', () => {
  onBothEngines((openedStore) => {
    it('that is asked for twice is one piece, until it has ended', async () => {
      const { store } = await openedStore();
      const id = await store.jobs.ask(coach, about('s1'));
      expect(await store.jobs.ask(coach, about('s1'))).toBe(id);
      const other = await store.jobs.ask(coach, about('s2'));
      expect(other).not.toBe(id);
      const job = await store.jobs.claim('w');
      expect(job?.jobId).toBe(id);
      expect(await store.jobs.ask(coach, about('s1'))).toBe(id);
      await end(store, job as JobLease);
      expect(await store.jobs.ask(coach, about('s1'))).not.toBe(id);
      expect(await store.jobs.counts()).toEqual({ waiting: 2, running: 0, done: 1, parked: 0, stopped: 0 });
      // The database itself sees to it.
      const open = { ...(await row(store, other)), id: 'another' };
      await expect(store.context.db.insertInto('job').values(open).execute()).rejects.toThrow(/unique/i);
    });

    it('goes to one worker each, oldest first, however many ask at once', async () => {
      const { store } = await openedStore();
      for (let index = 0; index < 12; index++) await store.jobs.ask(coach, about(`s${String(index).padStart(2, '0')}`));
      const claimed = await Promise.all(Array.from({ length: 20 }, (_, worker) => store.jobs.claim(`w${worker}`)));
      const subjects = claimed.flatMap((job) => (job === null ? [] : [job.subject]));
      // A worker that met another one at the very same piece may have gone away empty: it asks again.
      for (let job = await store.jobs.claim('w'); job !== null; job = await store.jobs.claim('w'))
        subjects.push(job.subject);
      expect(subjects.sort()).toEqual(Array.from({ length: 12 }, (_, index) => `s${String(index).padStart(2, '0')}`));
    });

    it('of a worker that went silent goes to another, and what the silent one still says does not count', async () => {
      const { store } = await openedStore();
      const id = await store.jobs.ask(coach, about('s1'));
      const silent = await store.jobs.claim('silent');
      if (!silent) throw new Error('nothing was claimed');
      expect(await store.jobs.renew(silent, 0.4)).toBe(true);
      expect((await store.jobs.get(id)).share).toBe(0.4);
      expect(await store.jobs.claim('other')).toBeNull();
      await letTimePass(store);
      const other = await store.jobs.claim('other');
      expect(other).toMatchObject({ jobId: id, tries: 2 });
      expect(await store.jobs.renew(silent, 0.9)).toBe(false);
      expect(await store.jobs.fail(silent, 'late')).toBeNull();
      await expect(end(store, silent)).rejects.toThrow(LeaseLostError);
      expect(await store.jobs.get(id)).toMatchObject({ state: 'running', worker: 'other', share: 0, reason: null });
      await end(store, other as JobLease);
      // A renewal that was on its way when it ended.
      expect(await store.jobs.renew(other as JobLease, 0.9)).toBe(true);
      await expect(end(store, other as JobLease)).rejects.toThrow(LeaseLostError);
      expect(await store.jobs.get(id)).toMatchObject({ state: 'done', share: 1, counts: { again: 2 } });
    });

    it('that fails is tried later, and put aside with its reason after some tries', async () => {
      const { store } = await openedStore();
      const id = await store.jobs.ask(coach, about('s1'));
      for (let tries = 1; tries <= mostTries; tries++) {
        const job = await store.jobs.claim('w');
        expect(job?.tries).toBe(tries);
        expect(await store.jobs.fail(job as JobLease, `no shots ${tries}`)).toBe(
          tries < mostTries ? 'waiting' : 'parked',
        );
        expect(await store.jobs.claim('w')).toBeNull();
        await letTimePass(store);
      }
      expect(await store.jobs.claim('w')).toBeNull();
      expect(await store.jobs.get(id)).toMatchObject({ state: 'parked', reason: `no shots ${mostTries}` });
      await store.jobs.tryAgain(id);
      expect(await store.jobs.claim('w')).toMatchObject({ jobId: id, tries: 1 });
    });

    it('that ends every worker that takes it is put aside too', async () => {
      const { store } = await openedStore();
      const id = await store.jobs.ask(coach, about('s1'));
      for (let tries = 1; tries <= mostTries; tries++) {
        expect(await store.jobs.claim(`w${tries}`)).not.toBeNull();
        await letTimePass(store);
      }
      expect(await store.jobs.claim('w')).toBeNull();
      expect(await store.jobs.get(id)).toMatchObject({ state: 'parked', reason: expect.stringContaining('ended') });
    });

    it('that is given back costs no try; one that is stopped stores nothing', async () => {
      const { store } = await openedStore();
      const id = await store.jobs.ask(coach, about('s1'));
      await store.jobs.giveBack((await store.jobs.claim('w')) as JobLease);
      const job = (await store.jobs.claim('w')) as JobLease;
      expect((await store.jobs.get(id)).tries).toBe(1);
      expect((await store.jobs.stop(id)).state).toBe('stopped');
      expect(await store.jobs.renew(job, 0.5)).toBe(false);
      await expect(end(store, job)).rejects.toThrow(LeaseLostError);
      await expect(store.jobs.get('nothing')).rejects.toMatchObject({ code: 'store-missing' });
      await store.jobs.ask(coach, about('s1'));
      await expect(store.jobs.tryAgain(id)).rejects.toMatchObject({ code: 'store-taken' });
    });

    it('leaves of a file only what the try wrote that ended it', async () => {
      const { store } = await openedStore();
      const id = await store.jobs.ask(coach, { kind: 'export', subject: '' });
      const content = async function* (text: string, isBroken = false) {
        yield Buffer.alloc(1_500_000, text);
        if (isBroken) throw new Error('the disk is full');
        yield Buffer.from('end');
      };
      const first = (await store.jobs.claim('w')) as JobLease;
      await expect(store.exportFiles.keep(first, content('a', true), {}, [])).rejects.toThrow('disk');
      await expect(store.exportFiles.read(id)).rejects.toMatchObject({ code: 'store-missing' });
      await letTimePass(store);
      const second = (await store.jobs.claim('w')) as JobLease;
      await store.exportFiles.keep(second, content('b'), { shots: 3 }, []);
      const parts: Uint8Array[] = [];
      for await (const part of await store.exportFiles.read(id)) parts.push(part);
      const whole = Buffer.concat(parts).toString();
      expect(whole).toBe(`${'b'.repeat(1_500_000)}end`);
      expect((await store.jobs.get(id)).counts).toEqual({ shots: 3, bytes: 1_500_003 });
    });

    it('keeps one result of each version beside those of the court, which the database itself sees to', async () => {
      const { store } = await openedStore();
      const { playerId, sessionId } = await withPlayer(store);
      await store.players.seeSensor({ id: 'ball-a', placement: 'ball', description: '00' });
      const place = { sessionId, setId: null, playerId, sensorId: 'ball-a', streamIndex: 0, atS: 1_764_000_000 };
      const shotId = await store.shots.add(place, madeResult(0));
      const recording = { id: sessionId, club_id: store.clubId, court_id: 'north', byte_count: 1, piece_bytes: 1 };
      await store.context.db
        .insertInto('hub_recording')
        .values({ ...recording, checksum: 'c', complete_s: 1 })
        .execute();
      const analyse = async (version: string, index: number, change: object = {}) => {
        await store.jobs.ask(coach, about(sessionId));
        const job = (await store.jobs.claim('w')) as JobLease;
        const { shot } = madeResult(index);
        const results = { job, sessionId, checksum: 'c', analysisVersion: version, parameters: {}, counts: {} };
        const known = { knownShotIds: [shotId], again: [{ shotId, shot }], added: [] };
        return store.storeJobResults({ ...results, ...known, ...change }).catch(async (error: Error) => {
          await store.jobs.stop(job.jobId);
          throw error;
        });
      };
      await analyse('2', 1);
      await analyse('2', 2);
      await analyse('3', 3);
      const results = await store.shots.results(shotId);
      expect(results.map(({ analysisVersion, isCurrent }) => [analysisVersion, isCurrent]).sort()).toEqual([
        ['1', false],
        ['2', false],
        ['3', true],
      ]);
      expect(results.find(({ analysisVersion }) => analysisVersion === '2')?.shot.index).toBe(2);
      const before = JSON.stringify(await store.shots.results(shotId));
      // What was made of another recording, or of other shots, does not count.
      await expect(analyse('4', 4, { checksum: 'd' })).rejects.toThrow('taken back or cut');
      await expect(analyse('4', 4, { knownShotIds: [] })).rejects.toThrow();
      expect(JSON.stringify(await store.shots.results(shotId))).toBe(before);
      const named = { club_id: store.clubId, shot_id: shotId, analysis_version: '3', result_id: 'x', job_id: 'y' };
      await expect(store.context.db.insertInto('job_result').values(named).execute()).rejects.toThrow(/unique/i);
    });
  });
});

async function row(store: ClubStore, id: string) {
  const jobs = store.context.db.selectFrom('job').selectAll().where('club_id', '=', store.clubId);
  return jobs.where('id', '=', id).executeTakeFirstOrThrow();
}
