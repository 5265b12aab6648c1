import { describe, expect, it } from 'vitest';
import type { ClubStore } from '../../../src/sessions/database/club-store.ts';
import { type JobLease, LeaseLostError } from '../../../src/sessions/hub/job-records.ts';
import { onBothEngines } from '../database/on-both-engines.ts';
import { coach } from '../database/opened-store.ts';
import { memoryStore } from './court-and-hub.ts';

const words = { filter: {} };
const about = { kind: 'export' as const, subject: '', words };

async function* content(text = 'the export') {
  yield Buffer.from(text);
}

async function player(store: ClubStore, pseudonym: string): Promise<string> {
  const id = await store.players.add(coach, { pseudonym });
  for (const scope of ['record', 'export', 'upload'] as const) {
    await store.players.giveConsent(coach, id, scope, 'the player');
  }
  return id;
}

/** An export with these players in it that is done. */
async function exported(store: ClubStore, playerIds: readonly string[]): Promise<string> {
  const id = await store.jobs.ask(coach, about);
  const job = (await store.jobs.claim('w')) as JobLease;
  await store.exportFiles.keep(job, content(), { shots: 1 }, playerIds);
  return id;
}

const read = async (store: ClubStore, id: string): Promise<string> => {
  const parts: Uint8Array[] = [];
  for await (const part of await store.exportFiles.read(id)) parts.push(part);
  return Buffer.concat(parts).toString();
};

/** Ids of the exports of which pieces or players are kept. */
async function kept(store: ClubStore) {
  const of = async (table: 'job_file' | 'job_player') =>
    (await store.context.db.selectFrom(table).select('job_id').where('club_id', '=', store.clubId).execute()).map(
      ({ job_id }) => job_id,
    );
  return { files: await of('job_file'), players: await of('job_player') };
}

describe('an export that is kept to be fetched', () => {
  onBothEngines((openedStore) => {
    it('is refused, removed and said to be once somebody in it withdraws the consent to exports; others stay', async () => {
      const { store } = await openedStore();
      const [one, other] = [await player(store, 'Player 07'), await player(store, 'Player 12')];
      const ofBoth = await exported(store, [one, other]);
      const ofOther = await exported(store, [other]);
      expect(await read(store, ofBoth)).toBe('the export');
      await store.players.withdrawConsent(coach, one, 'display');
      await store.players.withdrawConsent(coach, one, 'upload');
      expect(await read(store, ofBoth)).toBe('the export');
      await store.players.withdrawConsent(coach, one, 'export');
      await expect(read(store, ofBoth)).rejects.toMatchObject({
        code: 'export-removed',
        message: expect.stringContaining('withdrew the consent to exports'),
      });
      expect(await store.jobs.get(ofBoth)).toMatchObject({
        state: 'stopped',
        reason: expect.stringContaining('withdrew the consent to exports'),
      });
      expect(await kept(store)).toEqual({ files: [ofOther], players: [ofOther] });
      expect(await read(store, ofOther)).toBe('the export');
      // An agreement anew does not bring it back; it can be written anew.
      await store.players.giveConsent(coach, one, 'export', 'the player');
      await expect(read(store, ofBoth)).rejects.toMatchObject({ code: 'export-removed' });
      await store.jobs.tryAgain(ofBoth);
      const again = (await store.jobs.claim('w')) as JobLease;
      await store.exportFiles.keep(again, content('anew'), {}, [other]);
      expect(await read(store, ofBoth)).toBe('anew');
    });

    it('is removed by a withdrawal that a court hands over', async () => {
      const { store: hub, clock } = await openedStore();
      const court = await memoryStore(clock);
      const id = await player(court, 'Player 07');
      const handOver = async () => {
        const { documents } = await court.hub.forHub(0, 1000);
        await hub.hub.take({ id: 'north', name: 'north' }, JSON.parse(JSON.stringify(documents)));
      };
      await handOver();
      const job = await exported(hub, [id]);
      clock.nowS += 10;
      await court.players.withdrawConsent(coach, id, 'export');
      await handOver();
      await expect(read(hub, job)).rejects.toMatchObject({ code: 'export-removed' });
      expect(await kept(hub)).toEqual({ files: [], players: [] });
      await court.close();
    });

    it('is removed, whoever is in it, when a player is erased, and names the player no longer', async () => {
      const { store } = await openedStore();
      const [one, other] = [await player(store, 'Player 07'), await player(store, 'Player 12')];
      const ofOther = await exported(store, [other]);
      const asked = await store.jobs.ask(coach, { ...about, words: { filter: { playerId: one } } });
      await store.erasePlayer(one);
      // Somebody may have written the name into a note of another's shot.
      await expect(read(store, ofOther)).rejects.toMatchObject({
        code: 'export-removed',
        message: expect.stringContaining('was deleted'),
      });
      expect(await kept(store)).toEqual({ files: [], players: [] });
      expect(JSON.stringify(await store.jobs.list())).not.toContain(one);
      expect((await store.jobs.get(asked)).state).toBe('waiting');
    });

    it('is begun anew where somebody withdraws, or is erased, while it is written, and nothing of it is kept', async () => {
      const { store } = await openedStore();
      const [one, other] = [await player(store, 'Player 07'), await player(store, 'Player 12')];
      const id = await store.jobs.ask(coach, about);
      const changes = [
        () => store.players.withdrawConsent(coach, one, 'export'),
        () => store.erasePlayer(other),
      ] as const;
      for (const change of changes) {
        const job = (await store.jobs.claim('w')) as JobLease;
        const broken = async function* () {
          yield Buffer.alloc(1_500_000);
          await change();
          yield Buffer.alloc(1_500_000);
        };
        await expect(store.exportFiles.keep(job, broken(), {}, [])).rejects.toThrow(LeaseLostError);
        expect(await store.jobs.get(id)).toMatchObject({ state: 'waiting', reason: expect.stringContaining('anew') });
        expect(await kept(store)).toEqual({ files: [], players: [] });
        await expect(read(store, id)).rejects.toMatchObject({ code: 'store-missing' });
      }
    });

    it('is not kept for somebody who had not agreed any more when it was ended', async () => {
      const { store } = await openedStore();
      const one = await player(store, 'Player 07');
      await store.players.withdrawConsent(coach, one, 'export');
      await store.jobs.ask(coach, about);
      const job = (await store.jobs.claim('w')) as JobLease;
      await expect(store.exportFiles.keep(job, content(), {}, [one])).rejects.toMatchObject({ code: 'no-consent' });
      expect(await kept(store)).toEqual({ files: [], players: [] });
    });

    it('breaks off for whoever reads it at that moment, instead of ending as if it were whole', async () => {
      const { store } = await openedStore();
      const one = await player(store, 'Player 07');
      const id = await store.jobs.ask(coach, about);
      const job = (await store.jobs.claim('w')) as JobLease;
      const large = async function* () {
        yield Buffer.alloc(1_500_000);
        yield Buffer.alloc(1_500_000);
      };
      await store.exportFiles.keep(job, large(), {}, [one]);
      const pieces = await store.exportFiles.read(id);
      expect((await pieces.next()).done).toBe(false);
      await store.players.withdrawConsent(coach, one, 'export');
      await expect(pieces.next()).rejects.toMatchObject({ code: 'export-removed' });
    });
  });
});
