import { writeFileSync } from 'node:fs';
import path from 'node:path';
import { beforeEach, describe, expect, it } from 'vitest';
import { databaseFile } from '../../../src/server/practice/practice-keeper.ts';
import { ClubStore } from '../../../src/sessions/database/club-store.ts';
import { Random } from '../../../src/simulate/random.ts';
import { temporaryFolder } from '../../helpers/temporary-folder.ts';
import { coach, madeResult } from '../../sessions/database/opened-store.ts';
import { type CliRun, runCli } from '../run-cli.ts';

let dataFolder: string;

beforeEach(() => {
  dataFolder = temporaryFolder();
});

const run = (...words: string[]): Promise<CliRun> =>
  runCli(words, { readConfig: () => ({ port: 0, dataFolder, pageFolder: '' }), widthColumns: 500 });

async function done(...words: string[]): Promise<string> {
  const { code, stdout, stderr } = await run(...words);
  expect({ code, stderr }).toEqual({ code: 0, stderr: '' });
  return stdout;
}

function csv(lines: readonly string[]): string {
  const file = path.join(dataFolder, 'sets.csv');
  writeFileSync(file, `${lines.join('\n')}\n`);
  return file;
}

describe('study plan', () => {
  it('says the number first, and what the other question takes', async () => {
    const text = await done('study', 'plan', '--makes', '44,42', '--margin', '5');
    expect(text.split('\n')[0]).toContain('To tell 44 % from 42 % you need about 9,700 shots a condition');
    expect(text).toContain('the same within ±5 %');
  });

  it('draws the order from its seed, the same again, and covers it', async () => {
    const words = ['study', 'plan', '--condition', 'hop', '--condition', 'one-two', '--days', '4', '--seed', 'abc'];
    const text = await done(...words);
    expect(await done(...words)).toBe(text);
    expect(text.match(/^day \d: (hop, one-two|one-two, hop)$/gm)).toHaveLength(4);
    const covered = await done(...words, '--blind');
    expect(covered.match(/^day \d: (A, B|B, A)$/gm)).toHaveLength(4);
    expect(covered).toMatch(/For whoever does not shoot: [AB] is hop/);
  });

  it.each([
    [[], 'expected what is to be told apart'],
    [['--makes', '44'], 'two different percentages'],
    [['--makes', '44,44'], 'two different percentages'],
    [['--makes', '144,4'], 'two different percentages'],
    [['--effect', 'big'], 'Expected a number'],
    [['--condition', 'hop'], 'conditions = 1'],
    [['--condition', 'hop', '--condition', 'hop'], 'names that differ'],
  ])('refuses %j with a sentence', async (words, expected) => {
    const { code, stderr, stdout } = await run('study', 'plan', ...words);
    expect(code).toBeGreaterThan(0);
    expect(stdout).toBe('');
    expect(stderr).toContain(expected);
  });
});

describe('study analyse', () => {
  it('goes as far as totals go: the answer first, then tables, then what they cannot answer', async () => {
    const random = new Random('totals');
    const rows: string[] = [];
    for (let day = 1; day <= 20; day++) {
      for (const [condition, chance] of [
        ['hop', 0.75],
        ['one-two', 0.4],
      ] as const) {
        const made = Array.from({ length: 25 }, () => random.chance(chance)).filter(Boolean).length;
        rows.push(`Player 07,2026-11-${String(day).padStart(2, '0')},${condition},25,${made}`);
      }
    }
    const file = csv(['player,day,condition,attempted,made', ...rows]);
    const text = await done('study', 'analyse', file, '--margin', 'makes=0.05');
    expect(text.split('\n')[0]).toMatch(/^Makes, “hop” against “one-two”: they differ\. With “hop” it is \+\d/);
    expect(text.indexOf('Makes\n')).toBeGreaterThan(0);
    expect(text.indexOf('What this study cannot answer')).toBeGreaterThan(text.indexOf('Comparisons'));
    expect(text).toContain('Some sets have totals without single outcomes');
    expect(text.indexOf('How it was reckoned')).toBeGreaterThan(text.indexOf('What this study cannot answer'));
    expect(text).toContain('permutation');
    const result = JSON.parse(await done('study', 'analyse', file, '--json'));
    expect(result.comparisons[0]).toMatchObject({
      quantity: 'makes',
      design: 'within-days',
      units: 20,
      answer: 'differ',
    });
    expect(result.makes[0].attempts).toBe(500);
  });

  it('takes single outcomes and measures where they are there', async () => {
    const random = new Random('outcomes');
    const rows = Array.from({ length: 16 }, (_, i) => {
      const outcomes = Array.from({ length: 40 }, () => (random.chance(i % 2 === 0 ? 0.6 : 0.4) ? '1' : '0')).join('');
      const pauseS = 0.4 + 0.1 * (i % 2) + random.normal(0, 0.01);
      return `${Math.floor(i / 2)},${i % 2 === 0 ? 'hop' : 'one-two'},40,${outcomes},${pauseS}`;
    });
    const file = csv(['day,condition,attempted,outcomes,pauseS', ...rows]);
    const result = JSON.parse(await done('study', 'analyse', file, '--measure', 'pauseS', '--json'));
    expect(result.comparisons.map(({ quantity }: { quantity: string }) => quantity)).toEqual(['makes', 'pauseS']);
    expect(result.sentences.join(' ')).toMatch(/streaks/i);
    expect(result.cannotAnswer.join(' ')).not.toContain('totals');
  });

  it('reads kept sets by their condition', async () => {
    const store = await ClubStore.open({ file: path.join(dataFolder, databaseFile), nowS: () => 1_764_000_000 });
    const words = { name: '', timeZone: 'UTC', simulated: true, recording: null, settings: {} };
    for (let day = 0; day < 7; day++) {
      const sessionId = await store.sessions.start(coach, words);
      for (const level of ['hop', 'one-two']) {
        const setId = await store.sessions.startSet(coach, sessionId, {}, [{ factor: 'footwork', level }]);
        const total = { made: level === 'hop' ? 9 : 4 + (day % 2), attempted: 10 };
        await store.sessions.changeSet(coach, setId, { total, ended: true });
      }
    }
    await store.close();
    const result = JSON.parse(await done('study', 'analyse', '--factor', 'footwork', '--json'));
    expect(result.makes).toMatchObject([
      { condition: 'hop', sets: 7, makes: 63, attempts: 70 },
      { condition: 'one-two', sets: 7, attempts: 70 },
    ]);
    const none = await run('study', 'analyse', '--factor', 'weather');
    expect(none.code).toBe(1);
    expect(none.stderr).toContain('expected sets of two at least, got no set');
  });

  it.each([
    ['no column condition', ['day,attempted', '1,10'], 'found no condition'],
    ['no row', ['day,condition,attempted'], 'found no row'],
    ['more made than taken', ['day,condition,attempted,made', '1,a,5,9', '1,b,5,1'], 'makes of set 1'],
    ['a word for a number', ['day,condition,attempted,made', '1,a,many,1'], 'line 2, attempted'],
    [
      'outcomes of another length',
      ['day,condition,attempted,outcomes', '1,a,3,11', '1,b,3,111'],
      'expected 3, one a shot',
    ],
    ['outcomes that are none', ['day,condition,attempted,outcomes', '1,a,2,yx'], '1 for a make and 0 for a miss'],
    ['a condition without a name', ['day,condition,attempted,made', '1,,5,1'], 'line 2, condition'],
    ['one condition', ['day,condition,attempted,made', '1,a,5,1'], 'only "a"'],
    ['quotes without an end', ['day,condition,attempted', '1,"a,5'], 'cannot be read as CSV'],
  ])('refuses a file with %s', async (_what, lines, expected) => {
    const { code, stderr, stdout } = await run('study', 'analyse', csv(lines));
    expect(code).toBeGreaterThan(0);
    expect(stdout).toBe('');
    expect(stderr).toContain(expected);
  });

  it.each([
    [['study', 'analyse'], 'expected one of'],
    [['study', 'analyse', 'nowhere.csv'], 'cannot be read'],
    [['study', 'analyse', '--factor', 'a', '--measure', 'luck'], 'there is no measure'],
    [['study', 'analyse', '--factor', 'a', '--margin', 'makes=5'], 'above 0'],
    [['study', 'analyse', '--study', 'none'], 'there is no study'],
  ])('refuses %j', async (words, expected) => {
    const { code, stderr } = await run(...words);
    expect(code).toBe(2);
    expect(stderr).toContain(expected);
  });
});

describe('study range', () => {
  it('says where the shot becomes another one, or what is missing to say it', async () => {
    const store = await ClubStore.open({ file: path.join(dataFolder, databaseFile), nowS: () => 1_764_000_000 });
    const words = { name: '', timeZone: 'UTC', simulated: true, recording: null, settings: {} };
    const sessionId = await store.sessions.start(coach, words);
    const random = new Random('range');
    let index = 0;
    for (const distance_m of [4, 5, 6, 7, 8]) {
      const setId = await store.sessions.startSet(coach, sessionId, { distance_m });
      for (let i = 0; i < 8; i++) {
        const made = madeResult(index++);
        const value = 0.45 + 0.12 * Math.max(0, distance_m - 6) + random.normal(0, 0.01);
        const measures = { ...made.shot.measures, liftToReleaseS: { value, standardError: 0.005 } };
        const place = { sessionId, setId, playerId: null, sensorId: null, streamIndex: 0, atS: 1_764_000_000 + index };
        await store.shots.add(place, { ...made, shot: { ...made.shot, measures } });
      }
    }
    await store.close();
    const range = JSON.parse(await done('study', 'range', 'last', '--json'));
    expect(range.answer).toBe('break');
    expect(range.atM).toBeGreaterThan(5.5);
    expect(range.atM).toBeLessThan(6.5);
    expect(await done('study', 'range', 'last')).toMatch(/^Range: lift to release, .* changes from 6\.\d m on/);
  });
});
