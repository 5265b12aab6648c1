import { fileURLToPath } from 'node:url';
import { defineConfig } from 'vitest/config';
import { ClosingLineReporter } from './tools/closing-line-reporter.ts';

export default defineConfig({
  root: fileURLToPath(new URL('..', import.meta.url)),
  test: {
    include: ['tests/**/*.test.ts'],
    globalSetup: ['tests/tools/postgres-run.ts'],
    setupFiles: ['tests/tools/same-draws.ts'],
    // The smallest machine this project is tested on has two cores.
    maxWorkers: 2,
    // What is awaited comes, or nothing does: these only end a test that hangs, on a machine however slow or busy.
    testTimeout: 600_000,
    hookTimeout: 600_000,
    expect: { poll: { timeout: 240_000 } },
    reporters: ['default', new ClosingLineReporter()],
    coverage: { reportsDirectory: 'coverage', include: ['src/**/*.ts'] },
  },
});
