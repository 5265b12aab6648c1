import { expect, test } from 'vitest';
import { intervalChart, rowChart } from '../../src/reports/charts.ts';

const scale = { from: -1, to: 1, zone: null, zero: true, factor: 1, unit: '' };
const textsAt = (drawing: string, x: number) =>
  [...drawing.matchAll(new RegExp(`<text class="tick" x="${x}" y="([\\d.-]+)"[^>]*>([^<]*)<`, 'g'))].map(
    ([, y, text]) => ({ y: Number(y), text: text ?? '' }),
  );

test('long names and answers stand in lines that fit beside the drawing, in rows that do not touch', () => {
  const label = 'from the dribble, one-two, left foot first – hop off both feet after a catch on the move';
  const told = 'too few days on which both were shot, or none at all, to say anything';
  const row = { label, value: 0.1, low: -0.2, high: 0.4, told };
  const { markup } = intervalChart([row, row], scale, 'two rows');
  for (const [x, whole, widest] of [
    [172, label, 172],
    [470, told, 170],
  ] as const) {
    const lines = textsAt(markup, x);
    expect(lines.map(({ text }) => text).join(' ')).toBe(`${whole} ${whole}`);
    // Signs of 11 px are about 5.7 px wide on average; words are not cut off at the edge of the drawing.
    for (const { text } of lines) expect(text.length * 5.7).toBeLessThanOrEqual(widest);
    const ys = lines.map(({ y }) => y);
    for (let i = 1; i < ys.length; i++) expect((ys[i] as number) - (ys[i - 1] as number)).toBeGreaterThanOrEqual(12);
  }
  const height = Number(/viewBox="0 0 640 ([\d.]+)"/.exec(markup)?.[1]);
  expect(Math.max(...textsAt(markup, 172).map(({ y }) => y))).toBeLessThan(height - 18);
});

test('a row of numbers says of what its first and its last is', () => {
  const point = { value: 1, low: 0.5, high: 1.5 };
  const chart = { low: null, high: null, leastSpan: 1, decimals: 1, ends: ['19 Oct', '24 Nov'] as const, inWords: '' };
  const { markup } = rowChart({ ...chart, points: [point, null, point] });
  expect(markup).toMatch(/>19 Oct<.*>24 Nov</s);
  expect(rowChart({ ...chart, points: [null] }).markup).toBe('');
});
