import { mkdirSync, writeFileSync } from 'node:fs';
import path from 'node:path';
import fc from 'fast-check';
import { expect, it } from 'vitest';
import { findTraces } from '../../src/sessions/find-traces.ts';
import { tempFolder } from '../helpers/temp-folder.ts';

const folder = tempFolder();
const block = 4 * 2 ** 20;

it('finds a text wherever it lies, at the seams of what is read at once too', () => {
  const file = path.join(folder, 'traces.bin');
  const offsets = fc.oneof(fc.nat(100), fc.integer({ min: block - 40, max: block + 40 }), fc.constant(block + 1000));
  fc.assert(
    fc.property(offsets, fc.constantFrom('Player 07', 'ZEBRA', 'Ünal Ö'), (at, name) => {
      const bytes = Buffer.alloc(block + 2000, '.');
      bytes.write(name, at, 'utf8');
      writeFileSync(file, bytes);
      expect(findTraces(folder, [name])).toEqual(['traces.bin']);
      expect(findTraces(folder, ['Nobody'])).toEqual([]);
    }),
    { numRuns: 40 },
  );
});

it('takes a name as a word of its own, in capitals or not, in folders too', () => {
  mkdirSync(path.join(folder, 'inside'));
  writeFileSync(path.join(folder, 'inside', 'a.txt'), 'PLAYER 1, and others');
  writeFileSync(path.join(folder, 'b.txt'), 'Player 12 and xPlayer 1');
  expect(findTraces(folder, ['Player 1'])).toEqual([path.join('inside', 'a.txt')]);
  expect(findTraces(folder, ['Player 1'], ['a.txt'])).toEqual([]);
});
