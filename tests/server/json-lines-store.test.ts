import { appendFileSync, mkdtempSync, readFileSync, rmSync, statSync, truncateSync, writeFileSync } from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import fc from 'fast-check';
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import { SeamwiseError } from '../../src/foundation/errors.ts';
import { JsonLinesStore } from '../../src/server/json-lines-store.ts';
import { readShotLines } from '../../src/server/shot-lines.ts';
import type { NumberedDocument } from '../../src/server/wire/live-document.ts';
import { shotDocument } from './made-shots.ts';

let folder = '';
let warnings: string[] = [];
const logger = {
  info: () => {},
  warn: (_fields: object, message: string) => warnings.push(message),
  error: (_fields: object, message: string) => warnings.push(message),
};

beforeEach(() => {
  folder = mkdtempSync(path.join(os.tmpdir(), 'seamwise-store-'));
  warnings = [];
});
afterEach(() => rmSync(folder, { recursive: true, force: true }));

const file = (): string => path.join(folder, 'shots.jsonl');

function append(store: JsonLinesStore, ...documents: NumberedDocument[]): void {
  for (const document of documents) store.append(document, JSON.stringify(document));
}

async function writeRun(...seqs: number[]): Promise<void> {
  const store = new JsonLinesStore(folder, logger);
  append(store, ...seqs.map((seq) => shotDocument(seq)));
  await store.close();
}

const seqsOf = (documents: readonly NumberedDocument[]): number[] => documents.map((document) => document.seq);

describe('JsonLinesStore', () => {
  test('gives back what earlier runs kept', async () => {
    await writeRun(1, 2);
    await writeRun(1002);
    const store = new JsonLinesStore(folder, logger);
    expect(store.found).toEqual([shotDocument(1), shotDocument(2), shotDocument(1002)]);
    expect(warnings).toEqual([]);
    await store.close();
  });

  test('a document is in the file when append returns', async () => {
    const store = new JsonLinesStore(folder, logger);
    append(store, shotDocument(1));
    expect(seqsOf(readShotLines(readFileSync(file(), 'utf8'), 'shots').documents)).toEqual([1]);
    await store.close();
  });

  test('the file is for its user alone', async () => {
    await writeRun(1);
    if (process.platform !== 'win32') expect(statSync(file()).mode & 0o777).toBe(0o600);
  });

  test('a flight that was no shot is not kept, one that takes a shot back is', async () => {
    const store = new JsonLinesStore(folder, logger);
    const rejected = (seq: number, shotId: string | null): NumberedDocument => ({
      v: 1,
      seq,
      kind: 'rejected',
      sensorId: 'ball-a',
      at: '2026-01-02T03:04:05.678Z',
      hostTimeS: 1,
      simulated: true,
      shotId,
      rejected: { startS: 1, endS: 2, kind: 'dribble', reason: 'it went down' },
    });
    append(store, rejected(1, null), rejected(2, 'run.ball-a.0.4'));
    await store.close();
    const again = new JsonLinesStore(folder, logger);
    expect(seqsOf(again.found)).toEqual([2]);
    await again.close();
  });

  test('cut off at any byte, nothing before the cut is lost and the next run can write on', async () => {
    await writeRun(1, 2, 3);
    const whole = readFileSync(file());
    const lineEnds = [...whole.entries()].flatMap(([index, byte]) => (byte === 0x0a ? [index] : []));
    await fc.assert(
      fc.asyncProperty(fc.integer({ min: 0, max: whole.length }), async (cut) => {
        writeFileSync(file(), whole);
        truncateSync(file(), cut);
        const store = new JsonLinesStore(folder, logger);
        // A line is whole when all but its line end is there.
        const expected = [1, 2, 3].filter((_, index) => (lineEnds[index] as number) <= cut);
        expect(seqsOf(store.found)).toEqual(expected);
        append(store, shotDocument(1003));
        await store.close();
        const next = new JsonLinesStore(folder, logger);
        expect(seqsOf(next.found)).toEqual([...expected, 1003]);
        await next.close();
      }),
      {
        numRuns: 60,
        examples: [[0], [whole.length], [whole.length - 1], [whole.length - 2], [(lineEnds[0] ?? 0) + 1]],
      },
    );
  });

  test('damaged lines in the middle are told by number and left out', async () => {
    await writeRun(1);
    appendFileSync(file(), `nonsense\n{"v":1,"seq":5,"kind":"shot"}\n\0\0\0\n${JSON.stringify(shotDocument(6))}\n`);
    // A number that comes again cannot be trusted.
    appendFileSync(file(), `${JSON.stringify(shotDocument(6))}\n`);
    const store = new JsonLinesStore(folder, logger);
    expect(seqsOf(store.found)).toEqual([1, 6]);
    expect(warnings).toHaveLength(1);
    const { badLines } = readShotLines(readFileSync(file(), 'utf8'), 'shots');
    expect(badLines).toEqual([2, 3, 4, 6]);
    await store.close();
  });

  test('a file of a newer version is refused and left untouched', () => {
    const text = `${JSON.stringify({ ...shotDocument(1), v: 2 })}\n`;
    writeFileSync(file(), text);
    expect(() => new JsonLinesStore(folder, logger)).toThrow(SeamwiseError);
    expect(() => new JsonLinesStore(folder, logger)).toThrow(
      /line 1: expected a document of version 1, found version 2/,
    );
    expect(readFileSync(file(), 'utf8')).toBe(text);
  });

  test('a folder that cannot hold the file gives an error that names it', () => {
    expect(() => new JsonLinesStore(path.join(folder, 'missing'), logger)).toThrow(/data folder .*missing/);
  });

  test('begins a new file when one is full and keeps the one before', async () => {
    const store = new JsonLinesStore(folder, logger, 10);
    append(store, ...Array.from({ length: 34 }, (_, index) => shotDocument(index + 1)));
    await store.close();
    const again = new JsonLinesStore(folder, logger, 10);
    expect(seqsOf(again.found)).toEqual(Array.from({ length: 14 }, (_, index) => index + 21));
    append(again, ...Array.from({ length: 7 }, (_, index) => shotDocument(index + 1001)));
    await again.close();
    const third = new JsonLinesStore(folder, logger, 10);
    expect(seqsOf(third.found)).toEqual([
      ...Array.from({ length: 10 }, (_, index) => (index < 4 ? index + 31 : index + 997)),
      1007,
    ]);
    await third.close();
  });

  test('a disk that fails is told once, never thrown, and told again when it is mended', async () => {
    const store = new JsonLinesStore(folder, logger, 2);
    append(store, shotDocument(1), shotDocument(2));
    // The file cannot be moved away, since a folder with something in it has the name.
    const before = path.join(folder, 'shots-before.jsonl');
    const { mkdirSync } = await import('node:fs');
    mkdirSync(path.join(before, 'thing'), { recursive: true });
    append(store, shotDocument(3), shotDocument(4));
    expect(store.failure).not.toBeNull();
    expect(warnings).toHaveLength(1);
    rmSync(before, { recursive: true });
    append(store, shotDocument(5));
    expect(store.failure).toBeNull();
    await store.close();
    const again = new JsonLinesStore(folder, logger, 2);
    expect(seqsOf(again.found)).toEqual([1, 2, 5]);
    await again.close();
  });
});
