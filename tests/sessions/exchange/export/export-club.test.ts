import { existsSync, mkdirSync, readdirSync, readFileSync, statSync } from 'node:fs';
import path from 'node:path';
import { parse } from 'csv-parse/sync';
import fc from 'fast-check';
import { asyncBufferFromFile, parquetReadObjects } from 'hyparquet';
import { beforeEach, expect, it } from 'vitest';
import { definedMeasures } from '../../../../src/cli/club/export-command.ts';
import { drillLibrary } from '../../../../src/coaching/drills.ts';
import type { ClubStore } from '../../../../src/sessions/database/club-store.ts';
import { type ExportOptions, exportClub } from '../../../../src/sessions/exchange/export/export-club.ts';
import { csvCell } from '../../../../src/sessions/exchange/export/table-writer.ts';
import { shotMeasureNames } from '../../../../src/shots/shot.ts';
import { temporaryFolder } from '../../../helpers/temporary-folder.ts';
import { coach, madeResult, openedStore, withPlayer } from '../../database/opened-store.ts';

let folder: string;
let store: ClubStore;
let playerId: string;

beforeEach(async () => {
  folder = path.join(temporaryFolder(), 'export');
  ({ store } = await openedStore());
  const made = await withPlayer(store, 'Secret Name');
  playerId = made.playerId;
  await store.players.seeSensor({ id: 'f00dbabe'.repeat(4), placement: 'ball', description: '00' });
  const setId = await store.sessions.startSet(coach, made.sessionId, { notes: 'secret note' }, [
    { factor: '=footwork', level: 'hop' },
  ]);
  for (let index = 0; index < 5; index++) {
    const place = {
      sessionId: made.sessionId,
      setId,
      playerId: index < 3 ? playerId : null,
      sensorId: 'f00dbabe'.repeat(4),
      streamIndex: 0,
      atS: 1_764_000_000 + 20 * index,
    };
    await store.shots.add(place, madeResult(index));
  }
});

const options = (change: Partial<ExportOptions> = {}): ExportOptions => ({
  folder,
  filter: {},
  measures: definedMeasures,
  version: '1.2.3',
  shift: 'one',
  uniform: () => 0.5,
  keyFile: null,
  withUnnamed: false,
  recordings: null,
  ...change,
});

const readCsv = (name: string): Record<string, string>[] =>
  parse(readFileSync(path.join(folder, name)), { columns: true });

it('leaves out shots of players who have not agreed, and says how many', async () => {
  expect(await exportClub(store, options())).toMatchObject({ shotCount: 2, withheldCount: 3, playerCount: 0 });
  expect(readCsv('shots.csv')).toHaveLength(2);
});

it('writes the same table as CSV and Parquet, every column in the dictionary', async () => {
  await store.players.giveConsent(coach, playerId, 'export', 'parent');
  const report = await exportClub(store, options());
  expect(report).toMatchObject({ shotCount: 5, withheldCount: 0, playerCount: 1, sessionCount: 1 });
  expect(readdirSync(folder).sort()).toEqual([...report.files].sort());
  const rows = readCsv('shots.csv');
  expect(rows[0]).toMatchObject({
    session: 'session-001',
    set: 'set-001',
    player: 'player-001',
    sensor: 'sensor-001',
    conditions: "'=footwork=hop",
    t_s: '0',
    start_kind: 'dribble',
    launch_speed_mps: '7.31',
    launch_speed_standard_error_mps: '0.05',
    speed_margin_mps: '',
    speed_margin_reason: 'no-distance',
    outcome: 'unknown',
  });
  expect(Number(rows[0]?.launch_speed_low90_mps)).toBeCloseTo(7.31 - 1.645 * 0.05, 4);
  expect(rows[4]?.player).toBe('');
  const parquet = await parquetReadObjects({ file: await asyncBufferFromFile(path.join(folder, 'shots.parquet')) });
  expect(parquet).toHaveLength(5);
  for (const [index, row] of parquet.entries()) {
    for (const [name, value] of Object.entries(row)) {
      const text = value === null ? '' : String(value);
      expect(csvCell(typeof value === 'number' ? value : text)).toBe(csvCellOf(rows[index]?.[name] ?? ''));
    }
  }
  const dictionary = readCsv('dictionary.csv');
  const inShots = dictionary.filter(({ table }) => table === 'shots');
  expect(inShots.map(({ name }) => name)).toEqual(Object.keys(rows[0] ?? {}));
  for (const table of ['players', 'sets', 'marks', 'targets', 'blocks', 'load', 'study_sets']) {
    const columns = readFileSync(path.join(folder, `${table}.csv`), 'utf8').split('\n')[0];
    const told = dictionary.filter((line) => line.table === table).map(({ name }) => name);
    expect(columns).toBe(told.join(','));
  }
  expect(readCsv('players.csv')).toMatchObject([{ player: 'player-001', hand: 'right', age_band: 'adult' }]);
  expect(readCsv('sets.csv')).toMatchObject([{ set: 'set-001', session: 'session-001', conditions: "'=footwork=hop" }]);
  // Somewhere in the seventies: half-way between 1971 and 1981.
  expect(new Date(1000 * Number(rows[0]?.at_s)).toISOString().slice(0, 7)).toBe('1976-01');
  for (const line of dictionary) expect(line.definition?.length).toBeGreaterThan(5);
  expect(dictionary.find(({ name }) => name === 'axis_tilt_deg')).toMatchObject({
    unit: 'deg',
    valid_from: '-80',
    valid_to: '80',
  });
  // Every measure of the analysis is there.
  expect(definedMeasures.map(({ name }) => name)).toEqual([...shotMeasureNames]);
});

/** What reading a CSV cell gave, as it stood in the file. */
function csvCellOf(read: string): string {
  return /[",\n\r]/.test(read) ? `"${read.replaceAll('"', '""')}"` : read;
}

it('tells nothing of the person but in the key, and the key alone tells', async () => {
  await store.players.giveConsent(coach, playerId, 'export', 'parent');
  const keyFile = path.join(path.dirname(folder), 'key.json');
  await exportClub(store, options({ keyFile }));
  for (const name of readdirSync(folder)) {
    const text = readFileSync(path.join(folder, name), 'latin1');
    for (const secret of ['Secret Name', 'secret note', 'f00dbabe', playerId, '1764000000']) {
      expect(text.includes(secret), `${name} holds ${secret}`).toBe(false);
    }
  }
  expect(readFileSync(path.join(folder, 'README.txt'), 'utf8')).toContain('NOT anonymous');
  const key = JSON.parse(readFileSync(keyFile, 'utf8'));
  expect(key).toMatchObject({ shiftS: expect.any(Number), player: { [playerId]: 'player-001' } });
  expect(statSync(keyFile).mode & 0o777).toBe(0o600);
  const inside = { folder: `${folder}-2`, keyFile: path.join(`${folder}-2`, 'key.json') };
  await expect(exportClub(store, options(inside))).rejects.toThrow('has to be kept apart from the data');
  expect(existsSync(`${folder}-2`)).toBe(false);
});

it('takes the shots that are meant', async () => {
  await store.players.giveConsent(coach, playerId, 'export', 'parent');
  const filter = { playerId, fromS: 1_764_000_010 };
  expect((await exportClub(store, options({ filter }))).shotCount).toBe(2);
});

it('does not write over anything, and leaves nothing half done', async () => {
  mkdirSync(folder, { recursive: true });
  await expect(exportClub(store, options())).rejects.toMatchObject({ code: 'output-not-written' });
  expect(readdirSync(folder)).toEqual([]);
  const elsewhere = path.join(path.dirname(folder), 'two');
  const keyFile = path.join(path.dirname(folder), 'no', 'such', 'key.json');
  await expect(exportClub(store, options({ folder: elsewhere, keyFile }))).rejects.toMatchObject({
    code: 'output-not-written',
  });
  expect(existsSync(elsewhere)).toBe(false);
});

it('gives a spreadsheet no formula, whatever the text', () => {
  fc.assert(
    fc.property(fc.string(), (text) => {
      const [[cell] = []] = parse(`${csvCell(text)}\n`, {
        relax_column_count: true,
        skip_empty_lines: false,
      }) as string[][];
      const shown = cell ?? '';
      expect(/^[=+\-@\t\r]/.test(shown)).toBe(false);
      expect(shown === text || shown === `'${text}`).toBe(true);
    }),
  );
});

it('keeps shots of real people back that nobody is named for, unless it is told otherwise', async () => {
  const words = { name: '', timeZone: 'UTC', simulated: false, recording: null, settings: {} };
  const sessionId = await store.sessions.start(coach, words);
  const place = { sessionId, setId: null, playerId: null, sensorId: null, streamIndex: 0, atS: 1_764_000_500 };
  await store.shots.add(place, madeResult(0));
  const filter = { sessionId };
  expect(await exportClub(store, options({ filter }))).toMatchObject({ shotCount: 0, unnamedCount: 1 });
  const told = options({ filter, withUnnamed: true, folder: `${folder}-2` });
  expect(await exportClub(store, told)).toMatchObject({ shotCount: 1, unnamedCount: 0 });
});

it('moves the instants of each player by a shift of their own where it is asked to', async () => {
  const other = await store.players.add(coach, { pseudonym: 'Other' });
  const [shot] = await store.shots.all({});
  await store.players.giveConsent(coach, other, 'record', 'parent');
  for (const id of [playerId, other]) await store.players.giveConsent(coach, id, 'export', 'parent');
  const all = await store.shots.all({ sessionId: shot?.session_id ?? '' });
  await store.shots.assign(coach, [all[4]?.id ?? ''], other);
  let drawn = 0;
  await exportClub(store, options({ shift: 'per-player', uniform: () => ++drawn / 10 }));
  const rows = readCsv('shots.csv');
  const at = rows.map(({ player, at_s, t_s }) => [player, Number(at_s) - Number(t_s)]);
  const starts = new Map(at as [string, number][]);
  expect(starts.size).toBe(3);
  expect(new Set(starts.values()).size).toBe(3);
});

it('takes what coaching keeps of a player along, and nothing of one who has not agreed', async () => {
  const other = await store.players.add(coach, { pseudonym: 'Other Name' });
  await store.players.giveConsent(coach, other, 'record', 'parent');
  for (const id of [playerId, other]) {
    await store.coaching.setTarget(coach, id, 'pauseS', { target: null, low: null, high: 0.12 });
    await store.coaching.setLoad(coach, id, '2025-11-20', { shots: 40, minutes: 30 });
  }
  const sessionId = (await store.sessions.list())[0]?.id ?? '';
  const prescriptionId = await store.prescriptions.add(coach, {
    ...{ playerId, fault: 'two-part', drill: drillLibrary[0]!, measure: 'pauseS', faultSide: 1 as const },
    ...{ smallestChange: 0.06, namedS: 1_764_000_000, retentionDueS: null, notes: 'secret note' },
  });
  await store.prescriptions.startBlock(coach, prescriptionId, sessionId, {
    role: 'baseline',
    spot: '',
    distanceM: null,
  });
  await store.players.giveConsent(coach, playerId, 'export', 'parent');
  const { files } = await exportClub(store, options());
  expect(files).toEqual(expect.arrayContaining(['targets.csv', 'blocks.parquet', 'load.csv', 'study_sets.csv']));
  expect(readCsv('targets.csv')).toEqual([
    { player: 'player-001', measure: 'pauseS', target: '', low: '', high: '0.12' },
  ]);
  expect(readCsv('load.csv')).toMatchObject([{ player: 'player-001', shots: '40', minutes: '30' }]);
  expect(readCsv('blocks.csv')).toMatchObject([
    { player: 'player-001', prescription: '1', fault: 'two-part', role: 'baseline', smallest_change: '0.06' },
  ]);
  const [block] = readCsv('blocks.csv');
  // Moved as all instants are, and by the same.
  expect(new Date(1000 * Number(block?.named_at_s)).getUTCFullYear()).toBe(1976);
  for (const name of files.filter((file) => file.endsWith('.csv'))) {
    const text = readFileSync(path.join(folder, name), 'utf8');
    for (const secret of ['secret', 'Other', '2025-11', playerId, other]) expect(text, name).not.toContain(secret);
  }
});
