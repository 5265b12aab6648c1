import path from 'node:path';
import { expect, it } from 'vitest';
import { RecordingWriter } from '../../../src/sessions/recording/recording-writer.ts';
import { tempFolder } from '../../helpers/temp-folder.ts';
import { descriptionBytes, madeNotifications, readRecording, sensorId } from './made-recording.ts';
import { PowerlessFile } from './powerless-file.ts';

const folder = tempFolder();
const key = (bytes: Uint8Array) => Buffer.from(bytes).toString('hex');
const sent = madeNotifications(400);

async function found(file: string): Promise<{ texts: string[]; isClosed: boolean; damagedChunks: number }> {
  const { reader, entries } = await readRecording(file);
  const texts = entries.filter(({ kind }) => kind === 'notification').map(({ bytes }) => key(bytes));
  return { texts, ...reader.damage() };
}

async function liveWriter(file: PowerlessFile, change = {}): Promise<RecordingWriter> {
  const writer = await RecordingWriter.create('', {}, { syncEveryMs: 50, openFile: file.open, ...change });
  await writer.describe(sensorId, descriptionBytes, 1);
  return writer;
}

it('keeps through a loss of power all but what came after the last sync', async () => {
  const file = new PowerlessFile();
  const writer = await liveWriter(file);
  for (const notification of sent.slice(0, 100)) void writer.add(notification);
  const before = file.syncCount;
  await expect.poll(() => file.syncCount).toBeGreaterThan(before);
  const synced = file.syncCount;
  for (const notification of sent.slice(100, 110)) void writer.add(notification);
  expect(file.syncCount).toBe(synced);
  const saved = path.join(folder, 'power.mcap');
  file.saveSynced(saved);
  const { texts, isClosed, damagedChunks } = await found(saved);
  expect(texts).toEqual(sent.slice(0, 100).map(({ bytes }) => key(bytes)));
  expect({ isClosed, damagedChunks }).toEqual({ isClosed: false, damagedChunks: 0 });
  await writer.close();
});

it('syncs by itself, and nothing while nothing comes', async () => {
  const file = new PowerlessFile();
  const writer = await liveWriter(file);
  await expect.poll(() => file.syncCount).toBe(1);
  await new Promise((resolve) => setTimeout(resolve, 200));
  expect(file.syncCount).toBe(1);
  await writer.close();
});

it('goes on when a full disk has room again, and loses nothing', async () => {
  const troubles: (string | null)[] = [];
  const file = new PowerlessFile();
  const writer = await liveWriter(file, { onTrouble: (trouble: string | null) => troubles.push(trouble) });
  for (const notification of sent.slice(0, 200)) void writer.add(notification);
  await writer.flush();
  file.capacityBytes = writer.sizeBytes + 300;
  for (const notification of sent.slice(200, 300)) void writer.add(notification);
  await writer.flush();
  expect(writer.trouble).toContain('ENOSPC');
  file.capacityBytes = Number.POSITIVE_INFINITY;
  for (const notification of sent.slice(300)) void writer.add(notification);
  await writer.close();
  expect(troubles).toEqual(['ENOSPC: no space left on device', null]);
  expect(writer.lostMessages).toBe(0);
  const saved = path.join(folder, 'full.mcap');
  file.saveWritten(saved);
  const { texts, isClosed } = await found(saved);
  expect(texts).toEqual(sent.map(({ bytes }) => key(bytes)));
  expect(isClosed).toBe(true);
});

it('gives up the oldest of what waits too long, and counts it', async () => {
  const file = new PowerlessFile();
  const writer = await liveWriter(file, { mostWaitingBytes: 40_000 });
  await writer.flush();
  file.failure = new Error('EIO: i/o error');
  for (let i = 0; i < 400; i++) {
    void writer.add(sent[i] as (typeof sent)[number]);
    if (i % 20 === 19) await writer.flush();
  }
  file.failure = null;
  await writer.close();
  expect(writer.lostMessages).toBeGreaterThan(0);
  const saved = path.join(folder, 'given-up.mcap');
  file.saveWritten(saved);
  const { texts, damagedChunks, isClosed } = await found(saved);
  expect(texts).toHaveLength(400 - writer.lostMessages);
  // The last ones are there.
  expect(texts.slice(-100)).toEqual(sent.slice(-100).map(({ bytes }) => key(bytes)));
  expect({ damagedChunks, isClosed }).toEqual({ damagedChunks: 0, isClosed: true });
});

it('leaves what is there when the disk stays full to the end', async () => {
  const file = new PowerlessFile();
  const writer = await liveWriter(file);
  for (const notification of sent.slice(0, 200)) void writer.add(notification);
  await writer.flush();
  file.failure = new Error('ENOSPC: no space left on device');
  for (const notification of sent.slice(200)) void writer.add(notification);
  await writer.close();
  expect(writer.lostMessages).toBe(200);
  const saved = path.join(folder, 'stays-full.mcap');
  file.saveWritten(saved);
  expect((await found(saved)).texts).toHaveLength(200);
});

it('fails at once where no live practice hangs on it', async () => {
  const file = new PowerlessFile();
  const writer = await RecordingWriter.create('', {}, { openFile: file.open });
  file.failure = new Error('EIO: i/o error');
  void writer.describe(sensorId, descriptionBytes, 1);
  await expect(writer.flush()).rejects.toThrow('EIO');
  await expect(writer.close()).rejects.toThrow('EIO');
});

it('says that a folder cannot be written to', async () => {
  await expect(RecordingWriter.create(path.join(folder, 'none', 'x.mcap'))).rejects.toThrow('ENOENT');
});

it('keeps notes beside the notifications', async () => {
  const file = path.join(folder, 'notes.mcap');
  const writer = await RecordingWriter.create(file);
  await writer.note('mark', { name: 'start of drill' }, 12.5);
  await writer.close();
  const { reader } = await readRecording(file);
  expect(reader.notes).toEqual([{ kind: 'mark', hostTimeS: 12.5, document: { name: 'start of drill' } }]);
});
