import { existsSync, readFileSync, writeFileSync } from 'node:fs';
import path from 'node:path';
import { beforeEach, expect, test } from 'vitest';
import { databaseFile } from '../../../src/server/practice/practice-keeper.ts';
import { ClubStore } from '../../../src/sessions/database/club-store.ts';
import { temporaryFolder } from '../../helpers/temporary-folder.ts';
import { madeResult, withPlayer } from '../../sessions/database/opened-store.ts';
import { runCli } from '../run-cli.ts';

let dataFolder: string;
beforeEach(async () => {
  dataFolder = temporaryFolder();
  const store = await ClubStore.open({ file: path.join(dataFolder, databaseFile), nowS: () => 1_764_000_000 });
  const { playerId, sessionId } = await withPlayer(store);
  for (let index = 0; index < 6; index++) {
    const atS = 1_764_000_060 + 10 * index;
    await store.shots.add({ sessionId, setId: null, playerId, sensorId: null, streamIndex: 0, atS }, madeResult(index));
  }
  await store.close();
});

const run = (...words: string[]) =>
  runCli(words, { readConfig: () => ({ port: 0, dataFolder, pageFolder: '' }), widthColumns: 140 });

test.each(['coach', 'parent', 'researcher'])('a practice for a %s becomes one file', async (reader) => {
  const file = path.join(dataFolder, 'told.html');
  const { code, stdout, stderr } = await run('report', 'session', 'last', '--for', reader, '--out', file);
  expect({ code, stdout, stderr }).toEqual({ code: 0, stdout: `${file}\n`, stderr: '' });
  expect(readFileSync(file, 'utf8')).toMatch(/^<!doctype html>[\s\S]*Player 07[\s\S]*<\/html>\s*$/);
});

test('a player over time too, named after the player', async () => {
  const file = path.join(dataFolder, 'player.html');
  expect(await run('report', 'player', 'Player 07', '--out', file)).toMatchObject({ code: 0 });
  expect(readFileSync(file, 'utf8')).toContain('Player 07 over time');
});

test('a file that is there is not written over, and wrong words are told', async () => {
  const file = path.join(dataFolder, 'mine.html');
  writeFileSync(file, 'mine');
  const twice = await run('report', 'session', 'last', '--out', file);
  expect(twice).toMatchObject({
    code: 1,
    stderr: expect.stringContaining('it is there already. Name a new file with --out'),
  });
  expect(readFileSync(file, 'utf8')).toBe('mine');
  const nowhere = path.join(dataFolder, 'no', 'such.html');
  expect(await run('report', 'player', 'Player 07', '--out', nowhere)).toMatchObject({ code: 1 });
  expect(existsSync(nowhere)).toBe(false);
  expect(await run('report', 'session', 'last', '--for', 'referee')).toMatchObject({
    code: 2,
    stderr: expect.stringContaining('coach, parent, researcher'),
  });
  expect(await run('report', 'player', 'Nobody')).toMatchObject({ code: 2 });
});
