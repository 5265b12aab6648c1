import { expect, it } from 'vitest';
import { guessedColumns, headerColumns, mappingOf, saysItself } from '../../../src/dashboard/research/csv-columns.ts';
import { parseCsvMapping } from '../../../src/sessions/exchange/csv-mapping.ts';

it('reads the names of the first line, quoted or not', () => {
  expect(headerColumns('\ufefft_s, "Acc, X","a ""b""",ay\r\n1,2,3,4\n')).toEqual(['t_s', 'Acc, X', 'a "b"', 'ay']);
  expect(headerColumns('')).toEqual([]);
});

it('tells names that say what they are from those that have to be chosen', () => {
  expect(saysItself(['t_s', 'ax_g', 'ay_g', 'az_g'])).toBe(true);
  expect(saysItself(['T_S', 'AX_MPS2', 'AY_MPS2', 'AZ_MPS2', 'GX_DPS'])).toBe(true);
  expect(saysItself(['Timestamp', 'Acc X', 'Acc Y', 'Acc Z'])).toBe(false);
});

it('guesses, and what it gives is a mapping that an import takes', () => {
  const guess = guessedColumns(['Timestamp', 'Acc X', 'Acc Y', 'Acc Z', 'Gyr X', 'Gyr Y', 'Gyr Z']);
  expect(guess).toMatchObject({
    time: 'Timestamp',
    accel: ['Acc X', 'Acc Y', 'Acc Z'],
    gyro: ['Gyr X', 'Gyr Y', 'Gyr Z'],
  });
  const mapping = mappingOf({ ...guess, timeUnit: 'ms', accelUnit: 'g', gyroUnit: 'dps' });
  expect(parseCsvMapping(JSON.stringify(mapping), 'x')).toMatchObject({ time: { unit: 'ms' }, accel: { unit: 'g' } });
  expect(mappingOf({ ...guess, time: '' })).toBeNull();
  expect(mappingOf({ ...guess, gyro: ['', '', ''] })).not.toHaveProperty('gyro');
});
