import { expect, test } from 'vitest';
import { chromiumPath, noBrowser } from '../helpers/chromium.ts';
import { watchLiveView } from './live-view.ts';

const isMissing = chromiumPath() === null;

test.skipIf(isMissing)(
  isMissing
    ? `signals run by as they come (${noBrowser})`
    : 'the signals of two sensors run by as they come, and every frame is counted (a part of the proof, without its goals)',
  async () => {
    const view = await watchLiveView(20_261_128, { sensors: 2, rounds: 2, roundS: 2, spanS: 5 }, () => {});
    expect(view.charts).toBe(4);
    expect(view.framesPerS).toBeGreaterThan(0);
    expect(view.mainThreadShare).toBeGreaterThan(0);
    expect(view.heapMb.every((mb) => mb > 0)).toBe(true);
  },
);
