import { existsSync, mkdirSync, writeFileSync } from 'node:fs';
import path from 'node:path';
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { silentLogger } from '../../../src/foundation/logger.ts';
import {
  type KeptRecording,
  keepText,
  letRecordingsGo,
  planKeeping,
} from '../../../src/server/practice/keep-recordings.ts';
import { temporaryFolder } from '../../helpers/temporary-folder.ts';
import { coach, openedStore } from '../../sessions/database/opened-store.ts';

const day = 86_400;
const nowS = 1000 * day;

function recording(ageDays: number, sizeBytes: number, change: Partial<KeptRecording['session']> = {}): KeptRecording {
  const started_s = nowS - ageDays * day;
  const session = { id: `s${ageDays}`, name: '', started_s, ended_s: started_s + 60, starred: 0, recording: 'x.mcap' };
  return { session: { ...session, ...change }, sizeBytes };
}

describe('the plan', () => {
  const anyRecording = fc
    .record({ age: fc.nat(1000), size: fc.integer({ min: 0, max: 1e9 }), starred: fc.boolean(), runs: fc.boolean() })
    .map(({ age, size, starred, runs }) => {
      return recording(age, size, { starred: starred ? 1 : 0, ...(runs && { ended_s: null }) });
    });
  const bound = (most: number) => fc.option(fc.integer({ min: 1, max: most }));

  it('never lets go what is starred or runs, and nothing without need', () => {
    fc.assert(
      fc.property(fc.array(anyRecording, { maxLength: 30 }), bound(1000), bound(1e10), (all, days, bytes) => {
        const plan = planKeeping(all, { days, bytes }, nowS);
        for (const { session } of plan.goes) expect([session.starred, session.ended_s === null]).toEqual([0, false]);
        const size = (some: readonly KeptRecording[]) => some.reduce((sum, { sizeBytes }) => sum + sizeBytes, 0);
        expect(plan.bytesAfter).toBe(size(all) - size(plan.goes));
        // Of those that may go, all that are too old do; beyond them the last that went was still needed.
        const free = all.filter(({ session }) => session.starred === 0 && session.ended_s !== null);
        const stays = free.filter((one) => !plan.goes.some(({ session }) => session === one.session));
        if (days !== null)
          for (const { session } of stays) expect(session.started_s).toBeGreaterThanOrEqual(nowS - days * day);
        const bySize = plan.goes.filter(({ reason }) => reason === 'size');
        const last = bySize.at(-1);
        if (last && bytes !== null) expect(plan.bytesAfter + last.sizeBytes).toBeGreaterThan(bytes);
        if (bytes !== null && plan.bytesAfter > bytes) expect(stays).toEqual([]);
        if (bytes === null) expect(bySize).toEqual([]);
      }),
    );
  });

  it('lets the oldest go first, and says what it does', () => {
    const all = [recording(1, 4e6), recording(30, 5e6), recording(20, 6e6, { starred: 1 }), recording(10, 7e6)];
    const plan = planKeeping(all, { days: 25, bytes: 10e6 }, nowS);
    expect(plan.goes.map(({ session, reason }) => [session.id, reason])).toEqual([
      ['s30', 'age'],
      ['s10', 'size'],
    ]);
    expect(keepText(plan)).toBe(
      'Recordings are kept for 25 days and 10.0 MB in all; starred ones always. 2 of 22.0 MB go, 12.0 MB, and 10.0 MB stay. The shots stay.',
    );
    expect(keepText(planKeeping(all, { days: null, bytes: 5e6 }, nowS))).toContain(
      'That is still more than 5.0 MB: 6.0 MB are starred.',
    );
  });
});

describe('letting go', () => {
  async function withRecordings(names: readonly string[]) {
    const folder = path.join(temporaryFolder(), 'recordings');
    mkdirSync(folder);
    const { store, clock } = await openedStore();
    const ids: string[] = [];
    for (const name of names) {
      writeFileSync(path.join(folder, name), Buffer.alloc(1000));
      const words = { name: '', timeZone: 'UTC', simulated: false, recording: name, settings: {} };
      const id = await store.sessions.start(coach, words);
      await store.sessions.end(coach, id);
      ids.push(id);
      clock.nowS += 10 * day;
    }
    return { folder, store, clock, ids };
  }

  it('deletes the file with what lies beside it, and the session stays', async () => {
    const { folder, store, clock, ids } = await withRecordings(['a.mcap', 'b.mcap']);
    writeFileSync(path.join(folder, 'a.mcap.damaged'), Buffer.alloc(500));
    await store.keep.changePolicy(coach, { days: 15, bytes: null });
    const plan = await letRecordingsGo(store, folder, clock.nowS, silentLogger);
    expect(plan.goes.map(({ sizeBytes }) => sizeBytes)).toEqual([1500]);
    expect(['a.mcap', 'a.mcap.damaged', 'b.mcap'].map((name) => existsSync(path.join(folder, name)))).toEqual([
      false,
      false,
      true,
    ]);
    expect(await store.sessions.get(ids[0] ?? '')).toMatchObject({ recording: null, recording_deleted_s: clock.nowS });
    expect((await letRecordingsGo(store, folder, clock.nowS, silentLogger)).goes).toEqual([]);
    await store.close();
  });

  it('goes on where it was cut off between saying and doing', async () => {
    const { folder, store, clock, ids } = await withRecordings(['a.mcap']);
    expect(await store.keep.letGo(ids[0] ?? '')).toBe(true);
    await letRecordingsGo(store, folder, clock.nowS, silentLogger);
    expect(existsSync(path.join(folder, 'a.mcap'))).toBe(false);
    expect((await store.sessions.get(ids[0] ?? '')).recording).toBeNull();
    await store.close();
  });

  it('does not touch what was starred after the plan was made', async () => {
    const { store, ids } = await withRecordings(['a.mcap']);
    await store.sessions.change(coach, ids[0] ?? '', { starred: true });
    expect(await store.keep.letGo(ids[0] ?? '')).toBe(false);
    await store.close();
  });

  it('is bounded by a choice that makes sense', async () => {
    const { store } = await withRecordings([]);
    await expect(store.keep.changePolicy(coach, { days: 0, bytes: null })).rejects.toMatchObject({
      code: 'store-value',
    });
    await expect(store.keep.changePolicy(coach, { days: null, bytes: 5 })).rejects.toMatchObject({
      code: 'store-value',
    });
    await store.keep.changePolicy(coach, { days: 10, bytes: null });
    await store.keep.changePolicy(coach, { days: null, bytes: 2e9 });
    expect(await store.keep.policy()).toEqual({ days: null, bytes: 2e9 });
    const [group] = await store.edits.latest(1);
    await store.edits.undo(coach, group?.groupId ?? '');
    expect(await store.keep.policy()).toEqual({ days: 10, bytes: null });
    await store.close();
  });
});
