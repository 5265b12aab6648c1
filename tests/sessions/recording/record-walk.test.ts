import { writeFileSync } from 'node:fs';
import path from 'node:path';
import { afterAll, beforeAll, expect, it } from 'vitest';
import { ReadAhead } from '../../../src/sessions/recording/record-walk.ts';
import { type OpenedFile, openRecordingFile } from '../../../src/sessions/recording-file.ts';
import { Random } from '../../../src/simulate/random.ts';
import { tempFolder } from '../../helpers/temp-folder.ts';

const content = Uint8Array.from({ length: 700_001 }, (_, i) => (i * 31 + (i >> 9)) & 0xff);
const file = path.join(tempFolder(), 'bytes');
let opened: OpenedFile;

beforeAll(async () => {
  writeFileSync(file, content);
  opened = await openRecordingFile(file);
});
afterAll(() => opened.handle.close());

it('gives any stretch of a file, in any order, fewer bytes where it ends, and leaves what it gave as it was', async () => {
  const ahead = new ReadAhead(opened);
  const random = new Random('stretches');
  const given: { readonly at: number; readonly length: number; readonly bytes: Uint8Array }[] = [];
  let at = 0;
  for (let k = 0; k < 400; k++) {
    at = random.between(0, 1) < 0.2 ? random.whole(0, content.length) : at + random.whole(0, 5000);
    const length = random.between(0, 1) < 0.05 ? random.whole(0, 400_000) : random.whole(0, 20_000);
    given.push({ at, length, bytes: await ahead.read(at, length) });
  }
  for (const { at: from, length, bytes } of given) {
    expect(Buffer.compare(bytes, content.subarray(from, from + length))).toBe(0);
  }
  expect(given.some(({ length, bytes }) => bytes.length < length)).toBe(true);
});

it('reads once what lies close together', async () => {
  let readings = 0;
  const handle = new Proxy(opened.handle, {
    get: (target, name) => {
      if (name === 'read') readings++;
      const value = Reflect.get(target, name);
      return typeof value === 'function' ? value.bind(target) : value;
    },
  });
  const ahead = new ReadAhead({ ...opened, handle });
  for (let at = 0; at < content.length; at += 1000) await ahead.read(at, 1000);
  expect(readings).toBeLessThan(5);
});
