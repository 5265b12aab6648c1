import { mkdirSync, writeFileSync } from 'node:fs';
import path from 'node:path';
import { describe, expect, it } from 'vitest';
import { filesUnder, hashOf, readStamp } from '../../../src/cli/setup/stamp.mjs';
import { temporaryFolder } from '../../helpers/temporary-folder.ts';

describe('hashOf', () => {
  it('changes with words, file names, contents and the absence of a file, and with nothing else', () => {
    const root = temporaryFolder();
    writeFileSync(path.join(root, 'a'), 'one');
    writeFileSync(path.join(root, 'b'), 'one');
    writeFileSync(path.join(root, 'empty'), '');
    const hashes = [
      hashOf([], root, []),
      hashOf(['linux'], root, []),
      hashOf(['lin', 'ux'], root, []),
      hashOf([], root, ['a']),
      hashOf([], root, ['b']),
      hashOf([], root, ['a', 'b']),
      hashOf([], root, ['empty']),
      hashOf([], root, ['missing']),
    ];
    expect(new Set(hashes).size).toBe(hashes.length);
    expect(hashOf([], root, ['a'])).toBe(hashes[3]);
    writeFileSync(path.join(root, 'a'), 'two');
    expect(hashOf([], root, ['a'])).not.toBe(hashes[3]);
  });
});

describe('filesUnder', () => {
  it('lists files of all depths by their path from the root', () => {
    const root = temporaryFolder();
    mkdirSync(path.join(root, 'src', 'deep', 'empty'), { recursive: true });
    writeFileSync(path.join(root, 'src', 'z.ts'), '');
    writeFileSync(path.join(root, 'src', 'deep', 'a.ts'), '');
    writeFileSync(path.join(root, 'other.ts'), '');
    expect(filesUnder(root, 'src')).toEqual(['src/deep/a.ts', 'src/z.ts']);
    expect(filesUnder(root, 'nowhere')).toEqual([]);
  });
});

describe('readStamp', () => {
  it('is null where there is none', () => {
    const root = temporaryFolder();
    expect(readStamp(path.join(root, 'stamp'))).toBeNull();
    writeFileSync(path.join(root, 'stamp'), 'abc\n');
    expect(readStamp(path.join(root, 'stamp'))).toBe('abc');
  });
});
