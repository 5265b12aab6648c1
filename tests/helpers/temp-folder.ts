import { mkdtempSync, rmSync } from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { afterAll } from 'vitest';

/** @returns a fresh folder that is removed after the tests of the calling file */
export function tempFolder(): string {
  const folder = mkdtempSync(path.join(os.tmpdir(), 'seamwise-'));
  afterAll(() => rmSync(folder, { recursive: true, force: true }));
  return folder;
}
