import { fileURLToPath } from 'node:url';
import { defineConfig } from 'vitest/config';
import { ClosingLineReporter } from './tools/closing-line-reporter.ts';

export default defineConfig({
  root: fileURLToPath(new URL('..', import.meta.url)),
  test: {
    include: ['tests/**/*.test.ts'],
    globalSetup: ['tests/tools/postgres-run.ts'],
    // The smallest machine this project is tested on has two cores.
    maxWorkers: 2,
    testTimeout: 30_000,
    hookTimeout: 60_000,
    reporters: ['default', new ClosingLineReporter()],
    coverage: { reportsDirectory: 'coverage', include: ['src/**/*.ts'] },
  },
});
