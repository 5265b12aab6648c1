import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import {
  axisTicks,
  drawnRange,
  leastSpanS,
  needsDrawing,
  panned,
  placement,
  shownSessionTime,
  withinWhole,
  zoomed,
} from '../../../src/dashboard/research/view-range.ts';

const whole = { fromS: 2, spanS: 600 };
const view = fc.record({
  fromS: fc.double({ min: -1000, max: 2000, noNaN: true }),
  spanS: fc.double({ min: 1e-6, max: 5000, noNaN: true }),
});

describe('a view of signals', () => {
  it('never leaves the whole by more than half of itself, and is never narrower than some samples', () => {
    fc.assert(
      fc.property(view, (wish) => {
        const { fromS, spanS } = withinWhole(wish, whole);
        expect(spanS).toBeGreaterThanOrEqual(leastSpanS);
        expect(spanS).toBeLessThanOrEqual(whole.spanS);
        expect(fromS).toBeGreaterThanOrEqual(whole.fromS - spanS / 2 - 1e-9);
        expect(fromS).toBeLessThanOrEqual(whole.fromS + whole.spanS - spanS / 2 + 1e-9);
      }),
    );
  });

  it('keeps what lies under the pointer where it is while it zooms', () => {
    const before = { fromS: 100, spanS: 20 };
    const after = zoomed(before, 0.25, 0.7, whole);
    expect(after.spanS).toBe(5);
    expect(after.fromS + 0.7 * after.spanS).toBeCloseTo(before.fromS + 0.7 * before.spanS, 9);
    expect(panned(before, 0.5, whole)).toEqual({ fromS: 110, spanS: 20 });
  });

  it('is laid over what was drawn for it, wherever it has moved since', () => {
    fc.assert(
      fc.property(
        fc.double({ min: 10, max: 500, noNaN: true }),
        fc.double({ min: -0.4, max: 0.9, noNaN: true }),
        (fromS, moved) => {
          const now = { fromS, spanS: 8 };
          const drawn = drawnRange(now, 1);
          const drawnPx = Math.round((1000 * drawn.spanS) / now.spanS);
          const later = { ...now, fromS: fromS + moved * now.spanS };
          const { x, scale } = placement(later, drawn, 1000, drawnPx);
          // An instant in the drawing comes to stand where it is in the view.
          const instantS = later.fromS + 3;
          const inDrawing = ((instantS - drawn.fromS) / drawn.spanS) * drawnPx;
          expect(x + scale * inDrawing).toBeCloseTo((1000 * 3) / 8, 0);
        },
      ),
    );
  });

  it('is drawn anew before its edge is seen, and when it is zoomed', () => {
    const now = { fromS: 50, spanS: 10 };
    const drawn = drawnRange(now, 1);
    expect(needsDrawing(now, drawn)).toBe(false);
    expect(needsDrawing(now, null)).toBe(true);
    for (let fromS = now.fromS; ; fromS += 0.1) {
      const isDue = needsDrawing({ ...now, fromS }, drawn);
      if (!isDue) continue;
      expect(fromS + now.spanS).toBeLessThan(drawn.fromS + drawn.spanS);
      break;
    }
    expect(needsDrawing({ ...now, spanS: 9 }, drawn)).toBe(true);
  });
});

it('marks of the axis lie within it, at round steps, and are not too many', () => {
  fc.assert(
    fc.property(
      fc.double({ min: -10, max: 5000, noNaN: true }),
      fc.double({ min: 0.02, max: 9000, noNaN: true }),
      (fromS, spanS) => {
        const ticks = axisTicks({ fromS, spanS }, 10);
        expect(ticks.length).toBeLessThanOrEqual(12);
        for (const tick of ticks) {
          expect(tick).toBeGreaterThanOrEqual(fromS - 1e-6);
          expect(tick).toBeLessThanOrEqual(fromS + spanS + 1e-6);
        }
      },
    ),
  );
});

it('times are shown as minutes and seconds, as fine as the view', () => {
  expect(shownSessionTime(75.25, 600)).toBe('1:15');
  expect(shownSessionTime(5.4356, 0.5)).toBe('0:05.44');
  expect(shownSessionTime(59.999, 10)).toBe('1:00.0');
  expect(shownSessionTime(-1.5, 10)).toBe('−0:01.5');
  expect(shownSessionTime(-0.001, 10)).toBe('0:00.0');
});
