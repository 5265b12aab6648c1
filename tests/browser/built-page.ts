import { mkdtempSync, rmSync } from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { build } from 'vite';
import { projectRoot } from '../helpers/project-root.ts';

/** The page as the service gives it, built from the present sources. */
export interface BuiltPage {
  readonly folder: string;
  remove(): void;
}

export async function buildPage(): Promise<BuiltPage> {
  const base = mkdtempSync(path.join(os.tmpdir(), 'seamwise-built-page-'));
  const folder = path.join(base, 'dashboard');
  // The test runner sets this to "test", for which a page would be built with its aids for development.
  const { NODE_ENV: environment } = process.env;
  process.env.NODE_ENV = 'production';
  try {
    await build({
      configFile: path.join(projectRoot, 'src/dashboard/vite.config.ts'),
      logLevel: 'warn',
      mode: 'production',
      build: { outDir: folder },
    });
  } finally {
    if (environment === undefined) delete process.env.NODE_ENV;
    else process.env.NODE_ENV = environment;
  }
  return { folder, remove: () => rmSync(base, { recursive: true, force: true }) };
}
