import { expect, test } from 'vitest';
import { chromiumPath, noBrowser } from '../helpers/chromium.ts';
import { loadPages } from './page-load.ts';

const isMissing = chromiumPath() === null;

test.skipIf(isMissing)(
  isMissing
    ? `the page is usable soon (${noBrowser})`
    : 'the page loads packed and at most 120 kB, and is used as soon as it can be (a part of the proof, without its times)',
  async () => {
    const { loads } = await loadPages(2, () => {});
    for (const load of loads) {
      expect(load.bytes).toBeGreaterThan(20_000);
      expect(load.bytes).toBeLessThanOrEqual(120_000);
      expect(load.files).toBeGreaterThanOrEqual(4);
      expect(load.packed).toBeGreaterThanOrEqual(3);
      expect(load.connectedMs).toBeGreaterThan(0);
      expect(load.usableMs).toBeGreaterThan(load.connectedMs);
    }
  },
);
