/** How many checks and tests passed, failed and were skipped. */
export interface TestCount {
  passed: number;
  failed: number;
  skipped: number;
}

/** @returns the plain closing line that people and CI read. */
export function countLine(count: TestCount): string {
  return `${count.passed} passed, ${count.failed} failed, ${count.skipped} skipped`;
}
