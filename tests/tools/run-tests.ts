import { type SpawnOptions, spawn } from 'node:child_process';
import { existsSync, mkdtempSync, readFileSync, rmSync } from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { ensureBuilt } from '../../src/cli/setup/build.mjs';
import { projectRoot } from '../helpers/project-root.ts';
import { countLine, type TestCount } from './test-count.ts';

/**
 * `npm test`: build, types, lint, unused files and packages, then all tests. Every stage runs whatever the ones before
 * it said; each counts as one passed or failed check beside the tests. Arguments go to vitest.
 */

interface Stage {
  readonly name: string;
  readonly words: readonly string[];
}

const typescript = 'node_modules/typescript/bin/tsc';

const stages: readonly Stage[] = [
  { name: 'types of src', words: [typescript, '--noEmit', '-p', '.'] },
  ...(existsSync(path.join(projectRoot, 'src/dashboard/tsconfig.json'))
    ? [{ name: 'types of the page', words: [typescript, '--noEmit', '-p', 'src/dashboard'] }]
    : []),
  { name: 'types of tests', words: [typescript, '--noEmit', '-p', 'tests'] },
  { name: 'lint and format', words: ['node_modules/@biomejs/biome/bin/biome', 'check', '.', '--error-on-warnings'] },
  { name: 'unused files and packages', words: ['node_modules/knip/bin/knip.js', '--no-progress'] },
];

const count: TestCount = { passed: 0, failed: 0, skipped: 0 };

await check('build', async () => {
  await ensureBuilt();
  return true;
});
for (const { name, words } of stages) await check(name, async () => (await run(words)) === 0);
await runTests(process.argv.slice(2));
process.stdout.write(`\n${countLine(count)}\n`);
process.exitCode = count.failed === 0 ? 0 : 1;

async function check(name: string, passes: () => Promise<boolean>): Promise<void> {
  const startMs = performance.now();
  let passed = false;
  try {
    passed = await passes();
  } catch (error) {
    process.stdout.write(`${error instanceof Error ? error.message : String(error)}\n`);
  }
  count[passed ? 'passed' : 'failed'] += 1;
  const tookS = ((performance.now() - startMs) / 1000).toFixed(1);
  process.stdout.write(`${passed ? 'ok' : 'FAILED'}: ${name} (${tookS} s)\n`);
}

async function runTests(words: readonly string[]): Promise<void> {
  const folder = mkdtempSync(path.join(os.tmpdir(), 'seamwise-tests-'));
  const file = path.join(folder, 'count.json');
  try {
    const vitest = ['node_modules/vitest/vitest.mjs', 'run', '--config', 'tests/vitest.config.ts', ...words];
    const code = await run(vitest, { env: { ...process.env, CLOSING_LINE_FILE: file } });
    const tests: TestCount = existsSync(file)
      ? JSON.parse(readFileSync(file, 'utf8'))
      : { passed: 0, failed: 0, skipped: 0 };
    for (const state of ['passed', 'failed', 'skipped'] as const) count[state] += tests[state];
    // A run that broke off, or found no test at all, has no failed test to count.
    if (code !== 0 && tests.failed === 0) count.failed += 1;
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}

function run(words: readonly string[], options: SpawnOptions = {}): Promise<number> {
  return new Promise((resolve, reject) => {
    const child = spawn(process.execPath, words, {
      cwd: projectRoot,
      stdio: ['ignore', 'inherit', 'inherit'],
      ...options,
    });
    child.once('error', reject);
    child.once('exit', (code) => resolve(code ?? 1));
  });
}
