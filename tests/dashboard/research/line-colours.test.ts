import { readFileSync } from 'node:fs';
import { describe, expect, test } from 'vitest';
import { projectRoot } from '../../helpers/project-root.ts';

/**
 * The lines of the signal views as people see them who lack one of the three kinds of cones: linear RGB times the matrices of Machado, Oliveira and
 * Fernandes 2009 (IEEE Trans. Vis. Comput. Graph. 15:1291, severity 1; values from memory), told apart in CIE 1976 L*a*b*, D65. A difference of 20 is
 * large there (2.3 is just noticeable: Mahy and others 1994, from memory); the thin lines want it.
 */
const sight = {
  all: [
    [1, 0, 0],
    [0, 1, 0],
    [0, 0, 1],
  ],
  protanopia: [
    [0.152286, 1.052583, -0.204868],
    [0.114503, 0.786281, 0.099216],
    [-0.003882, -0.048116, 1.051998],
  ],
  deuteranopia: [
    [0.367322, 0.860646, -0.227968],
    [0.280085, 0.672501, 0.047413],
    [-0.01182, 0.04294, 0.968881],
  ],
  tritanopia: [
    [1.255528, -0.076749, -0.178779],
    [-0.078411, 0.930809, 0.147602],
    [0.004733, 0.691367, 0.3039],
  ],
} as const;
type Three = readonly [number, number, number];

const css = (file: string): string => readFileSync(`${projectRoot}/src/dashboard/${file}`, 'utf8');
/** The values of a colour in the order of light, dark by the system, dark by choice, and contrast. */
const valuesOf = (text: string, name: string): string[] =>
  [...text.matchAll(new RegExp(`--${name}: (#[0-9a-f]{3,6});`, 'g'))].map(([, value = '']) =>
    value.length === 4 ? value.replace(/[0-9a-f]/g, '$&$&') : value,
  );
const lines = css('research/research.css');
const page = css('styles/page.css');
const [x, y, z] = ['axis-x', 'axis-y', 'axis-z'].map((name) => valuesOf(lines, name));
const [ink, sheet] = ['ink', 'sheet'].map((name) => valuesOf(page, name));
const themes = ['light', 'dark of the system', 'dark', 'contrast'] as const;

function linear(colour: string): Three {
  const [r = 0, g = 0, b = 0] = [1, 3, 5].map((at) => {
    const value = Number.parseInt(colour.slice(at, at + 2), 16) / 255;
    return value <= 0.04045 ? value / 12.92 : ((value + 0.055) / 1.055) ** 2.4;
  });
  return [r, g, b];
}

const luminance = (colour: string): number => {
  const [r, g, b] = linear(colour);
  return 0.2126 * r + 0.7152 * g + 0.0722 * b;
};

function labOf(colour: string, matrix: readonly Three[]): number[] {
  const from = linear(colour);
  const [r = 0, g = 0, b = 0] = matrix.map((row) => row.reduce((sum, part, i) => sum + part * (from[i] ?? 0), 0));
  const f = (value: number): number => (value > 0.008856 ? Math.cbrt(value) : 7.787 * Math.max(0, value) + 16 / 116);
  const across = f((0.4124 * r + 0.3576 * g + 0.1805 * b) / 0.9505);
  const up = f(0.2126 * r + 0.7152 * g + 0.0722 * b);
  const deep = f((0.0193 * r + 0.1192 * g + 0.9505 * b) / 1.089);
  return [116 * up - 16, 500 * (across - up), 200 * (up - deep)];
}

describe.each(themes.map((theme, at) => [theme, at] as const))('lines of signals, %s', (_theme, at) => {
  const colours = [x, y, z, ink].map((values) => values?.[at] ?? '');

  test.each(Object.entries(sight))('are told apart with %s', (_name, matrix) => {
    const seen = colours.map((colour) => labOf(colour, matrix));
    for (const [i, one] of seen.entries()) {
      for (const other of seen.slice(i + 1)) {
        expect(Math.hypot(...one.map((value, part) => value - (other[part] ?? 0)))).toBeGreaterThan(20);
      }
    }
  });

  // WCAG 2.2, 1.4.11: 3 to 1 for what has to be seen.
  test('stand out from the sheet', () => {
    const under = luminance(sheet?.[at] ?? '');
    for (const colour of colours) {
      const [low, high] = [luminance(colour), under].sort((a, b) => a - b) as [number, number];
      expect((high + 0.05) / (low + 0.05)).toBeGreaterThanOrEqual(3);
    }
  });
});
