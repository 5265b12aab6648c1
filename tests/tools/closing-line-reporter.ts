import { writeFileSync } from 'node:fs';
import type { Reporter, TestModule } from 'vitest/node';
import { countLine, type TestCount } from './test-count.ts';

/** Prints `N passed, N failed, N skipped` last, or hands the count to the caller that set CLOSING_LINE_FILE. */
export class ClosingLineReporter implements Reporter {
  onTestRunEnd(modules: readonly TestModule[], unhandledErrors: readonly unknown[]): void {
    const count: TestCount = { passed: 0, failed: unhandledErrors.length, skipped: 0 };
    for (const module of modules) {
      count.failed += module.errors().length;
      for (const test of module.children.allTests()) {
        const state = test.result().state;
        count[state === 'passed' || state === 'failed' ? state : 'skipped'] += 1;
      }
    }
    const file = process.env.CLOSING_LINE_FILE;
    if (file) writeFileSync(file, JSON.stringify(count));
    else process.stdout.write(`${countLine(count)}\n`);
  }
}
