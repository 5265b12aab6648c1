import { readdirSync, writeFileSync } from 'node:fs';
import path from 'node:path';
import { pathToFileURL } from 'node:url';
import { parseArgs } from 'node:util';
import { projectRoot } from '../helpers/project-root.ts';
import { renewReadme } from '../tools/error-table.ts';
import { readGitState } from '../tools/git-state.ts';
import { describeMachine } from '../tools/machine.ts';
import type { Goal, Prove } from './proof.ts';
import { openSeedBook } from './seeds.ts';

const usage = `usage: npm run prove -- [name ...] [--all] [--scale <share>] [--seed-from <words>]
  name         a proof of tests/proofs; its figures go to tests/proofs/<name>.json
  --all        every proof, one after the other
  --scale      do this share of the work (0 to 1) and write nothing
  --seed-from  take the seeds from these words instead of the commit, and write nothing`;

const folder = path.join(projectRoot, 'tests', 'proofs');
/** Parts of the runner that stand beside the proofs. */
const notProofs = ['run', 'proof', 'seeds'];
const known = readdirSync(folder)
  .filter((file) => file.endsWith('.ts') && !file.endsWith('.test.ts'))
  .map((file) => path.basename(file, '.ts'))
  .filter((name) => !notProofs.includes(name))
  .sort();

await main().catch((error: unknown) => {
  process.stderr.write(`${error instanceof Error ? (error.stack ?? error.message) : String(error)}\n`);
  process.exitCode ||= 1;
});

async function main(): Promise<void> {
  const words = readWords();
  if (words === null) return;
  if (words.names.length === 0) {
    process.stdout.write(`${usage}\n\nproofs:\n${known.map((name) => `  ${name}\n`).join('')}`);
    return;
  }
  let held = true;
  for (const name of words.names) held = (await proveOne(name, words)) && held;
  process.exitCode = held ? 0 : 1;
}

interface Words {
  readonly names: readonly string[];
  readonly scale: number;
  readonly seedFrom: string | undefined;
}

/** @returns null where the words make no sense, after saying so */
function readWords(): Words | null {
  try {
    const options = {
      all: { type: 'boolean' },
      scale: { type: 'string' },
      'seed-from': { type: 'string' },
    } as const;
    const { values, positionals } = parseArgs({ args: process.argv.slice(2), allowPositionals: true, options });
    const scale = Number(values.scale ?? 1);
    if (!(scale > 0 && scale <= 1)) throw new RangeError(`--scale is ${values.scale}: expected more than 0, at most 1`);
    const unknown = positionals.filter((name) => !known.includes(name));
    if (unknown.length > 0)
      throw new RangeError(`no proof is named ${unknown.join(', ')}: expected ${known.join(', ') || 'none yet'}`);
    return { names: values.all ? known : positionals, scale, seedFrom: values['seed-from'] };
  } catch (error) {
    process.stderr.write(`${error instanceof Error ? error.message : String(error)}\n\n${usage}\n`);
    process.exitCode = 2;
    return null;
  }
}

async function proveOne(name: string, { scale, seedFrom }: Words): Promise<boolean> {
  const { prove }: { prove?: Prove } = await import(pathToFileURL(path.join(folder, `${name}.ts`)).href);
  if (typeof prove !== 'function') throw new TypeError(`tests/proofs/${name}.ts does not export a function "prove"`);
  const git = readGitState();
  const seedOrigin = seedFrom ?? git.commit;
  const book = openSeedBook(`${seedOrigin}/${name}`);
  const say = (line: string) => process.stdout.write(`${line}\n`);
  say(
    `proof ${name}: commit ${git.commit}${git.clean ? '' : ' with changes'}, seeds from ${seedOrigin}, scale ${scale}`,
  );

  const startedAt = new Date();
  const startMs = performance.now();
  const figures = await prove({ commit: git.commit, seed: book.seed, scale, say });
  const durationS = Math.round((performance.now() - startMs) / 100) / 10;

  for (const [label, seed] of Object.entries(book.given)) say(`seed ${label}: ${seed}`);
  const held = sayGoals(figures.goals ?? [], say);
  if (scale < 1 || seedFrom !== undefined) return held;
  const head = { proof: name, commit: git.commit, clean: git.clean, date: startedAt.toISOString(), durationS, held };
  const record = { ...head, machine: describeMachine(), seeds: book.given, figures };
  const file = path.join(folder, `${name}.json`);
  writeFileSync(file, `${JSON.stringify(record, null, 2)}\n`);
  say(`written: ${path.relative(projectRoot, file)}`);
  renewReadme();
  return held;
}

function sayGoals(goals: readonly Goal[], say: (line: string) => void): boolean {
  for (const { goal, figure, atLeast, atMost, met } of goals) {
    const bounds = [
      atLeast === undefined ? '' : `at least ${atLeast}`,
      atMost === undefined ? '' : `at most ${atMost}`,
    ];
    say(`${met ? 'met' : 'NOT MET'}: ${goal}: ${figure} (${bounds.filter((bound) => bound !== '').join(', ')})`);
  }
  return goals.every(({ met }) => met);
}
