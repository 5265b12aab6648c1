import { writeFileSync } from 'node:fs';
import path from 'node:path';
import { describe, expect, it } from 'vitest';
import { SeamwiseError } from '../../../src/foundation/errors.ts';
import { parseCsvMapping } from '../../../src/sessions/exchange/csv-mapping.ts';
import { CsvRecording } from '../../../src/sessions/exchange/csv-recording.ts';
import { openRecordingFile } from '../../../src/sessions/recording-file.ts';
import { tempFolder } from '../../helpers/temp-folder.ts';

const folder = tempFolder();
const good = {
  version: 1,
  time: { column: 'Time stamp', unit: 'ms', offset: -1000 },
  accel: { columns: ['Acc X', 'Acc, Y', 'Acc Z'], unit: 'g', scale: [1, -1, 2] },
  gyro: { columns: ['Z', 'Y', 'X'], unit: 'dps', offset: 1 },
};

async function read(mapping: unknown, text: string) {
  const file = path.join(folder, 'foreign.csv');
  writeFileSync(file, text);
  const opened = await openRecordingFile(file);
  try {
    const recording = await CsvRecording.open(opened, parseCsvMapping(JSON.stringify(mapping), 'map.json'));
    const blocks = [];
    for await (const block of recording.blocks()) blocks.push(block);
    return { recording, blocks };
  } finally {
    await opened.handle.close();
  }
}

const rows = ['Time stamp,Acc X,"Acc, Y",Acc Z,note,X,Y,Z', '1000,0.5,1,0,hello,10,20,30', '1010,0,0,1,,0,0,-1'].join(
  '\n',
);

describe('a mapping file', () => {
  it('says columns, units, signs and offsets', async () => {
    const { recording, blocks } = await read(good, rows);
    const accel = blocks.flatMap(({ accelMps2 }) => [...accelMps2]);
    const gyro = blocks.flatMap(({ gyroRadps }) => [...(gyroRadps ?? [])]);
    const degree = Math.PI / 180;
    expect(blocks.flatMap(({ timeS }) => [...timeS])).toEqual([0, expect.closeTo(0.01, 12)]);
    // SOURCE: standard gravity 9.80665 m/s², CGPM 1901.
    const expected = [0.5, -1, 0, 0, 0, 2].map((value) => value * 9.80665);
    for (const [at, value] of expected.entries()) expect(accel[at]).toBeCloseTo(value, 12);
    for (const [at, value] of [31, 21, 11, 0, 1, 1].entries()) expect(gyro[at]).toBeCloseTo(value * degree, 12);
    expect(recording.columns.ignored).toEqual(['note']);
  });

  it('may leave the gyroscope out', async () => {
    const { gyro: _, ...without } = good;
    const { recording } = await read(without, rows);
    expect(recording.columns.hasGyro).toBe(false);
  });

  it.each([
    ['{"version": 1,\n  "time": }', 'line 2, column 11: expected JSON'],
    ['', 'expected JSON; came nothing'],
    ['[]', 'expected an object with version, time, accel, gyro; came []'],
    [JSON.stringify({ ...good, version: 2 }), 'expected 1 in version; came 2'],
    [JSON.stringify({ ...good, extra: 1 }), 'expected only version, time, accel, gyro; came the field "extra"'],
    [JSON.stringify({ ...good, time: { unit: 's' } }), 'the name of a column, as the header has it in time.column'],
    [
      JSON.stringify({ ...good, accel: { ...good.accel, unit: 'G' } }),
      '"mps2", "g", "mg", "cmps2" in accel.unit; came "G"',
    ],
    [JSON.stringify({ ...good, accel: { ...good.accel, columns: ['a', 'b'] } }), 'three column names'],
    [JSON.stringify({ ...good, accel: { ...good.accel, columns: ['a', 'b', 3] } }), 'in accel.columns[2]; came 3'],
    [JSON.stringify({ ...good, accel: { ...good.accel, scale: [1, 2] } }), 'a list of 3 numbers in accel.scale'],
    [JSON.stringify({ ...good, gyro: { ...good.gyro, scale: 0 } }), 'a number that is not 0 in gyro.scale'],
    [JSON.stringify({ ...good, time: { ...good.time, scale: -1 } }), 'a number greater than 0 in time.scale'],
    ['{"version":1,"time":{"column":"t","unit":"__proto__"},"accel":{}}', 'in time.unit; came "__proto__"'],
    ['x'.repeat(70_000), 'a small JSON file'],
  ])('that is %s is refused with the place', (text, message) => {
    expect(() => parseCsvMapping(text, 'map.json')).toThrow(
      expect.objectContaining({ code: 'mapping-file', message: expect.stringContaining(message) }),
    );
  });

  it.each([
    [{ ...good, time: { column: 'Time', unit: 's' } }, 'expected one column "Time" as map.json says; came the columns'],
    [{ ...good, gyro: { ...good.gyro, columns: ['X', 'X', 'Y'] } }, 'that column named twice in the mapping'],
  ])('that does not fit the header is refused with what is there', async (mapping, message) => {
    const refused = read(mapping, rows);
    await expect(refused).rejects.toThrow(SeamwiseError);
    await expect(refused).rejects.toThrow(message);
  });

  it('that makes numbers which no sensor gives costs their rows, and says which and why', async () => {
    const huge = { ...good, gyro: { ...good.gyro, offset: 1e308 } };
    await expect(read(huge, rows)).rejects.toMatchObject({
      code: 'recording-no-usable-row',
      message: expect.stringContaining('line 2: expected at least one row'),
    });
    await expect(read(huge, rows)).rejects.toThrow('column Z: expected a number that a sensor can give, got 30');
  });

  it('does not hide that a file has semicolons', async () => {
    await expect(read(good, rows.replaceAll(',', ';'))).rejects.toMatchObject({ code: 'recording-separator' });
  });

  it('is named where the numbers speak against its unit', async () => {
    const { gyro: _, ...without } = good;
    const lines = Array.from({ length: 400 }, (_row, at) => `${at * 10},5.66,5.66,5.66,,0,0,0`);
    const wrongUnit = { ...without, accel: { columns: good.accel.columns, unit: 'g' } };
    const { recording } = await read(wrongUnit, [rows.split('\n')[0], ...lines].join('\n'));
    expect(recording.report().warnings).toContainEqual({
      code: 'accel-unit-suspect',
      message: expect.stringContaining('if so, say "unit": "mps2" for accel in the mapping file'),
    });
  });
});
