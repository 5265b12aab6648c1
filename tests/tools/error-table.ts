import { readFileSync, writeFileSync } from 'node:fs';
import path from 'node:path';
import { projectRoot } from '../helpers/project-root.ts';

/** What of `ball-accuracy.json` goes into the README. */
interface AccuracyRecord {
  readonly commit: string;
  readonly figures: {
    readonly goals: readonly { readonly goal: string; readonly figure: number }[];
    readonly conditions: { readonly shots: number; readonly decoys: number; readonly hours: number };
    readonly rows: readonly AccuracyRow[];
  };
}

interface AccuracyRow {
  readonly quantity: string;
  readonly rms: number;
  readonly cover90: number;
  readonly ratio: number | null;
  readonly goal: number;
  readonly atMost: number | null;
  readonly nullShare: number;
}

interface TableLine {
  readonly quantity: string;
  readonly words: string;
  readonly unit: string;
  readonly factor: number;
}

const lines: readonly TableLine[] = [
  { quantity: 'release, s', words: 'Release', unit: 'ms', factor: 1e3 },
  { quantity: 'pickup of dribble and catch, s', words: 'Pickup from dribble or catch', unit: 'ms', factor: 1e3 },
  { quantity: 'pickup of hold, s', words: 'Pickup from a hold', unit: 'ms', factor: 1e3 },
  { quantity: 'contact with ring, board, floor, s', words: 'Contact with ring, board, floor', unit: 'ms', factor: 1e3 },
  { quantity: 'contact with net, s', words: 'Contact with the net', unit: 'ms', factor: 1e3 },
  { quantity: 'spin, share', words: 'Spin', unit: '%', factor: 100 },
  { quantity: 'axis tilt, deg', words: 'Tilt of the spin axis', unit: '°', factor: 1 },
  { quantity: 'launch speed, m/s', words: 'Launch speed', unit: 'm/s', factor: 1 },
  { quantity: 'launch angle, deg', words: 'Launch angle', unit: '°', factor: 1 },
  { quantity: 'entry angle, deg', words: 'Entry angle', unit: '°', factor: 1 },
  { quantity: 'dip depth, m', words: 'Dip depth', unit: 'cm', factor: 100 },
  { quantity: 'side path, m', words: 'Side path', unit: 'cm', factor: 100 },
  { quantity: 'pause, s', words: 'Pause', unit: 'ms', factor: 1e3 },
];

const startMark = '<!-- ball errors:start -->';
const endMark = '<!-- ball errors:end -->';

/** @returns the README's passage of measured errors of the ball, marks included, as the proof's figures have it. */
export function ballErrorPassage(): string {
  const file = path.join(projectRoot, 'tests', 'proofs', 'ball-accuracy.json');
  const { commit, figures } = JSON.parse(readFileSync(file, 'utf8')) as AccuracyRecord;
  const { shots, decoys, hours } = figures.conditions;
  const figureOf = (goal: string) => figures.goals.find((each) => each.goal === goal)?.figure ?? Number.NaN;
  return [
    startMark,
    `${shots} simulated shots and ${decoys} decoys in ${hours.toFixed(1)} hours of play at commit \`${commit.slice(0, 7)}\`: shots found`,
    `${percent(figureOf('share of shots found'), 1)}, decoys taken for a shot ${figureOf('decoys and anything else taken for a shot')}, start kinds right ${percent(figureOf('share of start kinds right'), 1)}.`,
    '',
    '| measure | RMS error | goal | | 90 % interval holds the truth | over the theoretical bound | not given |',
    '|---|---|---|---|---|---|---|',
    ...lines.map((line) => tableRow(line, figures.rows)),
    endMark,
  ].join('\n');
}

function tableRow({ quantity, words, unit, factor }: TableLine, rows: readonly AccuracyRow[]): string {
  const row = rows.find((each) => each.quantity === quantity);
  if (!row)
    throw new Error(`ball-accuracy.json has no row "${quantity}": expected one for each line of the README's table`);
  const goal = `${Number((row.goal * factor).toPrecision(3))} ${unit}`;
  const givesWay = row.atMost !== null && row.atMost > 1.001 * row.goal;
  const cells = [
    words,
    `${threeDigits(row.rms * factor)} ${unit}`,
    givesWay ? `${goal}; 1.2 bounds are ${threeDigits((row.atMost ?? 0) * factor)} ${unit}` : goal,
    row.rms <= (row.atMost ?? row.goal) ? 'met' : 'not met',
    percent(row.cover90, 0),
    row.ratio === null ? '–' : row.ratio.toFixed(2),
    percent(row.nullShare, 0),
  ];
  return `| ${cells.join(' | ')} |`;
}

function percent(share: number, digits: number): string {
  return `${(100 * share).toFixed(digits)} %`;
}

function threeDigits(value: number): string {
  if (value < 1) return value.toPrecision(2);
  return value >= 100 ? value.toFixed(0) : value >= 10 ? value.toFixed(1) : value.toFixed(2);
}

/** @returns the text with its passage between the marks replaced. */
export function withBallErrors(text: string): string {
  const from = text.indexOf(startMark);
  const to = text.indexOf(endMark);
  if (from < 0 || to < from) throw new Error(`README.md has no passage between "${startMark}" and "${endMark}"`);
  return text.slice(0, from) + ballErrorPassage() + text.slice(to + endMark.length);
}

/** Writes the figures into the README. */
export function renewReadme(): void {
  const file = path.join(projectRoot, 'README.md');
  writeFileSync(file, withBallErrors(readFileSync(file, 'utf8')));
}
