import { describe, expect, test } from 'vitest';
import { studyReport } from '../../src/reports/study-report.ts';
import { studyInPlainWords, studyInWords, studyLimitsInWords } from '../../src/reports/study-words.ts';
import { Random } from '../../src/simulate/random.ts';
import { analyzeStudy } from '../../src/study/analyze-study.ts';
import { insufficient } from '../../src/study/checks.ts';
import { reportFrame } from '../helpers/made-report.ts';
import { makeStudy } from '../study/made-study.ts';

const metric = reportFrame.units;

function study(label: string, chances: readonly [number, number], margin: number, days = 6) {
  const random = new Random(label);
  const conditions = { hop: { chance: chances[0], level: 0 }, step: { chance: chances[1], level: 0 } };
  const sets = makeStudy({ players: 4, days, shotsASet: 20, conditions, playerSd: 1, daySd: 0.7, serial: 0.3 }, random);
  return analyzeStudy(sets, { margins: { makes: margin }, measures: [], random, draws: 999 });
}

describe('a study in words', () => {
  test('a difference is told with its size, range and what it rests on', () => {
    const [first] = studyInWords(study('words differ', [0.65, 0.3], 0.05), { units: metric, margins: { makes: 0.05 } });
    expect(first).toMatch(
      /^Makes, “hop” against “step”: they differ\. With “hop” it is \+\d+\.\d points \(between .* days on which both were shot, p .*after all comparisons\)\.$/,
    );
  });

  test('what cannot be told is open and never the same, with what it would take', () => {
    const [first] = studyInWords(study('words open', [0.44, 0.42], 0.02), { units: metric, margins: { makes: 0.02 } });
    expect(first).toContain('open. It may be anything between');
    expect(first).toContain('that is not “the same”');
    // Two one-sided tests at 5 % with 80 % power each way: (1.645 + 1.282)² · 2 p (1 − p) / 0.02², about 10,500 at p near 0.43
    // (Chow, Shao and Wang 2008, chapter 4; computed by hand).
    expect(first).toMatch(/takes about (9,\d00|1[01],000) shots a condition/);
  });

  test('the same within a margin is an answer', () => {
    const [first] = studyInWords(study('words same', [0.45, 0.45], 0.2, 12), {
      units: metric,
      margins: { makes: 0.2 },
    });
    expect(first).toMatch(/the same within ±20\.0 points/);
  });
});

test('at home conditions stand in quotes, and what nobody can tell is one sentence a measure', () => {
  const random = new Random('three of them');
  const names = ['hop off both feet', 'one-two, left first', 'from the dribble'];
  const conditions = Object.fromEntries(names.map((name, i) => [name, { chance: [0.7, 0.3, 0.5][i]!, level: 0.4 }]));
  const made = makeStudy(
    { players: 4, days: 6, shotsASet: 20, conditions, playerSd: 0.02, daySd: 0.05, serial: 0.3 },
    random,
  );
  const sets = made.map((set) => ({ ...set, values: { pickupToReleaseS: set.values.measure ?? [] } }));
  const result = analyzeStudy(sets, { margins: {}, measures: ['pickupToReleaseS'], random, draws: 999 });
  const plain = studyInPlainWords(result, { units: metric, margins: {} });
  // Three pairs of makes, and of the measure that differs nowhere one sentence for its three pairs.
  expect(plain).toHaveLength(4);
  expect(
    plain.filter((text) => text.includes('more go in with “hop off both feet” than with “one-two, left first”')),
  ).toHaveLength(1);
  expect(plain.at(-1)).toMatch(
    /^Pickup to release: whether it differs between “[^”]+”, “[^”]+” and “[^”]+” nobody can tell yet\.$/,
  );
  for (const name of names) expect(plain.at(-1)).toContain(`“${name}”`);
});

test('a number that somebody brought along goes by its own name', () => {
  const random = new Random('brought along');
  const sets = Array.from({ length: 16 }, (_, i) => ({
    ...{ player: '', day: i >> 1, condition: i % 2 === 0 ? 'hop' : 'step', attempts: 10, makes: null, outcomes: null },
    values: { heartRate: [120 + 10 * (i % 2) + random.normal(0, 1)] },
  }));
  const result = analyzeStudy(sets, { margins: {}, measures: ['heartRate'], random, draws: 999 });
  const sentences = studyInWords(result, { units: metric, margins: {} });
  expect(sentences.at(-1)).toMatch(
    /^heartRate, “hop” against “step”: they differ\. With “hop” it is −(9|10)\.\d+ \(between/,
  );
  expect(studyLimitsInWords(result)).toContain('Some sets were not counted: they say nothing of makes.');
});

test('a report of a study says the sentences first and draws each difference', () => {
  const margins = { makes: 0.05 };
  const result = study('words differ', [0.65, 0.3], 0.05);
  const base = {
    ...reportFrame,
    name: 'Hop or step',
    factor: 'footwork',
    players: 4,
    days: 6,
    sets: 48,
    shots: 960,
    simulated: false,
    blinded: true,
    margins,
    result,
  };
  const told = studyReport(base);
  // Each drawing has an axis with round numbers: shares of makes, and points about zero.
  expect([...told.matchAll(/text-anchor="middle">([^<]+)</g)].map(([, tick]) => tick)).toEqual(
    expect.arrayContaining(['0 %', '20 %', '100 %', '0', '20', '−20']),
  );
  expect(told.indexOf('What it says')).toBeLessThan(told.indexOf('<svg'));
  expect(told).toContain('they differ');
  expect(told).toContain('their names were covered');
  expect(told).toContain('Pain means stop');
  expect(told).not.toMatch(/<script|src=|url\(/);
  expect(told).not.toContain('What it cannot answer');
  const few = {
    ...result,
    notes: ['totals-only'] as const,
    streaks: insufficient('no set has single outcomes in order'),
  };
  expect(studyReport({ ...base, result: few })).toMatch(
    /What it cannot answer[\s\S]*totals without[\s\S]*Streaks: no set/,
  );
  const plain = studyReport({ ...base, audience: 'parent' });
  expect(plain).toMatch(
    /Makes: more go in with “hop” than with “step”, about \d\d more of 100 shots \(\d\d to \d\d\)\./,
  );
  expect(plain).toMatch(/>\d+\.\d of 100 shots/);
  expect(plain).toContain('Right of the dashed line the first of the two has more.');
  expect(plain).not.toMatch(/points|Permutation p|p [=&<]|comparisons|interval, 95/);
  expect(studyReport({ ...base, blinded: null })).not.toMatch(/names were covered|knew them/);
  const early = studyReport({ ...base, result: insufficient('no set has been shot'), blinded: 'still' });
  expect(early).toContain('Nothing to say yet: no set has been shot.');
  expect(early).toContain('covered names until the study is closed');
  expect(early).not.toContain('<svg');
});
