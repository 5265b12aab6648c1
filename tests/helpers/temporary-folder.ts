import { mkdtempSync, rmSync } from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { onTestFinished } from 'vitest';

/** @returns a new empty folder that is deleted when the running test ends */
export function temporaryFolder(): string {
  const folder = mkdtempSync(path.join(os.tmpdir(), 'seamwise-test-'));
  onTestFinished(() => rmSync(folder, { recursive: true, force: true }));
  return folder;
}
