import { existsSync, mkdirSync, readdirSync, readFileSync, writeFileSync } from 'node:fs';
import path from 'node:path';
import { describe, expect, it } from 'vitest';
import { JsonWristCalibrationStore } from '../../../src/sessions/wrist-calibration/json-wrist-calibration-store.ts';
import type { KeptSpinReference } from '../../../src/sessions/wrist-calibration/wrist-calibration-store.ts';
import { temporaryFolder } from '../../helpers/temporary-folder.ts';

const reference = (id: string, more: Partial<KeptSpinReference> = {}): KeptSpinReference => ({
  id,
  addedS: 1_800_000_000,
  origin: { kind: 'video', revolutions: 2, frames: 240, frameRateHz: 240 },
  snapRateRadps: 18,
  snapRateSdRadps: 0.4,
  spinRps: 2,
  spinSdRps: 0.12,
  place: 'back-of-hand',
  ...more,
});

/** A player whom the club does not know by an id. */
const named = (name: string) => ({ id: null, name });

const fileIn = (folder: string) => path.join(folder, 'data', 'spin-references.json');

describe('the file of reference shots', () => {
  it('keeps what was added, player by player, for the next start', async () => {
    const file = fileIn(temporaryFolder());
    const store = new JsonWristCalibrationStore(file);
    expect(await store.players()).toEqual([]);
    expect(await store.references(named('Player 07'))).toEqual([]);
    const paired = reference('b', { origin: { kind: 'ball-sensor', sensorId: null, shotIndex: 3 }, place: 'forearm' });
    await store.add(named('Player 07'), reference('a'));
    await store.add(named('Player 07'), paired);
    await store.add(named('Player 03'), reference('c'));
    const next = new JsonWristCalibrationStore(file);
    expect(await next.players()).toEqual([named('Player 03'), named('Player 07')]);
    expect(await next.references(named('Player 07'))).toEqual([reference('a'), paired]);
  });

  it('forgets one player and leaves the others', async () => {
    const store = new JsonWristCalibrationStore(fileIn(temporaryFolder()));
    await store.add(named('Player 07'), reference('a'));
    await store.add(named('Player 03'), reference('c'));
    expect(await store.clear(named('Player 07'))).toBe(1);
    expect(await store.clear(named('Player 07'))).toBe(0);
    expect(await store.players()).toEqual([named('Player 03')]);
  });

  it('loses nothing when many are added at once, and leaves no other file behind', async () => {
    const file = fileIn(temporaryFolder());
    const store = new JsonWristCalibrationStore(file);
    const ids = Array.from({ length: 20 }, (_, k) => `r${k}`);
    await Promise.all(ids.map((id) => store.add(named('Player 07'), reference(id))));
    expect((await store.references(named('Player 07'))).map(({ id }) => id)).toEqual(ids);
    expect(readdirSync(path.dirname(file))).toEqual(['spin-references.json']);
  });

  it.each([
    ['no JSON', '{"schemaVersion":1,', 'expected JSON'],
    ['another document', '[]', 'expected an object with schemaVersion'],
    ['no version', '{"players":{}}', 'expected schemaVersion 2'],
    ['no players of today', '{"schemaVersion":2,"players":{}}', 'expected a list "players"'],
    ['a player without a name', '{"schemaVersion":2,"players":[{"id":null}]}', 'player 1: expected a name'],
    [
      'a player with an odd id',
      '{"schemaVersion":2,"players":[{"id":7,"name":"P","references":[]}]}',
      'expected an id or null',
    ],
    ['no players', '{"schemaVersion":1}', 'expected an object "players"'],
    ['no list', '{"schemaVersion":1,"players":{"P":{}}}', 'expected a list of reference shots of "P"'],
    ['a wrong place', JSON.stringify(damaged({ place: 'ankle' })), 'place is ankle'],
    ['a number that is text', JSON.stringify(damaged({ spinRps: '2' })), 'reference shot 1 of "P": spinRps is 2'],
    ['no snap', JSON.stringify(damaged({ snapRateRadps: 0 })), 'expected a snap'],
    ['no origin', JSON.stringify(damaged({ origin: { kind: 'guess' } })), 'origin is guess'],
  ])('says what is wrong with %s, and does not overwrite it', async (_, text, words) => {
    const file = fileIn(temporaryFolder());
    mkdirSync(path.dirname(file));
    writeFileSync(file, text);
    const store = new JsonWristCalibrationStore(file);
    await expect(store.references(named('P'))).rejects.toMatchObject({ code: 'spin-file-damaged' });
    await expect(store.references(named('P'))).rejects.toThrow(words);
    await expect(store.add(named('P'), reference('a'))).rejects.toThrow(words);
    expect(readFileSync(file, 'utf8')).toBe(text);
  });

  it('leaves the file of a newer program alone', async () => {
    const file = fileIn(temporaryFolder());
    mkdirSync(path.dirname(file));
    writeFileSync(file, '{"schemaVersion":3,"shots":[]}');
    const store = new JsonWristCalibrationStore(file);
    await expect(store.add(named('P'), reference('a'))).rejects.toMatchObject({ code: 'spin-file-version' });
    expect(readFileSync(file, 'utf8')).toBe('{"schemaVersion":3,"shots":[]}');
  });

  it('says when it cannot write, and works again afterwards', async () => {
    const folder = temporaryFolder();
    // A file where the folder should be.
    writeFileSync(path.join(folder, 'data'), '');
    const store = new JsonWristCalibrationStore(fileIn(folder));
    const failed = store.add(named('Player 07'), reference('a'));
    await expect(failed).rejects.toMatchObject({ code: expect.stringMatching(/^spin-file-/) });
    const other = new JsonWristCalibrationStore(path.join(folder, 'else', 'x.json'));
    await other.add(named('Player 07'), reference('a'));
    expect(existsSync(path.join(folder, 'else', 'x.json'))).toBe(true);
  });

  it('cannot write where a folder has its name', async () => {
    const folder = temporaryFolder();
    mkdirSync(`${fileIn(folder)}.new`, { recursive: true });
    const store = new JsonWristCalibrationStore(fileIn(folder));
    await expect(store.add(named('P'), reference('a'))).rejects.toMatchObject({ code: 'spin-file-not-written' });
    await expect(store.references(named('P'))).resolves.toEqual([]);
  });

  it.each(['', ' ', 'Player 07 ', 'x'.repeat(101)])('refuses the name "%s"', async (name) => {
    const store = new JsonWristCalibrationStore(fileIn(temporaryFolder()));
    await expect(store.add(named(name), reference('a'))).rejects.toMatchObject({ code: 'spin-player-name' });
  });

  it('reads the file of version 1, which went by names, and writes this version', async () => {
    const file = fileIn(temporaryFolder());
    mkdirSync(path.dirname(file));
    const old = { schemaVersion: 1, players: { 'Player 07': [reference('a')], 'Player 03': [reference('c')] } };
    writeFileSync(file, JSON.stringify(old));
    const store = new JsonWristCalibrationStore(file);
    expect(await store.references(named('Player 07'))).toEqual([reference('a')]);
    // Reading changes nothing.
    expect(JSON.parse(readFileSync(file, 'utf8'))).toEqual(old);
    await store.add({ id: 'id-7', name: 'Player 07' }, reference('b', { addedS: 1_800_000_001 }));
    expect(JSON.parse(readFileSync(file, 'utf8'))).toMatchObject({ schemaVersion: 2 });
    // What was kept under the name is that player's now, under whatever name; and no other's of the old name.
    const renamed = { id: 'id-7', name: 'Player 70' };
    expect((await store.references(renamed)).map(({ id }) => id)).toEqual(['a', 'b']);
    expect(await store.references({ id: 'id-8', name: 'Player 07' })).toEqual([]);
    expect(await store.references(named('Player 07'))).toEqual([]);
    expect(await store.references(named('Player 03'))).toEqual([reference('c')]);
    expect(await store.clear(renamed)).toBe(2);
    expect(await store.players()).toEqual([named('Player 03')]);
  });

  it('gives shots kept by name to players with an id, and writes only where there is something to give', async () => {
    const file = fileIn(temporaryFolder());
    const store = new JsonWristCalibrationStore(file);
    const seven = { id: 'id-7', name: 'Player 07' };
    await store.claim([seven]);
    expect(existsSync(file)).toBe(false);
    await store.add(named('Player 07'), reference('a'));
    await store.add(named('Player 03'), reference('c'));
    await store.claim([seven, { id: 'id-9', name: 'Player 09' }]);
    expect(await store.references({ ...seven, name: 'Player 70' })).toEqual([reference('a')]);
    expect(await store.references(named('Player 03'))).toEqual([reference('c')]);
    const before = readFileSync(file, 'utf8');
    await store.claim([seven]);
    expect(readFileSync(file, 'utf8')).toBe(before);
  });

  it('takes names that objects have of themselves for names', async () => {
    const store = new JsonWristCalibrationStore(fileIn(temporaryFolder()));
    expect(await store.references(named('constructor'))).toEqual([]);
    await store.add(named('constructor'), reference('a'));
    expect(await store.references(named('constructor'))).toHaveLength(1);
  });
});

function damaged(more: object): unknown {
  return { schemaVersion: 1, players: { P: [{ ...reference('a'), ...more }] } };
}
