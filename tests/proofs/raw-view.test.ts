import { expect, test } from 'vitest';
import { chromiumPath, noBrowser } from '../helpers/chromium.ts';
import { watchRawView } from './raw-view.ts';

const isMissing = chromiumPath() === null;

test.skipIf(isMissing)(
  isMissing
    ? `the signal view runs (${noBrowser})`
    : 'two sensors run by in the signal view, and every frame is counted (a part of the proof, without its goals)',
  async () => {
    const view = await watchRawView(20_261_128, 2, { rounds: 2, roundS: 2, leafedS: 30 }, () => {});
    expect(view.charts).toBe(4);
    expect(view.framesPerS).toBeGreaterThan(0);
    expect(view.mainThreadShare).toBeGreaterThan(0);
    expect(view.heapMb.every((mb) => mb > 0)).toBe(true);
    expect(view.leafedHeapMb.every((mb) => mb > 0)).toBe(true);
  },
);
