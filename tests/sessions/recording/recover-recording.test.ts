import { existsSync, readFileSync, writeFileSync } from 'node:fs';
import path from 'node:path';
import { McapStreamReader } from '@mcap/core';
import { beforeAll, expect, it } from 'vitest';
import { RecordingWriter } from '../../../src/sessions/recording/recording-writer.ts';
import { recoverRecording } from '../../../src/sessions/recording/recover-recording.ts';
import { tempFolder } from '../../helpers/temp-folder.ts';
import { descriptionBytes, madeNotifications, readRecording, sensorId } from './made-recording.ts';
import { PowerlessFile } from './powerless-file.ts';

const folder = tempFolder();
const key = (bytes: Uint8Array) => Buffer.from(bytes).toString('hex');
const sent = madeNotifications(600);
let crashed: Buffer;

beforeAll(async () => {
  const file = new PowerlessFile();
  const writer = await RecordingWriter.create('', { simulated: 'true' }, { openFile: file.open, syncEveryMs: 1e6 });
  await writer.describe(sensorId, descriptionBytes, 1);
  await writer.note('mark', { name: 'warm-up over' }, 7);
  for (const notification of sent) await writer.add(notification);
  await writer.flush();
  const saved = path.join(folder, 'crashed.mcap');
  file.saveWritten(saved);
  crashed = readFileSync(saved);
  await writer.close();
});

function put(name: string, bytes: Uint8Array): string {
  const file = path.join(folder, name);
  writeFileSync(file, bytes);
  return file;
}

async function texts(file: string): Promise<string[]> {
  const { reader, entries } = await readRecording(file);
  expect(reader.damage()).toMatchObject({ isClosed: true, damagedChunks: 0, brokenBytes: 0 });
  return entries.filter(({ kind }) => kind === 'notification').map(({ bytes }) => key(bytes));
}

it('closes what a killed writer left, with all that was written', async () => {
  const file = put('killed.mcap', crashed);
  const recovery = await recoverRecording(file);
  expect(recovery).toMatchObject({ messages: 601, keptOriginal: null, endHostTimeS: sent.at(-1)?.hostTimeS });
  expect(recovery?.message).toBe(
    'killed.mcap was not closed; 601 messages are saved, nothing that was on the disk is lost',
  );
  expect(await texts(file)).toEqual(sent.map(({ bytes }) => key(bytes)));
  const { reader } = await readRecording(file);
  expect(reader.about.get('simulated')).toBe('true');
  expect(reader.about.get('recovered')).toBe('true');
  expect(reader.notes).toHaveLength(1);
  expect(existsSync(`${file}.part`)).toBe(false);
  // A stock reader goes through it from end to end, checksums and all.
  const stock = new McapStreamReader({ validateCrcs: true });
  stock.append(readFileSync(file));
  let messages = 0;
  for (let record = stock.nextRecord(); record; record = stock.nextRecord())
    if (record.type === 'Message') messages += 1;
  expect(messages).toBe(602);
  expect(await recoverRecording(file)).toBeNull();
});

it('saves what stands before a torn end and says what is lost', async () => {
  const file = put('torn.mcap', crashed.subarray(0, crashed.length - 5000));
  const recovery = await recoverRecording(file);
  expect(recovery?.keptOriginal).toBeNull();
  expect(recovery?.message).toMatch(/messages are saved; lost: byte \d+: /);
  const found = await texts(file);
  expect(found).toEqual(sent.slice(0, found.length).map(({ bytes }) => key(bytes)));
  expect(found.length).toBeGreaterThan(500);
});

it('keeps the original where more than the end is damaged', async () => {
  const broken = Buffer.from(crashed);
  for (const at of [20_000, 60_000]) broken.fill(0xff, at, at + 40);
  const file = put('broken.mcap', broken);
  const recovery = await recoverRecording(file);
  expect(recovery?.keptOriginal).toBe(`${file}.damaged`);
  expect(readFileSync(`${file}.damaged`).equals(broken)).toBe(true);
  const found = await texts(file);
  expect(found.length).toBeGreaterThan(590);
  expect(found.every((text) => sent.some(({ bytes }) => key(bytes) === text))).toBe(true);
});

it('begins anew after a recovery that was itself cut off', async () => {
  const file = put('again.mcap', crashed);
  writeFileSync(`${file}.part`, 'half of a recovery');
  await recoverRecording(file);
  expect(await texts(file)).toHaveLength(sent.length);
});
