import { spawn } from 'node:child_process';
import process from 'node:process';

/** How a child process ended: an exit code, or the signal that killed it. */
/** @typedef {{ code: number | null, signal: NodeJS.Signals | null }} Ending */

/** Stdout of a set-up step goes to our stderr: stdout belongs to the command alone. */
export const setupStdio = /** @type {import('node:child_process').StdioOptions} */ (['ignore', 2, 2]);

/** How often to look whether the shell that npm put between itself and us is still there. */
const lookForParentMs = 500;

/** @type {NodeJS.Signals[]} */
const passedOn = ['SIGINT', 'SIGTERM', 'SIGHUP'];

/**
 * Runs this same Node with the arguments and waits; signals that reach this process are passed on meanwhile.
 *
 * A signal to npm itself kills the shell between npm and this process and never comes here; under npm, the end of that
 * shell therefore counts as SIGTERM. (Windows ends the whole tree by itself.)
 *
 * @param {string[]} nodeArguments
 * @param {import('node:child_process').SpawnOptions} options
 * @returns {Promise<Ending>}
 */
export function runNode(nodeArguments, options) {
  return new Promise((resolve, reject) => {
    const child = spawn(process.execPath, nodeArguments, options);
    const handlers = passedOn.map((signal) => {
      const handler = () => child.kill(signal);
      process.on(signal, handler);
      return () => process.off(signal, handler);
    });
    const parent = process.ppid;
    const looking = setInterval(() => {
      if (process.env.npm_lifecycle_event !== undefined && process.ppid !== parent) child.kill('SIGTERM');
    }, lookForParentMs);
    const stopPassingOn = () => {
      clearInterval(looking);
      for (const off of handlers) off();
    };
    child.once('error', (error) => {
      stopPassingOn();
      reject(error);
    });
    child.once('exit', (code, signal) => {
      stopPassingOn();
      resolve({ code, signal });
    });
  });
}

/**
 * Ends this process as the child ended, so that shells and service managers see what really happened.
 *
 * @param {Ending} ending
 */
export function endAs({ code, signal }) {
  if (signal !== null) process.kill(process.pid, signal);
  else process.exitCode = code ?? 1;
}
