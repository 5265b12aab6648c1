import { describe, expect, it } from 'vitest';
import { type EdgeSeries, edgeParameters, locateEdge } from '../../../src/shots/ball/edges.ts';

/** 200 Hz, times from 10 s on, no filter. */
function series(forceAt: (timeS: number) => number, length = 60): EdgeSeries {
  const timeS = Float64Array.from({ length }, (_, i) => 10 + i * 0.005);
  return {
    timeS,
    forceMps2: timeS.map((t) => Math.max(0, forceAt(t))),
    flags: new Uint8Array(length),
    noiseMps2: 0.05,
    stepS: 0.005,
    filterDelayS: 0,
  };
}

/** Rises from 0 at `startS` with the given slope, m/s³, up to a level. */
const rise = (startS: number, slope: number, level: number) => (t: number) => Math.min(level, slope * (t - startS));

/** Instants between samples 30 and 31, in tenths of the interval. */
const places = [0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9];

describe('the edge of a force', () => {
  it.each([
    ['a hard contact within a sample', 200 / 0.002, 200],
    ['a firm contact of two samples', 150 / 0.01, 150],
    ['a soft contact of four samples', 60 / 0.02, 60],
  ])('%s: its beginning is found to well below a sample', (_, slope, level) => {
    let squares = 0;
    let absolute = 0;
    for (const place of places) {
      const startS = 10 + 0.005 * (30 + place);
      const edge = locateEdge(series(rise(startS, slope, level)), 10, 1);
      if (edge?.timeS == null) throw new Error('expected an edge');
      const errorS = edge.timeS - (startS + edgeParameters.touchMps2 / slope);
      squares += (errorS / edge.standardErrorS) ** 2;
      absolute += errorS ** 2;
      // The window looked at is 1.7 samples wide: evenly likely within it is the least that can be said.
      expect(edge.standardErrorS).toBeLessThan(Math.hypot(1.7 / Math.sqrt(12), 0.12) * 0.005);
      expect(edge.standardErrorS).toBeGreaterThanOrEqual(0.12 * 0.005);
      const first = Math.floor(30 + place) + 1;
      expect([first, first + 1]).toContain(edge.outside);
    }
    // The middle between two samples, the plain guess, is off by 1 / √12 of the interval.
    expect(Math.sqrt(absolute / places.length)).toBeLessThan(0.005 / Math.sqrt(12));
    // Ten errors in units of their own standard error: the mean square is 1 but for chance and a cautious error.
    expect(squares / places.length).toBeLessThan(2);
  });

  it('finds the end of a force before the flight as it finds the beginning after it', () => {
    for (const place of places) {
      const endS = 10 + 0.005 * (20 + place);
      const edge = locateEdge(
        series((t) => Math.min(40, 2000 * (endS - t))),
        45,
        -1,
      );
      if (edge?.timeS == null) throw new Error('expected an edge');
      const errorS = edge.timeS - (endS - edgeParameters.touchMps2 / 2000);
      expect(Math.abs(errorS)).toBeLessThan(0.5 * 0.005);
      expect(Math.abs(errorS)).toBeLessThan(3 * edge.standardErrorS);
    }
  });

  it('is null where the series ends first', () => {
    expect(
      locateEdge(
        series(() => 0.1),
        30,
        1,
      ),
    ).toBeNull();
    expect(
      locateEdge(
        series(() => 0.1),
        30,
        -1,
      ),
    ).toBeNull();
    // Already touched where it was thought to be free.
    expect(
      locateEdge(
        series(() => 50, 20),
        0,
        1,
      ),
    ).toBeNull();
  });

  it('does not take one stray sample for a touch', () => {
    const strayed = series(rise(10.1525, 15_000, 150));
    strayed.forceMps2[20] = 1.5;
    const clean = locateEdge(series(rise(10.1525, 15_000, 150)), 10, 1);
    expect(locateEdge(strayed, 10, 1)).toEqual(clean);
    // Nor a tick of something loose, however it stands out; but what no tick can be is.
    strayed.forceMps2[20] = 12;
    expect(locateEdge(strayed, 10, 1)).toEqual(clean);
    strayed.forceMps2[20] = 60;
    expect(locateEdge(strayed, 10, 1)?.outside).toBe(20);
  });

  it('counts as touch what stands out of the noise', () => {
    const hum = series(() => 0.9);
    expect(locateEdge(hum, 10, 1)?.outside).toBe(10 + 0);
    expect(locateEdge({ ...hum, noiseMps2: 0.2 }, 10, 1)).toBeNull();
  });

  it('is a gap where samples are missing at the edge, and only there', () => {
    const whole = series(rise(10.1525, 15_000, 150));
    const without = (from: number, to: number): EdgeSeries => {
      const keep = Array.from(whole.timeS.keys()).filter((i) => i < from || i >= to);
      const flags = Uint8Array.from(keep, (i) => (i === to ? 4 : 0));
      return {
        ...whole,
        timeS: Float64Array.from(keep, (i) => whole.timeS[i] as number),
        forceMps2: Float64Array.from(keep, (i) => whole.forceMps2[i] as number),
        flags,
      };
    };
    expect(locateEdge(without(29, 33), 10, 1)).toEqual({ timeS: null, reason: 'gap', outside: 29 });
    const early = locateEdge(without(15, 20), 10, 1);
    expect(early?.timeS).toBeCloseTo(locateEdge(whole, 10, 1)?.timeS as number, 9);
  });
});
