import { execFileSync } from 'node:child_process';
import { existsSync, mkdtempSync, rmSync } from 'node:fs';
import os from 'node:os';
import path from 'node:path';

/** Before and after all test files: the place of the PostgreSQL that they share, which is started by the first that needs it. */
export function setup(): () => void {
  const folder = mkdtempSync(path.join(os.tmpdir(), 'seamwise-postgres-'));
  process.env.SEAMWISE_TEST_POSTGRES = folder;
  return () => {
    const pidFile = path.join(folder, 'data', 'postmaster.pid');
    if (existsSync(pidFile)) stop(pidFile);
    rmSync(folder, { recursive: true, force: true });
  };
}

/** Its data are thrown away, so it need not close anything. */
function stop(pidFile: string): void {
  const pid = execFileSync('head', ['-n', '1', pidFile], { encoding: 'utf8' }).trim();
  // PostgreSQL documentation, "Shutting Down the Server": SIGQUIT ends it at once.
  try {
    process.kill(Number(pid), 'SIGQUIT');
  } catch {
    return;
  }
  const untilMs = Date.now() + 10_000;
  while (existsSync(pidFile) && Date.now() < untilMs) execFileSync('sleep', ['0.05']);
}
