import { expect, test } from 'vitest';
import { chromiumPath, noBrowser } from '../helpers/chromium.ts';
import { watchPageHeap } from './page-heap.ts';

const isMissing = chromiumPath() === null;

test.skipIf(isMissing)(
  isMissing
    ? `what stays in the memory of a page (${noBrowser})`
    : 'what stays in the memory of a page is counted through ten minutes of practice (a part of the proof, without its goals)',
  async () => {
    const [court] = await watchPageHeap({ hours: 1 / 6, screens: ['court'], msPerS: 4 }, () => {});
    expect(court?.heapMb).toHaveLength(2);
    expect(court?.heapMb.every((mb) => mb > 1)).toBe(true);
    expect(court?.nodes.every((count) => count > 100)).toBe(true);
  },
);
