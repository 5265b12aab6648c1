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

test('a study as well: of a file with totals alone, which says what totals cannot tell', async () => {
  const csv = path.join(dataFolder, 'sets.csv');
  const rows = Array.from(
    { length: 16 },
    (_, i) => `${i >> 1},${i % 2 === 0 ? 'hop' : 'one-two'},25,${i % 2 === 0 ? 15 + (i % 3) : 9}`,
  );
  writeFileSync(csv, `day,condition,attempted,made\n${rows.join('\n')}\n`);
  const file = path.join(dataFolder, 'study.html');
  const made = await run(
    'report',
    'study',
    '--csv',
    csv,
    '--margin',
    'makes=0.05',
    '--for',
    'researcher',
    '--out',
    file,
  );
  expect(made).toEqual({ code: 0, stdout: `${file}\n`, stderr: '' });
  const told = readFileSync(file, 'utf8');
  expect(told).toContain('Makes, “hop” against “one-two”: they differ');
  expect(told).toContain('What it cannot answer');
  expect(told).toContain('totals without single outcomes');
  expect(told).toContain('8 days, both');
  expect(await run('report', 'study', 'None')).toMatchObject({
    code: 2,
    stderr: expect.stringContaining('there is no study'),
  });
  expect(await run('report', 'study')).toMatchObject({ code: 2, stderr: expect.stringContaining('expected one of') });
});
