import { mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import path from 'node:path';
import type { ShotTruth } from '../../src/simulate/practice-truth.ts';
import { AccuracyTable, type CoverageFigures, coverageOf, short } from '../helpers/accuracy-table.ts';
import type { PracticeSpec } from '../helpers/play-practice.ts';
import { playAll } from '../helpers/practice-pool.ts';
import { projectRoot } from '../helpers/project-root.ts';
import { toldSpot } from '../helpers/told-spot.ts';
import { readGitState } from '../tools/git-state.ts';
import { type Goal, goal, type Prove } from './proof.ts';

const ratesHz = [100, 200, 833] as const;
const startKinds = ['dribble', 'catch', 'hold'] as const;
/** A rate's practices: those in which nothing is told of the spot, and shorter ones in which distance and release height are. */
const untold = { practices: 120, shots: 20, decoys: 3 } as const;
const told = { practices: 160, shots: 5, decoys: 1 } as const;
const leastShots = 1000;
const coverGoal = { atLeast: 0.85, atMost: 0.95 } as const;
const squaredZGoal = { atLeast: 0.7, atMost: 1.4 } as const;
/** With fewer comparisons than this in a whole run a share of 90 % scatters by more than two percent: not judged. */
const leastCompared = 200;

type Cell = Readonly<Record<string, CoverageFigures>>;

/** What one rate gave: by start kind, then by time or measure. */
interface RateFigures {
  readonly shots: Readonly<Record<string, number>>;
  readonly found: number;
  readonly notFound: readonly string[];
  readonly falseShots: readonly string[];
  readonly cells: Readonly<Record<string, Cell>>;
}

/**
 * Do the 90 % intervals hold the truth, and are the standard errors of the right size? Start kind × sample rate, at least 1,000
 * shots a cell, every time and measure. A finished rate is kept under node_modules/.cache, so a run cut short goes on from there;
 * only for a clean commit.
 */
export const prove: Prove = async ({ commit, seed, scale, say }) => {
  const goals: Goal[] = [];
  const figures: Record<string, RateFigures> = {};
  const least = Math.ceil(leastCompared * scale);
  for (const rateHz of ratesHz) {
    const rateSeed = seed(`${rateHz} Hz`);
    const kept = path.join(
      projectRoot,
      'node_modules',
      '.cache',
      'ball-coverage',
      `${commit}-${rateSeed}-${scale}.json`,
    );
    const rate = readKept(kept) ?? (await proveRate(rateHz, rateSeed, scale, say));
    keep(kept, rate);
    figures[`${rateHz} Hz`] = rate;
    for (const lost of rate.notFound) say(`not found: ${lost}`);
    for (const extra of rate.falseShots) say(`false shot: ${extra}`);
    for (const kind of startKinds) {
      const cell = rate.cells[kind] ?? {};
      const name = `${kind} at ${rateHz} Hz`;
      say(`${name}: ${rate.shots[kind]} shots`);
      for (const line of cellLines(cell, least)) say(`  ${line}`);
      const covers = `quantities whose 90 % interval holds the truth less than 85 % or more than 95 %, ${name}`;
      const squares = `quantities with a mean squared z outside 0.7 to 1.4, ${name}`;
      goals.push(
        goal(`shots, ${name}`, rate.shots[kind] ?? 0, { atLeast: leastShots }),
        goal(covers, outside(cell, 'cover90', coverGoal, least).length, { atMost: 0 }),
        goal(squares, outside(cell, 'meanSquaredZ', squaredZGoal, least).length, { atMost: 0 }),
      );
    }
  }
  return { goals, leastComparisonsJudged: leastCompared, rates: figures };
};

async function proveRate(
  rateHz: number,
  rateSeed: number,
  scale: number,
  say: (line: string) => void,
): Promise<RateFigures> {
  const plain = Array.from({ length: Math.ceil(untold.practices * scale) }, (_, i): PracticeSpec => {
    return {
      seed: `${rateSeed}/${i}`,
      shots: untold.shots,
      decoys: untold.decoys,
      sensor: { rateHz },
      path: 'samples',
    };
  });
  const spots = Array.from({ length: Math.ceil(told.practices * scale) }, (_, i): PracticeSpec => {
    const own = `${rateSeed}/told ${i}`;
    return { seed: own, shots: told.shots, decoys: told.decoys, sensor: { rateHz }, path: 'samples', ...toldSpot(own) };
  });
  const table = new AccuracyTable();
  const startMs = performance.now();
  await playAll([...plain, ...spots], (played, _, index) => {
    table.add(played);
    if ((index + 1) % 20 === 0) {
      const { shots, found, falseShots } = table.score;
      const seconds = ((performance.now() - startMs) / 1000).toFixed(0);
      say(`${rateHz} Hz, practice ${index + 1} after ${seconds} s: ${found} of ${shots} shots, ${falseShots} false`);
    }
  });
  const { score } = table;
  const shots: Record<string, number> = {};
  const cells: Record<string, Record<string, CoverageFigures>> = {};
  for (const kind of startKinds) {
    const own = (c: { readonly truth: { readonly startKind: string } }) => c.truth.startKind === kind;
    const release = score.quantities.get('release');
    shots[kind] = (release?.comparisons.filter(own).length ?? 0) + (release?.nullCases.filter(own).length ?? 0);
    const cell: Record<string, CoverageFigures> = {};
    for (const [quantity, tally] of score.quantities) {
      const coverage = coverageOf(tally, ({ truth }) => truth.startKind === kind && hasExtent(quantity, truth));
      if (coverage.n > 0) cell[quantity] = coverage;
    }
    cells[kind] = cell;
  }
  return {
    shots,
    found: score.found / score.shots,
    notFound: score.missed.map((shot) => `seed ${shot.seed} shot ${shot.index} at ${shot.releaseS.toFixed(2)} s`),
    falseShots: score.falseList.map((shot) => `seed ${shot.seed} at ${shot.atS?.toFixed(2)} s during ${shot.during}`),
    cells,
  };
}

/** Pause and dip are judged where the truth is not 0: an interval that starts at 0 always holds a 0. */
function hasExtent(quantity: string, truth: ShotTruth): boolean {
  if (quantity !== 'pauseS' && quantity !== 'dipDepthM') return true;
  return (truth.measures[quantity].value ?? 0) > 0;
}

function outside(
  cell: Cell,
  figure: 'cover90' | 'meanSquaredZ',
  { atLeast, atMost }: { atLeast: number; atMost: number },
  least: number,
): string[] {
  return Object.entries(cell)
    .filter(([, coverage]) => coverage.n >= least)
    .filter(([, coverage]) => !(coverage[figure] >= atLeast && coverage[figure] <= atMost))
    .map(([quantity]) => quantity);
}

function cellLines(cell: Cell, least: number): string[] {
  const failing = new Set([
    ...outside(cell, 'cover90', coverGoal, least),
    ...outside(cell, 'meanSquaredZ', squaredZGoal, least),
  ]);
  return Object.entries(cell).map(([quantity, c]) => {
    const numbers = `n ${c.n}, covers ${(100 * c.cover90).toFixed(1)} %, z² ${short(c.meanSquaredZ)}, RMS ${short(c.rms)}, own ${short(c.meanStandardError)}`;
    return `${failing.has(quantity) ? 'OUTSIDE ' : ''}${quantity}: ${numbers}${failing.has(quantity) ? `; worst: ${c.worst[0]}` : ''}`;
  });
}

function readKept(file: string): RateFigures | null {
  try {
    return readGitState().clean ? (JSON.parse(readFileSync(file, 'utf8')) as RateFigures) : null;
  } catch {
    return null;
  }
}

function keep(file: string, rate: RateFigures): void {
  mkdirSync(path.dirname(file), { recursive: true });
  if (readGitState().clean) writeFileSync(file, JSON.stringify(rate));
}
