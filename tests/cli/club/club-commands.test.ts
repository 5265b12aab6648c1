import { existsSync, mkdirSync, readdirSync, writeFileSync } from 'node:fs';
import path from 'node:path';
import { beforeEach, describe, expect, it } from 'vitest';
import { requireAllDone } from '../../../src/cli/club/reanalyze-command.ts';
import { databaseFile, recordingsFolder } from '../../../src/server/practice/practice-keeper.ts';
import { ClubStore } from '../../../src/sessions/database/club-store.ts';
import { temporaryFolder } from '../../helpers/temporary-folder.ts';
import { coach, madeResult } from '../../sessions/database/opened-store.ts';
import { type CliRun, runCli } from '../run-cli.ts';

let dataFolder: string;

beforeEach(() => {
  dataFolder = temporaryFolder();
});

const run = (...words: string[]): Promise<CliRun> =>
  runCli(words, { readConfig: () => ({ port: 0, dataFolder, pageFolder: '' }), widthColumns: 140 });

async function done(...words: string[]): Promise<string> {
  const { code, stdout, stderr } = await run(...words);
  expect({ code, stderr }).toEqual({ code: 0, stderr: '' });
  return stdout;
}

/** A session of three shots, as the service would have kept it. */
async function keepSession(): Promise<string> {
  const store = await ClubStore.open({ file: path.join(dataFolder, databaseFile), nowS: () => 1_764_000_000 });
  const words = { name: '', timeZone: 'UTC', simulated: true, recording: null, settings: {} };
  const sessionId = await store.sessions.start(coach, words);
  for (let index = 0; index < 3; index++) {
    const atS = 1_764_000_060 + 10 * index;
    const place = { sessionId, setId: null, playerId: null, sensorId: null, streamIndex: 0, atS };
    await store.shots.add(place, madeResult(index));
  }
  await store.close();
  return sessionId;
}

describe('players', () => {
  it('are added, agree, and are listed', async () => {
    expect(await done('players')).toContain('No players yet');
    expect(await done('players', 'add', 'Player 07', '--hand', 'left', '--age', '10-12', '--ball', '6')).toContain(
      'Nothing of this player is recorded before the consent is noted',
    );
    await done('players', 'consent', 'Player 07', 'record', '--by', 'parent');
    await done('players', 'change', 'Player 07', '--name', 'Player 08', '--hoop', '2.9');
    const [player] = JSON.parse(await done('players', 'list', '--json'));
    expect(player).toMatchObject({
      pseudonym: 'Player 08',
      hand: 'left',
      age_band: '10-12',
      ball_size: 6,
      hoop_height_m: 2.9,
      consents: ['record'],
    });
    expect(await done('players')).toMatch(/Player 08 {2}left +10-12 +6 +2\.90 +record/);
    await done('players', 'withdraw', 'Player 08', 'record');
    expect(await done('players')).toMatch(/2\.90 +nothing/);
  });

  it('that are not there, or wrong words, are told', async () => {
    const missing = await run('players', 'consent', 'Nobody', 'record', '--by', 'x');
    expect(missing).toMatchObject({ code: 2, stderr: expect.stringContaining('there is no player "Nobody"') });
    expect(await run('players', 'add', 'X', '--hand', 'both')).toMatchObject({ code: 2 });
    await done('players', 'add', 'X');
    const scope = await run('players', 'consent', 'X', 'everything', '--by', 'x');
    expect(scope).toMatchObject({ code: 1, stderr: expect.stringContaining('expected record, export, display') });
    expect(await run('players', 'add', 'X')).toMatchObject({ code: 1, stderr: expect.stringContaining('already') });
  });
});

describe('sessions', () => {
  it('are listed and shown', async () => {
    expect(await done('sessions')).toContain('No sessions yet');
    const id = await keepSession();
    expect(await done('sessions')).toMatch(/2025-11-24 16:00:00 {2}runs +3 +0 +– +simulated/);
    const text = await done('sessions', 'show', 'last');
    expect(text).toContain('Session of 2025-11-24 16:00:00, 3 shots, simulated');
    expect(text).toMatch(/1 {5}16:01:00 {2}– +unknown/);
    expect(text).toContain('tilt of spin');
    const { session, shots } = JSON.parse(await done('sessions', 'show', id, '--json'));
    expect(session.id).toBe(id);
    expect(shots).toHaveLength(3);
  });

  it('are starred, and their shots given to a player with consent', async () => {
    const id = await keepSession();
    await done('sessions', 'star', id.slice(0, 13));
    expect(await done('sessions')).toContain('simulated, starred');
    await done('players', 'add', 'Player 03');
    expect(await run('sessions', 'assign', 'last', 'Player 03')).toMatchObject({
      code: 1,
      stderr: expect.stringContaining('Player 03 has not agreed to being recorded'),
    });
    await done('players', 'consent', 'Player 03', 'record', '--by', 'player');
    expect(await done('sessions', 'assign', 'last', 'Player 03', '--from', '2')).toBe("2 shots are now Player 03's.\n");
    expect(await done('sessions', 'show', 'last')).toMatch(/2 {5}16:01:10 {2}Player 03/);
  });

  it('that are not there are told', async () => {
    await keepSession();
    expect(await run('sessions', 'show', 'ffffffff')).toMatchObject({
      code: 2,
      stderr: expect.stringContaining('at least 4 characters of the id'),
    });
  });
});

describe('what is said of a session', () => {
  it('is told in words: outcomes, totals, sets, marks, and undone again', async () => {
    const id = await keepSession();
    const store = await ClubStore.open({ file: path.join(dataFolder, databaseFile), nowS: () => 1_764_000_050 });
    const factors = [{ factor: 'footwork', level: 'hop' }];
    const words = { kind: 'test', name: 'ten', spot: 'left', distance_m: 4.6 } as const;
    await store.sessions.startSet(coach, id, words, factors);
    await store.marks.add(coach, id, { atS: 1_764_000_062.25, uncertaintyS: 0.004, origin: 'taps', name: '' });
    await store.close();
    expect(await done('sessions', 'tag', 'last', 'miss', '--side', 'short', '--from', '2', '--to', '3')).toBe(
      '2 shots: miss, short.\n',
    );
    expect(await done('sessions', 'total', 'last', '1', '2/3')).toBe('Set 1: 2 of 3.\n');
    const text = await done('sessions', 'show', 'last');
    expect(text).toContain('set 1  16:00:50  test "ten", left, 4.6 m, footwork = hop, 2 of 3');
    expect(text).toContain('mark  16:01:02.250 ± 4.0 ms  three taps');
    expect(text).toMatch(/3 {5}16:01:20 {2}– +miss short/);
    expect(await done('sessions', 'changes', '--limit', '2')).toMatch(
      /command line, host: change set\n.*command line, host: tag 2 shots\n$/,
    );
    expect(await done('sessions', 'undo')).toBe('Undone: change set.\n');
    const { groupId } = JSON.parse(await done('sessions', 'changes', '--json')).find(
      ({ action }: { action: string }) => action === 'tag 2 shots',
    );
    expect(await done('sessions', 'undo', groupId)).toBe('Undone: tag 2 shots.\n');
    const { shots, sets } = JSON.parse(await done('sessions', 'show', 'last', '--json'));
    expect(shots.map(({ outcome }: { outcome: string }) => outcome)).toEqual(['unknown', 'unknown', 'unknown']);
    expect(sets[0]).toMatchObject({ total_made: null, factors });
  });

  it.each([
    [['total', 'last', '1', 'many'], 'expected shots made and taken'],
    [['total', 'last', '7', '1/2'], 'there is no set 7: the session has 0'],
    [['tag', 'last', 'make', '--from', '9'], 'has no shot from number 9'],
    [['undo', 'ffffffff'], 'there is no change "ffffffff"'],
    [['keep', '--everything', '--days', '3'], 'expected one or the other'],
  ])('is refused where it makes no sense: %j', async (words, message) => {
    await keepSession();
    expect(await run('sessions', ...words)).toMatchObject({ code: 2, stderr: expect.stringContaining(message) });
  });

  it('takes shots away from a player again', async () => {
    await keepSession();
    expect(await done('sessions', 'assign', 'last', 'nobody')).toBe("3 shots are now nobody's.\n");
  });
});

describe('recordings', () => {
  it('are kept as long as was said, after looking what would go', async () => {
    mkdirSync(path.join(dataFolder, recordingsFolder));
    const store = await ClubStore.open({ file: path.join(dataFolder, databaseFile), nowS: () => 1_764_000_000 });
    for (const recording of ['old.mcap', 'starred.mcap']) {
      writeFileSync(path.join(dataFolder, recordingsFolder, recording), Buffer.alloc(2_500_000));
      const words = { name: recording, timeZone: 'UTC', simulated: false, recording, settings: {} };
      const id = await store.sessions.start(coach, words);
      await store.sessions.end(coach, id);
      if (recording === 'starred.mcap') await store.sessions.change(coach, id, { starred: true });
    }
    await store.close();
    expect(await done('sessions')).toMatch(/0 +0 +0 +2\.5 MB +old\.mcap/);
    expect(await done('sessions', 'keep')).toBe('Every recording is kept: 5.0 MB.\n');
    const text = await done('sessions', 'keep', '--days', '5');
    expect(text).toContain(
      'Recordings are kept for 5 days; starred ones always. 1 of 5.0 MB go, 2.5 MB, and 2.5 MB stay.',
    );
    expect(text).toMatch(/Would be deleted now[^\n]*\n {2}2025-11-24 16:00:00 UTC {2}2\.5 MB {2}too old/);
    expect(readdirSync(path.join(dataFolder, recordingsFolder))).toHaveLength(2);
    expect(await done('sessions', 'keep', '--apply')).toContain('Deleted:\n');
    expect(readdirSync(path.join(dataFolder, recordingsFolder))).toEqual(['starred.mcap']);
    const [first, second] = JSON.parse(await done('sessions', 'list', '--json'));
    expect([first, second].map(({ recording }) => recording).sort()).toEqual([null, 'starred.mcap'].sort());
    const plan = JSON.parse(await done('sessions', 'keep', '--everything', '--json'));
    expect(plan).toMatchObject({ policy: { days: null, bytes: null }, goes: [] });
  });
});

describe('a backup', () => {
  it('brings back what was, and keeps what is', async () => {
    await done('players', 'add', 'Before');
    const file = path.join(dataFolder, 'backup.db');
    await done('backup', file);
    await done('players', 'add', 'After');
    expect(await done('restore', file)).toContain('The one before is kept as');
    expect((JSON.parse(await done('players', '--json')) as { pseudonym: string }[]).map((p) => p.pseudonym)).toEqual([
      'Before',
    ]);
    expect(existsSync(path.join(dataFolder, `${databaseFile}.before-restore`))).toBe(true);
  });

  it('does not overwrite a file', async () => {
    const file = path.join(dataFolder, 'there.db');
    writeFileSync(file, 'mine');
    expect(await run('backup', file)).toMatchObject({ code: 1, stderr: expect.stringContaining('is there already') });
  });

  it('that is none leaves the database alone', async () => {
    await done('players', 'add', 'Stays');
    const file = path.join(dataFolder, 'none.db');
    writeFileSync(file, 'x'.repeat(5000));
    expect(await run('restore', file)).toMatchObject({
      code: 1,
      stderr: expect.stringContaining('expected a database'),
    });
    expect(await run('restore', path.join(dataFolder, 'missing.db'))).toMatchObject({ code: 1 });
    expect(await done('players')).toContain('Stays');
  });
});

describe('reanalyze', () => {
  it('says what it has done, and that there is nothing to do', async () => {
    expect(await done('reanalyze')).toContain('0 sessions gone through with analysis');
    await keepSession();
    expect(await done('reanalyze', 'last')).toContain('1 have no recording');
    const { sessions } = JSON.parse(await done('reanalyze', 'last', '--json'));
    expect(sessions).toMatchObject([{ state: 'no-recording' }]);
  });

  it('fails with the reason where a recording cannot be read', () => {
    const failed = { sessionId: 's1', state: 'failed', message: 'no file of that name' } as const;
    expect(() => requireAllDone([failed])).toThrow(
      expect.objectContaining({
        code: 'reanalysis-failed',
        message: expect.stringContaining('s1: no file of that name'),
      }),
    );
    requireAllDone([{ ...failed, state: 'done' }]);
  });
});

describe('export', () => {
  it('writes a folder and says what was left out', async () => {
    await keepSession();
    const folder = path.join(dataFolder, 'out');
    expect(await done('export', folder)).toContain('3 shots of 1 sessions');
    expect(existsSync(path.join(folder, 'dictionary.csv'))).toBe(true);
    expect(await run('export', folder)).toMatchObject({ code: 1, stderr: expect.stringContaining('is there already') });
  });

  it.each([
    [['--from', '2026-02-31x'], 'is no day'],
    [['--condition', 'footwork'], 'expected factor=level'],
    [['--player', 'Nobody'], 'there is no player'],
  ])('refuses %j', async (words, message) => {
    const result = await run('export', path.join(dataFolder, 'none'), ...words);
    expect(result).toMatchObject({ code: 2, stderr: expect.stringContaining(message) });
  });
});
