import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { analysisText } from '../../src/cli/table/analysis-text.ts';
import { measuredText, timeText } from '../../src/cli/table/measured-text.ts';
import { layOutTable, wrapText } from '../../src/cli/table/text-width.ts';
import { measured, notMeasured } from '../../src/foundation/measured.ts';
import { madeAnalysis, madeShot, noDistance } from './made-shots.ts';

describe('a measured number in words', () => {
  it.each([
    [measured(0.6123, 0.0081), 'plain', '0.612 ±0.008'],
    [measured(0.6123, 0.014), 'plain', '0.612 ±0.014'],
    [measured(8.04, 0.13), 'plain', '8.04 ±0.13'],
    [measured(52.4, 2.6), 'plain', '52 ±3'],
    [measured(-0.02, 0.3), 'plain', '0.0 ±0.3'],
    [measured(-1.62, 0.3), 'plain', '-1.6 ±0.3'],
    [measured(120, 30), 'plain', '120 ±30'],
    [measured(0, 0), 'plain', '0.000 ±0.000'],
    [measured(4.12, 0.6), 'left-right', '4.1 ±0.6 left'],
    [measured(-4.12, 0.6), 'left-right', '4.1 ±0.6 right'],
    [measured(-0.01, 0.6), 'left-right', '0.0 ±0.6'],
    [measured(-0.3, 0.02), 'clockwise', '0.30 ±0.02 counter'],
    [measured(0.05, 0.05, { interval90: [0.01, 0.16] }), 'plain', '0.05 (0.01 to 0.16)'],
    [measured(-0.05, 0.05, { interval90: [-0.16, 0.01] }), 'left-right', '0.05 (-0.01 to 0.16) right'],
    [measured(1.2, 0.3, { flags: ['clipped'] }), 'plain', '1.2 ±0.3 clipped'],
    [notMeasured('no-distance'), 'plain', 'no-distance'],
  ] as const)('%j, %s', (value, signs, text) => {
    expect(measuredText(value, signs)).toBe(text);
  });

  it('a time has the decimals that its error allows, or its reason', () => {
    expect(timeText(12.34567, 0.0012, undefined)).toBe('12.346 ±0.001');
    expect(timeText(12.34567, 0.03, undefined)).toBe('12.35 ±0.03');
    expect(timeText(null, null, 'gap')).toBe('gap');
  });
});

describe('text within a width', () => {
  it('is broken between words and loses none', () => {
    fc.assert(
      fc.property(
        fc.array(fc.stringMatching(/^[a-z]{1,9}$/), { maxLength: 40 }),
        fc.integer({ min: 12, max: 60 }),
        (words, width) => {
          const lines = wrapText(words.join(' '), width, '  ');
          expect(lines.flatMap((line) => line.split(' ').filter((word) => word !== ''))).toEqual(words);
          for (const line of lines) expect(line.length).toBeLessThanOrEqual(width);
        },
      ),
    );
  });

  it('tables keep every cell and repeat the first column', () => {
    const columns = Array.from({ length: 9 }, (_, i) => ({ title: `title ${i}`, cells: [`a${i} ±0.1`, `b${i}`] }));
    const lines = layOutTable({ title: 'shot', cells: ['1', '2'] }, columns, 50);
    const text = lines.join('\n');
    for (const line of lines) expect(line.length).toBeLessThanOrEqual(50);
    for (const { cells } of columns) for (const cell of cells) expect(text).toContain(cell);
    expect(text.match(/^shot/gm)?.length).toBe(text.match(/^1 /gm)?.length);
  });
});

describe('the table of an analysis', () => {
  it('has one row a shot with errors, units and plain words', () => {
    const shots = [madeShot(0), madeShot(1, { startKind: 'dribble', contactKind: 'net', pauseAt: 'high' })];
    const text = analysisText(madeAnalysis(shots), 400);
    expect(text).toContain('practice.csv: sensor in the ball, 62.5 s at 199.9 Hz.');
    const rows = text.split('\n').filter((line) => /^[12] {3}/.test(line));
    expect(rows).toHaveLength(2);
    expect(rows[0]).toMatch(/catch +1\.500 ±0\.001 +ring/);
    expect(rows[1]).toMatch(/dribble +2\.500 ±0\.001 +net/);
    expect(rows[1]).toContain('1.200 ±0.012 high');
    expect(rows[0]?.match(/±0\.012/g)).toHaveLength(19);
    for (const words of ['pickup to', 'rev/s', 'launch', 'm/s', '°']) expect(text).toContain(words);
    expect(text).toContain('± is one standard error');
    expect(text).not.toMatch(/NaN|undefined|null|\[object/);
  });

  it.each([40, 60, 80, 120])('fits into %i columns', (width) => {
    const text = analysisText(madeAnalysis([madeShot(0), madeShot(1)]), width);
    for (const line of text.split('\n')) expect(line.length).toBeLessThanOrEqual(width);
  });

  it('gives reasons in their cell and explains them once', () => {
    const shots = [
      madeShot(0, {}, { entryAngleDeg: notMeasured('no-ring-reference'), speedMarginMps: noDistance }),
      madeShot(1, {}, { speedMarginMps: noDistance }),
    ];
    const text = analysisText(madeAnalysis(shots), 200);
    expect(text).toContain('no-ring-reference: the height of the ring above release was not known.');
    expect(text).toContain('Not measured: speed to spare (no-distance: the distance to the ring was not given).');
    expect(text).not.toContain('speed to\n');
  });

  it('tells a release that was not seen', () => {
    const shot = madeShot(0, { releaseS: null, timeReasons: { release: 'gap' } });
    const lost = { ...shot, timeErrorsS: { ...shot.timeErrorsS, release: null } };
    const text = analysisText(madeAnalysis([lost]), 200);
    expect(text).toMatch(/^1 +catch +gap +ring/m);
    expect(text).toContain('gap: samples were lost at the moment this needs.');
  });

  it('says what was no shot, what is missing and what was skipped', () => {
    const flight = { startS: 1, endS: 2, reason: 'it came down at the height of a hand' };
    const analysis = {
      ...madeAnalysis([], {
        gapCount: 3,
        clippedShare: 0.0123,
        badRows: 2,
        badRowExamples: [
          { line: 17, reason: 'column ax_g: expected a number, got "abc"' },
          { line: 40, reason: 'expected 7 columns as in the header, got 3' },
        ],
        ignoredColumns: ['note'],
        endsInFlight: true,
        warnings: [{ code: 'uneven-times', message: 'rows come late' }],
        damage: { isClosed: false, damagedChunks: 1, brokenBytes: 0, places: ['byte 99: the checksum does not fit'] },
        notifications: {
          received: 10,
          corrupt: 2,
          duplicate: 0,
          reordered: 0,
          missing: 1,
          missingSamples: 5,
          restarts: 0,
        },
        simulated: true,
      }),
      rejected: [
        { ...flight, kind: 'pass' as const },
        { ...flight, kind: 'dribble' as const },
        { ...flight, kind: 'dribble' as const },
      ],
    };
    const text = analysisText(analysis, 300);
    for (const part of [
      'No shot was found.',
      'Simulated: no real ball stands behind it.',
      '3 others were no shots: 1 pass, 2 dribbles.',
      'Samples are missing in 3 places.',
      "1.2 % of the samples are at the end of the sensor's range.",
      '2 rows were skipped:',
      'line 17: column ax_g: expected a number, got "abc"',
      'line 40: expected 7 columns as in the header, got 3',
      'Columns not used: note.',
      'Warning uneven-times: rows come late.',
      'The recording ends while the ball was in the air',
      'The end of the file is missing',
      'Damaged: byte 99',
      '2 of 10 notifications could not be read.',
    ]) {
      expect(text).toContain(part);
    }
  });
});
