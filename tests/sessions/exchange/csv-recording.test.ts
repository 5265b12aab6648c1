import { mkdirSync, writeFileSync } from 'node:fs';
import path from 'node:path';
import { gzipSync } from 'node:zlib';
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { sampleFlag } from '../../../src/foundation/imu-block.ts';
import { splitCsvRow } from '../../../src/sessions/exchange/csv-split.ts';
import { explainFileError, openRecordingFile } from '../../../src/sessions/recording-file.ts';
import { UnreadableRecordingError } from '../../../src/sessions/unreadable.ts';
import { tempFolder } from '../../helpers/temp-folder.ts';
import { header, readCsv, readText, restRow, restRows } from './read-csv.ts';

const folder = tempFolder();
const read = (text: string | Uint8Array) => readText(folder, text);
const lines = (...rows: string[]) => `${rows.join('\n')}\n`;

async function refusal(promise: Promise<unknown>): Promise<UnreadableRecordingError> {
  const error = await promise.then(
    () => null,
    (thrown: unknown) => thrown,
  );
  expect(error).toBeInstanceOf(UnreadableRecordingError);
  return error as UnreadableRecordingError;
}

describe('values of a CSV recording', () => {
  it('come out as they stand, in SI', async () => {
    const { block, recording, report } = await read(lines(header, '0.5,1,-2,3.5,0.1,-0.2,3e-1', '0.505,4,5,6,7,8,9'));
    expect([...block.timeS]).toEqual([0.5, 0.505]);
    expect([...block.accelMps2]).toEqual([1, -2, 3.5, 4, 5, 6]);
    expect([...(block.gyroRadps as Float64Array)]).toEqual([0.1, -0.2, 0.3, 7, 8, 9]);
    expect([...block.flags]).toEqual([0, 0]);
    expect(recording.traits?.nominalRateHz).toBeCloseTo(200, 9);
    expect(report).toMatchObject({ rows: 2, startS: 0.5, endS: 0.505, gapCount: 0, clippedRows: 0 });
  });

  it('survive any finite doubles and any place where a read of the file ends', async () => {
    const triple = fc.tuple(...Array.from({ length: 6 }, () => fc.double({ noNaN: true, min: -1e6, max: 1e6 })));
    await fc.assert(
      fc.asyncProperty(
        fc.array(triple, { minLength: 1, maxLength: 40 }),
        fc.integer({ min: 0, max: 130 }),
        async (rows, shift) => {
          // A blank line of the right length moves the row across the end of the first 256 KiB.
          const padding = `${restRows(6500).join('\n')}\n`;
          const blanks = ' '.repeat(Math.max(0, 262_144 - header.length - padding.length - 60 - shift));
          const text = `${header}\n${padding}${blanks}\n${rows.map((row, i) => `${100 + i},${row.join(',')}`).join('\n')}`;
          const { block } = await read(text);
          expect(block.length).toBe(6500 + rows.length);
          for (const [i, row] of rows.entries()) {
            const at = 3 * (6500 + i);
            expect([...block.accelMps2.subarray(at, at + 3)]).toEqual(row.slice(0, 3).map((value) => value + 0));
          }
        },
      ),
      { numRuns: 20 },
    );
  });

  it('take their units from the names', async () => {
    const names = 't_ms,ax_g,ay_mg,az_mps2,gx_dps,gy_mdps,gz_revps';
    const { block } = await read(lines(names, '1000,1,1000,2,180,180000,0.5', '1005,1,1000,2,180,180000,0.5'));
    expect(block.timeS[0]).toBeCloseTo(1, 12);
    // Standard gravity: 3rd CGPM (1901), 9.80665 m/s².
    expect(block.accelMps2[0]).toBeCloseTo(9.80665, 12);
    expect(block.accelMps2[1]).toBeCloseTo(9.80665, 12);
    expect(block.accelMps2[2]).toBe(2);
    for (let axis = 0; axis < 3; axis++) expect(block.gyroRadps?.[axis]).toBeCloseTo(Math.PI, 12);
  });

  it('may stand in any order, beside other columns and without a gyroscope', async () => {
    const names = 'note,az_mps2,t_s,ay_mps2,ax_mps2,movement';
    const { block, recording } = await read(lines(names, 'calm,3,0.1,2,1,NaN', ',6,0.2,5,4,'));
    expect([...block.accelMps2]).toEqual([1, 2, 3, 4, 5, 6]);
    expect(block.gyroRadps).toBeNull();
    expect(recording.columns.ignored).toEqual(['note', 'movement']);
    expect(recording.traits?.gyroRangeRadps).toBeNull();
  });

  it('are the same with a byte order mark, Windows line ends, quotes, spaces and no last line end', async () => {
    const plain = await read(lines(header, ...restRows(5)));
    const quoted = header.split(',').map((name) => `"${name}"`);
    const rows = restRows(5).map((row) => row.split(',').map((field) => ` "${field}" `));
    const dressed = await read(`\ufeff${[quoted, ...rows].map((row) => row.join(',')).join('\r\n')}`);
    expect(dressed.block).toEqual(plain.block);
    expect(dressed.report.badRows.count).toBe(0);
  });
});

describe('a table as programs write it', () => {
  it('may have commas, quotes and nothing in quoted fields', async () => {
    const rows = restRows(3).map((row, i) => `"${['a, b', 'say ""so"", then', ''][i]}",${row}, "x,y" `);
    const { block, report } = await read(lines(`note,${header},"more, text"`, ...rows));
    expect(block.length).toBe(3);
    expect(report.badRows.count).toBe(0);
  });

  it('is split as RFC 4180 says, whatever stands in its fields', () => {
    const field = fc.string().filter((text) => !/[\r\n]/.test(text));
    fc.assert(
      fc.property(fc.array(field, { minLength: 1 }), (fields) => {
        const row = fields.map((text) => `"${text.replaceAll('"', '""')}"`).join(',');
        expect(splitCsvRow(row)).toEqual(fields);
      }),
    );
  });

  it('may have its names in capital letters', async () => {
    const { block, recording } = await read(lines('T_MS,AX_G,AY_G,AZ_G,Gx_DPS,Gy_DPS,Gz_DPS', '1000,0,0,1,180,0,0'));
    expect(block.timeS[0]).toBeCloseTo(1, 12);
    expect(block.gyroRadps?.[0]).toBeCloseTo(Math.PI, 12);
    expect(recording.columns.names[1]).toBe('AX_G');
  });

  it('may begin with remarks, blank lines and a word to a spreadsheet; lines are counted from the top', async () => {
    const { block, report } = await read(lines('\ufeff# logger 3', '', 'sep=,', header, restRow(0), 'x', restRow(1)));
    expect(block.length).toBe(2);
    expect(report.badRows.first).toEqual([{ line: 6, reason: 'expected 7 columns as in the header, got 1' }]);
  });

  it('too short for a shot is told as such', async () => {
    const { report } = await read(lines(header, ...restRows(10)));
    expect(report.warnings.map(({ code }) => code)).toEqual(['recording-short']);
  });
});

describe('bad rows', () => {
  it('are counted, told with their line and skipped', async () => {
    const rows = [
      restRow('0.000'),
      '0.005,abc,0,9.8,0,0,0',
      '0.010,NaN,0,9.8,0,0,0',
      '0.015,0,inf,9.8,0,0,0',
      '0.020,0,0,9.8,0,0',
      '0.025,0,0,,0,0,0',
      '0.030,0,0,1e999,0,0,0',
      '0.035,0,0,0x10,0,0,0',
      '',
      restRow('0.040'),
      restRow('0.040'),
      restRow('0.030'),
      restRow('0.045'),
    ];
    const { block, report } = await read(lines(header, ...rows));
    expect([...block.timeS]).toEqual([0, 0.04, 0.045]);
    expect(report.badRows.count).toBe(9);
    expect(report.badRows.first).toEqual([
      { line: 3, reason: 'column ax_mps2: expected a number, got "abc"' },
      { line: 4, reason: 'column ax_mps2: expected a number, got NaN' },
      { line: 5, reason: 'column ay_mps2: expected a finite number, got inf' },
      { line: 6, reason: 'expected 7 columns as in the header, got 6' },
      { line: 7, reason: 'column az_mps2: expected a number, got nothing' },
      { line: 8, reason: 'column az_mps2: expected a finite number, got 1e999' },
      { line: 9, reason: 'column az_mps2: expected a number, got "0x10"' },
      { line: 12, reason: 'column t_s: time 0.040 repeats that of line 11' },
      { line: 13, reason: 'column t_s: time 0.030 goes back before that of line 11' },
    ]);
  });

  it('are told one by one only 20 times', async () => {
    const { block, report } = await read(
      lines(header, restRow('0'), ...Array.from({ length: 50 }, () => 'x'), restRow('1')),
    );
    expect(block.length).toBe(2);
    expect(report.badRows.count).toBe(50);
    expect(report.badRows.first.map(({ line }) => line)).toEqual(Array.from({ length: 20 }, (_, i) => i + 3));
  });

  it('cost one row when a single time runs ahead, not all rows after it', async () => {
    const rows = restRows(20);
    rows[7] = restRow('700.035');
    const { block, report } = await read(lines(header, ...rows));
    expect(block.length).toBe(19);
    expect(report.badRows.first).toEqual([
      { line: 9, reason: 'column t_s: time is ahead of the rows after it (0.040 on line 10)' },
    ]);
  });

  it('cost one row when the first time is the wrong one', async () => {
    const { block } = await read(lines(header, restRow('99'), ...restRows(5)));
    expect([...block.timeS]).toEqual([0, 0.005, 0.01, 0.015, 0.02]);
  });

  it.each([
    ['backward', restRows(40).toReversed()],
    [
      'from two interleaved halves',
      restRows(4000).flatMap((row, i, all) => (i < 2000 ? [row, all[i + 2000] ?? ''] : [])),
    ],
  ])('that stand mixed up are refused as a whole: %s', async (_, rows) => {
    const error = await refusal(read(lines(header, ...rows)));
    expect(error.code).toBe('recording-unsorted');
    expect(error.message).toMatch(/line \d+: expected rows in the order of their time, t_s; came \d+ of \d+ rows/);
    expect(error.message).toContain('Sort the rows by t_s');
  });

  it('that get mixed up after the part that is looked through first are refused at the end', async () => {
    const wide = ',"'.padEnd(200, 'x');
    const ordered = restRows(90_000).map((row) => `${row}${wide}"`);
    const mixed = Array.from({ length: 9000 }, (_, i) => `${restRow(900 - i * 0.005)}${wide}"`);
    const error = await refusal(read(lines(`${header},note`, ...ordered, ...mixed)));
    expect(error.code).toBe('recording-unsorted');
    expect(error.message).toContain('line 90003');
  });

  it('are told apart: a clock that starts again, times written too coarsely', async () => {
    const again = await read(lines(header, ...restRows(300), ...restRows(300)));
    expect(again.block.length).toBe(300);
    expect(again.report.warnings.map(({ code }) => code)).toEqual(['times-not-increasing']);
    expect(again.report.warnings[0]?.message).toContain('first on line 302, where 0.000 follows 1.495');
    const coarse = await read(lines(header, ...Array.from({ length: 400 }, (_, i) => restRow((i * 0.005).toFixed(2)))));
    expect(coarse.report.warnings.map(({ code }) => code)).toEqual(['times-repeat']);
    expect(coarse.report.warnings[0]?.message).toContain('more decimals');
  });

  it('may hold zero bytes and endless lines in mid-file', async () => {
    const damaged = `${restRow('0.005').slice(0, 9)}${'\0'.repeat(100_000)}`;
    const text = lines(header, ...restRows(2000).map((row) => row.replace(/^/, '')), `9${damaged}`, restRow('20'));
    const { block, report } = await read(text);
    expect(block.length).toBe(2001);
    expect(report.badRows.first).toEqual([{ line: 2002, reason: 'longer than 16384 characters' }]);
  });

  it('may hold a stray quote', async () => {
    const { block, report } = await read(lines(header, restRow('0'), '"0.005,0,0,9.8,0,0,0', restRow('0.01')));
    expect(block.length).toBe(2);
    expect(report.badRows.first[0]).toMatchObject({
      line: 3,
      reason: expect.stringContaining('expected a closing quote'),
    });
  });
});

describe('gaps', () => {
  it('stand where rows are missing, not where times jitter', async () => {
    const jitterS = [0, 0.001, -0.001, 0.0005];
    const times = Array.from({ length: 100 }, (_, i) => i * 0.005 + (jitterS[i % 4] as number)).filter(
      (_, i) => i !== 40 && i !== 60 && i !== 61,
    );
    const { block, report } = await read(lines(header, ...times.map((timeS) => restRow(timeS.toFixed(4)))));
    const gaps = [...block.flags].flatMap((flag, i) => (flag & sampleFlag.gapBefore ? [i] : []));
    expect(gaps).toEqual([40, 59]);
    expect(report.gapCount).toBe(2);
  });

  it('are not seen where whole milliseconds hide the step', async () => {
    // 833 Hz: the true step of 1.2 ms is printed as 1, 1, 1, 1, 2 ms.
    const rows = Array.from({ length: 2000 }, (_, i) => `${Math.floor(i * 1.2)},0,0,1`);
    const { recording, report } = await read(lines('t_ms,ax_g,ay_g,az_g', ...rows));
    expect(report.gapCount).toBe(0);
    expect(recording.traits?.nominalRateHz).toBeCloseTo(1000 / 1.2, 0);
  });

  it('are called uneven times when they are many', async () => {
    const rows = restRows(300).filter((_, i) => i % 5 !== 0);
    const { report } = await read(lines(header, ...rows));
    expect(report.warnings.map(({ code }) => code)).toEqual(['uneven-times']);
  });
});

describe('clipping', () => {
  it('is recognised where values stick to an extreme', async () => {
    // An odd range, so that only the repetition can show it.
    const clipped = (value: number) => Math.max(-60, Math.min(60, value)).toFixed(3);
    const rows = Array.from(
      { length: 400 },
      (_, i) => `${(i * 0.005).toFixed(3)},${clipped(90 * Math.sin(i / 3))},0,9.8`,
    );
    const { block, recording, report } = await read(lines('t_s,ax_mps2,ay_mps2,az_mps2', ...rows));
    expect(recording.traits?.accelRangeMps2).toBe(60);
    for (let i = 0; i < block.length; i++) {
      expect(Boolean((block.flags[i] as number) & sampleFlag.accelClipped)).toBe(Math.abs(90 * Math.sin(i / 3)) >= 60);
    }
    expect(report.clippedRows).toBeGreaterThan(100);
  });

  it('is recognised in one sample at the end of a common range', async () => {
    const rows = Array.from(
      { length: 100 },
      (_, i) => `${(i * 0.005).toFixed(3)},0,0,${i === 50 ? 15.9995 : 1},0,0,${i === 70 ? -2000 : 3}`,
    );
    const { block } = await read(lines('t_s,ax_g,ay_g,az_g,gx_dps,gy_dps,gz_dps', ...rows));
    expect(block.flags[50]).toBe(sampleFlag.accelClipped);
    expect(block.flags[70]).toBe(sampleFlag.gyroClipped);
    expect([...block.flags].filter((flag) => flag !== 0)).toHaveLength(2);
  });

  it('is not seen in a coarse sensor at rest or in a signal that turns back by itself', async () => {
    const coarse = (value: number) => (Math.round(value / 0.5) * 0.5).toFixed(1);
    const rows = Array.from(
      { length: 1000 },
      (_, i) => `${(i * 0.005).toFixed(3)},0,${coarse(40 * Math.sin(i / 30))},9.8`,
    );
    const { recording, report } = await read(lines('t_s,ax_mps2,ay_mps2,az_mps2', ...rows));
    expect(recording.traits?.accelRangeMps2).toBeNull();
    expect(report.clippedRows).toBe(0);
  });
});

describe('units that cannot be', () => {
  const still = (z: number) => Array.from({ length: 400 }, (_, i) => `${(i * 0.005).toFixed(3)},0,0,${z},0,0,0`);

  it.each([
    ['g in a column named mps2', 1.002, 'accel-unit-suspect', 'ax_g, ay_g, az_g'],
    ['milli-g in a column named mps2', 998, 'accel-unit-suspect', 'ax_mg, ay_mg, az_mg'],
    ['another unit', 4.4, 'accel-unit-suspect', 'check the unit'],
    ['gravity taken out', 0.02, 'accel-without-gravity', 'needs it left in'],
  ])('are named: %s', async (_, z, code, hint) => {
    const { report } = await read(lines(header, ...still(z)));
    expect(report.warnings).toHaveLength(1);
    expect(report.warnings[0]?.code).toBe(code);
    expect(report.warnings[0]?.message).toContain(hint);
  });

  it('are not named for a sensor with an ordinary error', async () => {
    const { report } = await read(lines(header, ...still(9.80665 * 1.04)));
    expect(report.warnings).toEqual([]);
  });

  it('are not named for flights of a ball whose sensor sits at its wall, each of which reads another steady force', async () => {
    // 26 m/s² is 2.4 rev/s at 0.11 m; without a gyroscope it looks like rest.
    const held = (i: number) => 9.8 + 3 * Math.sin(i / 7);
    const flights = [26.5, 14.2, 41, 22.1];
    const rows = Array.from({ length: 1600 }, (_, i) => {
      const flight = i % 400 < 200 ? (flights[Math.floor(i / 400)] as number) + 0.05 * Math.sin(i) : held(i);
      return `${(i * 0.005).toFixed(3)},${flight},${0.05 * Math.cos(i)},0`;
    });
    const { report } = await read(lines('t_s,ax_mps2,ay_mps2,az_mps2', ...rows));
    expect(report.warnings.map(({ code }) => code)).not.toContain('accel-unit-suspect');
  });

  it('are named: numbers that never change', async () => {
    const frozen = (more: string) =>
      Array.from({ length: 1200 }, (_, i) => `${(i * 0.005).toFixed(3)},0,0,9.81,0,0,${i === 1100 ? more : '0'}`);
    const dead = await read(lines(header, ...frozen('0')));
    expect(dead.report.warnings).toMatchObject([
      { code: 'values-never-change', message: expect.stringContaining('dead or simulated sensor') },
    ]);
    const alive = await read(lines(header, ...frozen('0.001')));
    expect(alive.report.warnings).toEqual([]);
  });

  it('are named: degrees per second in a column named radps', async () => {
    const rows = still(9.8).map((row, i) => row.replace(/0$/, String(i)));
    const { report } = await read(lines(header, ...rows));
    expect(report.warnings[0]).toMatchObject({ code: 'gyro-unit-suspect', message: expect.stringContaining('gx_dps') });
  });
});

describe('units that the data contradict', () => {
  /** A sensor turned by hand now about one axis, now about another, with the noise of a cheap sensor; resting in between. */
  function turnedRows(of: { accel?: readonly number[]; gyro?: number }): string[] {
    const { accel = [1, 1, 1], gyro = 1 } = of;
    let up = [0, 0, 1];
    let seed = 7;
    const noise = () => {
      seed = (seed * 16807) % 2147483647;
      return seed / 2147483647 - 0.5;
    };
    const rows: string[] = [];
    for (let i = 0; i < 4000; i++) {
      const inTurn = i % 500;
      const rate = inTurn < 250 ? 0 : 1.7;
      const axis = Math.floor(i / 500) % 3;
      const w = [0, 1, 2].map((k) => (k === axis ? rate : 0.2 * rate));
      const [wx = 0, wy = 0, wz = 0] = w;
      const [x = 0, y = 0, z = 0] = up;
      up = [x - 0.005 * (wy * z - wz * y), y - 0.005 * (wz * x - wx * z), z - 0.005 * (wx * y - wy * x)];
      const size = Math.hypot(...up);
      up = up.map((part) => part / size);
      const a = up.map((part, k) => (part * 9.80665 + 0.2 * noise()) * (accel[k] ?? 1));
      rows.push([i * 0.005, ...a, ...w.map((part) => (part + 0.02 * noise()) * gyro)].join(','));
    }
    return rows;
  }

  it.each([
    ['none', {}, null, ''],
    [
      'degrees per second in columns named radps',
      { gyro: 180 / Math.PI },
      'gyro-unit-suspect',
      'gx_dps, gy_dps, gz_dps',
    ],
    ['one axis in g', { accel: [1, 1 / 9.80665, 1] }, 'accel-unit-suspect', 'ay_mps2 as ay_g'],
    ['a gyroscope of the other hand', { gyro: -1 }, 'gyro-axes-suspect', 'signs and order'],
  ])('are named: %s', async (_, of, code, hint) => {
    const { report } = await read(lines(header, ...turnedRows(of)));
    expect(report.warnings.map((warning) => warning.code)).toEqual(code === null ? [] : [code]);
    if (code !== null) expect(report.warnings[0]?.message).toContain(hint);
  });

  it('are named: radians per second in columns named dps', async () => {
    const { report } = await read(lines(header.replaceAll('radps', 'dps'), ...turnedRows({})));
    expect(report.warnings[0]).toMatchObject({
      code: 'gyro-unit-suspect',
      message: expect.stringContaining('gx_radps, gy_radps, gz_radps'),
    });
  });
});

describe('what is no CSV recording', () => {
  it.each([
    [
      'a wrong header',
      'time,x,y,z\n1,2,3,4\n',
      'recording-header',
      ['line 1', 't_s,ax_mps2', 'time,x,y,z', 'without t, ax, ay, az'],
    ],
    ['no header', '0,1,2,3\n', 'recording-header', ['numbers instead of names']],
    ['an unknown unit', 't_s,ax_furlongs,ay_g,az_g\n', 'recording-header', ['ax_furlongs', 'mps2, g, mg']],
    [
      'an ambiguous unit',
      't_s,ax_g,ay_g,az_g,gx_rps,gy_rps,gz_rps\n',
      'recording-header',
      ['gx_rps', 'radps', 'revps'],
    ],
    ['a column twice', 't_s,ax_g,ax_mps2,ay_g,az_g\n', 'recording-header', ['ax twice (ax_g and ax_mps2)']],
    [
      'half a gyroscope',
      't_s,ax_g,ay_g,az_g,gx_dps\n',
      'recording-header',
      ['without gy, gz', 'all three gyro columns or none'],
    ],
    ['semicolons', 't_s;ax_g;ay_g;az_g\n0;1;2;3\n', 'recording-separator', ['separated by semicolons']],
    ['tab characters', 't_s\tax_g\tay_g\taz_g\n', 'recording-separator', ['tab characters']],
    ['a broken quote', '"t_s,ax_g,ay_g,az_g\n', 'recording-header', ['quotes']],
    ['an empty file', '', 'recording-empty', ['0 bytes']],
    ['blank lines', '\n\n', 'recording-header', ['t_s,ax_mps2', 'nothing but blank lines']],
    ['a header alone', `${header}\n`, 'recording-no-usable-row', ['a header and no rows']],
    [
      'no usable row',
      `${header}\nx\ny\n`,
      'recording-no-usable-row',
      ['line 2', '2 rows, none usable', 'expected 7 columns'],
    ],
    ['old line ends', `${header}\r0,0,0,0,0,0,0\r`, 'recording-old-line-ends', ['carriage return']],
    ['a line without end', 'a'.repeat(500_000), 'recording-header-line', ['line 1', 'longer than 16384']],
    [
      'old line ends, long',
      `${header}\r${`${restRow(0)}\r`.repeat(9000)}`,
      'recording-old-line-ends',
      ['return alone'],
    ],
  ])('is refused with its reason: %s', async (_, text, code, parts) => {
    const error = await refusal(read(text));
    expect(error.code).toBe(code);
    for (const part of parts) expect(error.message).toContain(part);
    expect(error.message).toContain('recording.csv');
  });

  it.each([
    ['binary', Uint8Array.of(0x7f, 0x45, 0x4c, 0x46, 0, 0, 1), 'recording-binary', 'byte 4'],
    ['binary without zeros', Uint8Array.of(0x80, 0xff, 0x90, 0x0a), 'recording-header-line', 'not UTF-8'],
    ['gzip', gzipSync(`${header}\n${restRow(0)}\n`), 'recording-packed', 'Unpack it'],
    ['a spreadsheet', Uint8Array.of(0x50, 0x4b, 3, 4, 20, 0), 'recording-packed', 'export the table as CSV'],
    ['wide text', Buffer.from(`\ufeff${header}\n`, 'utf16le'), 'recording-wide-text', 'UTF-16'],
  ])('is refused with its reason: %s', async (_, bytes, code, part) => {
    const error = await refusal(read(bytes));
    expect(error.code).toBe(code);
    expect(error.message).toContain(part);
  });

  it('is refused: a directory, a missing file, a file below a file', async () => {
    const directory = path.join(folder, 'inside');
    mkdirSync(directory);
    writeFileSync(path.join(folder, 'plain.csv'), 'x');
    expect((await refusal(readCsv(directory))).code).toBe('recording-not-a-file');
    expect((await refusal(readCsv(path.join(folder, 'none.csv')))).code).toBe('recording-missing');
    expect((await refusal(readCsv(path.join(folder, 'plain.csv', 'x')))).code).toBe('recording-missing');
  });

  it.each([
    ['EACCES', 'recording-no-permission'],
    ['EPERM', 'recording-no-permission'],
    ['EISDIR', 'recording-not-a-file'],
    ['EIO', 'recording-read-failed'],
  ])('is refused with what the operating system says: %s', (code, ours) => {
    // Thrown by hand: a test run by the superuser may read everything.
    const error = explainFileError('a.csv', Object.assign(new Error('i/o error'), { code }));
    expect(error).toMatchObject({ code: ours, message: expect.stringContaining('a.csv: expected') });
  });

  it('is refused: a device', async () => {
    expect((await refusal(openRecordingFile('/dev/null'))).code).toBe('recording-not-a-file');
  });
});
