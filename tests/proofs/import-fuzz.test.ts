import { expect, it } from 'vitest';
import { fuzzImport } from './import-fuzz.ts';

it.each(['csv', 'mcap', 'mapping'] as const)('damaged %s files are taken as a whole or leave nothing', async (kind) => {
  const figures = await fuzzImport(kind, 60, 20_261);
  expect(figures).toMatchObject({ files: 60, crashes: 0, partial: 0, torn: 0, unclear: 0 });
  expect(figures.refused).toBeGreaterThan(5);
  expect(figures.taken).toBeGreaterThan(2);
});
