import { existsSync } from 'node:fs';
import path from 'node:path';
import process from 'node:process';
import { ensureBuilt } from './build.mjs';
import { endAs, runNode } from './child.mjs';
import { ensureInstalled } from './install.mjs';
import { projectRoot } from './project-root.mjs';

const bin = path.join(projectRoot, 'dist', 'cli', 'main.js');

/** Runs a TypeScript file of the project from its source. */
const fromSource = ['--import', 'tsx', '--expose-gc'];

/** @type {Record<string, { build: boolean, inProject: boolean, nodeArguments: string[] }>} */
const commands = {
  start: { build: true, inProject: true, nodeArguments: [bin, 'serve'] },
  seamwise: { build: true, inProject: false, nodeArguments: [bin] },
  // The test runner builds by itself, so that a failed build is counted like any other failed check.
  test: { build: false, inProject: true, nodeArguments: [...fromSource, 'tests/tools/run-tests.ts'] },
  bench: { build: true, inProject: true, nodeArguments: [...fromSource, 'tests/bench/run.ts'] },
  prove: { build: true, inProject: true, nodeArguments: [...fromSource, 'tests/proofs/run.ts'] },
};

/**
 * Sets the project up as far as the command needs it, then becomes the command: its arguments, signals and exit
 * code pass through, and nothing but its own output reaches stdout.
 *
 * @param {string[]} words name of the command, then its arguments
 */
export async function runCommand(words) {
  const [name = '', ...rest] = words;
  const command = Object.hasOwn(commands, name) ? commands[name] : undefined;
  if (command === undefined) {
    throw new Error(`unknown command "${name}": expected one of ${Object.keys(commands).join(', ')}`);
  }
  await ensureInstalled();
  if (command.build) {
    await ensureBuilt();
    if (command.nodeArguments[0] === bin && !existsSync(bin)) {
      throw new Error(`${path.relative(projectRoot, bin)} is not there after the build: expected src/cli/main.ts`);
    }
  }
  const cwd = command.inProject ? projectRoot : callersFolder();
  endAs(await runNode([...command.nodeArguments, ...rest], { cwd, stdio: 'inherit' }));
}

/** npm runs scripts in the project's folder; file names a person typed mean the folder they typed them in. */
function callersFolder() {
  const typedIn = process.env.INIT_CWD;
  const viaNpm = process.env.npm_lifecycle_event === 'seamwise' && process.cwd() === projectRoot;
  return viaNpm && typedIn !== undefined && existsSync(typedIn) ? typedIn : process.cwd();
}
