import { readdirSync } from 'node:fs';
import path from 'node:path';
import { pathToFileURL } from 'node:url';
import { Bench } from 'tinybench';
import { projectRoot } from '../helpers/project-root.ts';
import { readGitState } from '../tools/git-state.ts';
import { describeMachine } from '../tools/machine.ts';
import type { BenchFigure, BenchFile, BenchRow } from './bench.ts';

/** `npm run bench [-- name ...]`: all bench files, or those named. Quartiles need the single times, so they are kept. */

const ending = '.bench.ts';
const folder = path.join(projectRoot, 'tests', 'bench');
const known = readdirSync(folder)
  .filter((file) => file.endsWith(ending))
  .map((file) => file.slice(0, -ending.length))
  .sort();

const names = process.argv.slice(2);
const unknown = names.filter((name) => !known.includes(name));
if (unknown.length > 0) {
  process.stderr.write(`no bench is named ${unknown.join(', ')}: expected ${known.join(', ') || 'none yet'}\n`);
  process.exitCode = 2;
} else {
  const { commit, clean } = readGitState();
  const { node, platform, cpu, cores } = describeMachine();
  say(`commit ${commit}${clean ? '' : ' with changes'}, Node ${node}, ${platform}, ${cores} × ${cpu}`);
  for (const name of names.length > 0 ? names : known) await runFile(name);
}

function say(line: string): void {
  process.stdout.write(`${line}\n`);
}

async function runFile(name: string): Promise<void> {
  const file: BenchFile = await import(pathToFileURL(path.join(folder, name + ending)).href);
  if (file.rows === undefined && file.figures === undefined) {
    throw new TypeError(`tests/bench/${name}${ending} exports neither "rows" nor "figures"`);
  }
  say(`\n${name}`);
  if (file.rows) printTable(await timeRows(await file.rows()));
  if (file.figures) printTable(figureCells(await file.figures({ say })));
}

async function timeRows(rows: readonly BenchRow[]): Promise<string[][]> {
  const bench = new Bench({ retainSamples: true, throws: true, time: 1000, iterations: 16 });
  for (const { name, run } of rows) bench.add(name, run);
  await bench.run();
  const times = bench.tasks.map((task) =>
    quartiles('latency' in task.result ? (task.result.latency.samples ?? []) : []),
  );
  const baseline = Math.max(
    0,
    rows.findIndex((row) => row.baseline === true),
  );
  const baselineMs = times[baseline]?.median ?? Number.NaN;
  const cells = rows.map((row, at) => rowCells(row, times[at] ?? quartiles([]), baselineMs));
  return [['', 'median', 'middle half', 'runs', 'rate', 'x real time', 'x baseline'], ...cells];
}

interface Quartiles {
  readonly low: number;
  readonly median: number;
  readonly high: number;
  readonly count: number;
}

/** @param sortedMs times of single runs, ascending */
function quartiles(sortedMs: readonly number[]): Quartiles {
  const at = (share: number) =>
    sortedMs[Math.min(sortedMs.length - 1, Math.floor(share * sortedMs.length))] ?? Number.NaN;
  return { low: at(0.25), median: at(0.5), high: at(0.75), count: sortedMs.length };
}

function rowCells(row: BenchRow, { low, median, high, count }: Quartiles, baselineMs: number): string[] {
  const perSecond =
    row.amount === undefined ? '' : `${short(row.amount / (median / 1000))} ${row.amountOf ?? 'items'}/s`;
  const realTime = row.recordingS === undefined ? '' : short(row.recordingS / (median / 1000));
  const spread = `${short(low)} to ${short(high)} ms`;
  return [row.name, `${short(median)} ms`, spread, String(count), perSecond, realTime, short(median / baselineMs)];
}

function figureCells(figures: readonly BenchFigure[]): string[][] {
  return figures.map(({ name, value, unit }) => [name, `${short(value)} ${unit}`]);
}

function short(value: number): string {
  return value >= 10_000 ? Math.round(value).toLocaleString('en-US') : String(Number(value.toPrecision(3)));
}

function printTable(lines: readonly (readonly string[])[]): void {
  const widths: number[] = [];
  for (const line of lines) {
    for (const [column, cell] of line.entries()) widths[column] = Math.max(widths[column] ?? 0, cell.length);
  }
  for (const line of lines) {
    const cells = line.map((cell, column) =>
      column === 0 ? cell.padEnd(widths[0] ?? 0) : cell.padStart(widths[column] ?? 0),
    );
    say(`  ${cells.join('  ').trimEnd()}`);
  }
}
