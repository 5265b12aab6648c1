import path from 'node:path';
import { afterEach, beforeEach, expect, test } from 'vitest';
import { SeamwiseError } from '../../../src/foundation/errors.ts';
import { safeFileName, Uploads } from '../../../src/server/research/uploads.ts';
import { temporaryFolder } from '../../helpers/temporary-folder.ts';

let uploads: Uploads;
beforeEach(() => {
  uploads = new Uploads(path.join(temporaryFolder(), 'uploads'), { partBytes: 8, limitBytes: 100 });
});
afterEach(() => uploads.close());

const codeOf = async (work: () => unknown): Promise<string> => {
  try {
    await work();
  } catch (error) {
    if (error instanceof SeamwiseError) return error.code;
    throw error;
  }
  return 'nothing was thrown';
};

test('a file that comes in its order is there whole, and taken once', async () => {
  const id = uploads.announce([{ name: 'ball.csv', bytes: 5, modifiedS: null }]);
  expect(await uploads.append(id, 0, 0, Uint8Array.of(1, 2, 3))).toBe(3);
  expect(await codeOf(() => uploads.take(id))).toBe('upload-refused');
  expect(await uploads.append(id, 0, 3, Uint8Array.of(4, 5))).toBe(5);
  expect(uploads.take(id).map((file) => path.basename(file))).toEqual(['ball.csv']);
  expect(await codeOf(() => uploads.take(id))).toBe('store-missing');
});

test('parts out of their order, beyond what was announced, or of nothing are refused, and the file stays as it was', async () => {
  const id = uploads.announce([{ name: 'ball.csv', bytes: 3, modifiedS: null }]);
  expect(await codeOf(() => uploads.append(id, 0, 1, Uint8Array.of(1)))).toBe('upload-refused');
  expect(await codeOf(() => uploads.append(id, 0, 0, Uint8Array.of(1, 2, 3, 4)))).toBe('upload-refused');
  expect(await codeOf(() => uploads.append(id, 1, 0, Uint8Array.of(1)))).toBe('store-missing');
  expect(await uploads.append(id, 0, 0, Uint8Array.of(1, 2, 3))).toBe(3);
});

test('empty files and more than fits are refused before anything is sent', async () => {
  expect(await codeOf(() => uploads.announce([{ name: 'a.csv', bytes: 0, modifiedS: null }]))).toBe('upload-refused');
  expect(await codeOf(() => uploads.announce([{ name: 'a.csv', bytes: 101, modifiedS: null }]))).toBe(
    'upload-too-large',
  );
});

test.each(['../../etc/passwd', '..\\..\\x.csv', '/abs.csv', 'con.csv', '...', 'a\u0000b.csv', ''])(
  'a name such as %j is one file of one folder',
  (name) => {
    const safe = safeFileName(name);
    expect(safe).not.toMatch(/[\\/\0]|^\.|^(con|nul)\b/i);
    expect(safe.length).toBeGreaterThan(0);
  },
);
