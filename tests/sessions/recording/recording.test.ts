import { writeFileSync } from 'node:fs';
import { open } from 'node:fs/promises';
import path from 'node:path';
import { McapIndexedReader, McapStreamReader } from '@mcap/core';
import fc from 'fast-check';
import { beforeAll, describe, expect, it } from 'vitest';
import { decodeNotification } from '../../../src/protocol/notification.ts';
import { parseMessage } from '../../../src/sessions/recording/mcap-records.ts';
import { toNanoseconds, toSeconds } from '../../../src/sessions/recording/recording-layout.ts';
import { RecordingWriter } from '../../../src/sessions/recording/recording-writer.ts';
import { tempFolder } from '../../helpers/temp-folder.ts';
import { descriptionBytes, madeNotifications, readRecording, sensorId, writeRecording } from './made-recording.ts';

const folder = tempFolder();
const file = path.join(folder, 'made.mcap');
const notifications = madeNotifications(1000);
const key = (bytes: Uint8Array) => Buffer.from(bytes).toString('hex');
const known = new Set(notifications.map(({ bytes }) => key(bytes)));
let content: Buffer;

beforeAll(async () => {
  content = await writeRecording(file, notifications);
});

describe('a recording of notifications', () => {
  it('gives back bytes and host times exactly, and what it says about itself', async () => {
    const { reader, entries } = await readRecording(file);
    const [first, ...rest] = entries;
    expect(first).toEqual({
      kind: 'description',
      sensorId,
      bytes: descriptionBytes,
      hostTimeS: notifications[0]?.hostTimeS,
    });
    expect(rest).toEqual(notifications.map((notification) => ({ kind: 'notification', ...notification })));
    expect(Object.fromEntries(reader.about)).toEqual({ format: '1', simulated: 'true' });
    expect([...reader.sensors]).toEqual([[sensorId, descriptionBytes]]);
    expect(reader.damage()).toEqual({ isClosed: true, damagedChunks: 0, brokenBytes: 0, places: [] });
  });

  it('has the same bytes when it is made again', async () => {
    expect(await writeRecording(path.join(folder, 'again.mcap'), notifications)).toEqual(content);
  });

  it('is read by the stock stream reader, checksums and all', () => {
    const reader = new McapStreamReader({ validateCrcs: true });
    reader.append(content);
    const topics = new Map<number, string>();
    const messages: string[] = [];
    for (let record = reader.nextRecord(); record; record = reader.nextRecord()) {
      if (record.type === 'Channel') topics.set(record.id, record.topic);
      if (record.type === 'Message' && topics.get(record.channelId)?.endsWith('/notification'))
        messages.push(key(record.data));
    }
    expect(reader.done()).toBe(true);
    expect(messages).toEqual(notifications.map(({ bytes }) => key(bytes)));
  });

  it('is read by the stock indexed reader', async () => {
    const handle = await open(file);
    const reader = await McapIndexedReader.Initialize({
      readable: {
        size: async () => BigInt(content.length),
        read: async (offset, size) =>
          (await handle.read(Buffer.alloc(Number(size)), 0, Number(size), Number(offset))).buffer,
      },
    });
    expect(reader.chunkIndexes.length).toBeGreaterThan(3);
    let count = 0;
    for await (const message of reader.readMessages({ topics: [`/sensor/${sensorId}/notification`] })) {
      expect(key(message.data)).toBe(key((notifications[count] as { bytes: Uint8Array }).bytes));
      count += 1;
    }
    expect(count).toBe(notifications.length);
    await handle.close();
  });

  it('keeps several sensors apart', async () => {
    const two = path.join(folder, 'two.mcap');
    const writer = await RecordingWriter.create(two);
    const [one, other] = [madeNotifications(50, 'one'), madeNotifications(50, 'other')];
    // Overlapping calls are carried out in order.
    const done = [writer.describe('one', descriptionBytes, 1), writer.describe('other', descriptionBytes, 1)];
    for (let i = 0; i < 50; i++)
      for (const list of [one, other]) done.push(writer.add(list[i] as (typeof list)[number]));
    await Promise.all(done);
    await writer.close();
    const { reader, entries } = await readRecording(two);
    expect([...reader.sensors.keys()]).toEqual(['one', 'other']);
    for (const list of [one, other]) {
      const mine = entries.filter(({ sensorId: id, kind }) => id === list[0]?.sensorId && kind === 'notification');
      expect(mine.map(({ bytes }) => key(bytes))).toEqual(list.map(({ bytes }) => key(bytes)));
    }
  });

  it('keeps host times of this century to the last bit', () => {
    fc.assert(
      fc.property(fc.double({ min: 1.6e9, max: 4e9, noNaN: true }), (hostTimeS) => {
        const body = Buffer.alloc(24);
        body.writeUInt16LE(7, 0);
        for (const at of [6, 14]) body.writeBigUInt64LE(toNanoseconds(hostTimeS), at);
        const message = parseMessage(body);
        expect(message && toSeconds(message.logTime)).toBe(hostTimeS);
        expect(message).toMatchObject({ channelId: 7, timesAgree: true });
        body.writeUInt8((body[20] as number) ^ 1, 20);
        expect(parseMessage(body)?.timesAgree).toBe(false);
      }),
    );
  });
});

describe('a damaged recording', () => {
  const damaged = path.join(folder, 'damaged.mcap');

  it('gives what stands before the cut, wherever it is cut off', async () => {
    let last = -1;
    for (let length = 40; length < content.length; length += 997) {
      writeFileSync(damaged, content.subarray(0, length));
      const { reader, entries } = await readRecording(damaged);
      const found = entries.filter(({ kind }) => kind === 'notification').map(({ bytes }) => key(bytes));
      expect(found).toEqual(notifications.slice(0, found.length).map(({ bytes }) => key(bytes)));
      // Nothing but the message at the cut may be missing: 16 bytes of index a message, 100 of the message itself.
      expect(found.length).toBeGreaterThanOrEqual(
        Math.floor((length - 1200) / (content.length / notifications.length)) - 40,
      );
      expect(found.length).toBeGreaterThanOrEqual(last);
      expect(reader.damage().isClosed).toBe(false);
      last = found.length;
    }
    expect(last).toBe(notifications.length);
  });

  it('loses at most two notifications to a flipped bit, and never takes a changed one for sound', async () => {
    const random = fc.sample(fc.integer({ min: 8 * 8, max: 8 * content.length - 1 }), { numRuns: 400, seed: 20_261 });
    let toldTimes = 0;
    for (const bit of random) {
      const copy = Buffer.from(content);
      copy[bit >> 3] = (copy[bit >> 3] as number) ^ (1 << (bit & 7));
      writeFileSync(damaged, copy);
      const { reader, entries } = await readRecording(damaged);
      let sound = 0;
      for (const { kind, bytes } of entries) {
        if (kind !== 'notification') continue;
        if (known.has(key(bytes))) sound += 1;
        else expect(decodeNotification(bytes).kind, `bit ${bit}`).toBe('corrupt');
      }
      expect(sound, `bit ${bit}`).toBeGreaterThanOrEqual(notifications.length - 2);
      if (reader.damage().damagedChunks > 0 || reader.damage().brokenBytes > 0) toldTimes += 1;
      if (sound < notifications.length)
        expect(reader.damage().damagedChunks + reader.damage().brokenBytes).toBeGreaterThan(0);
    }
    expect(toldTimes).toBeGreaterThan(250);
  });

  it('loses only what is overwritten in the middle', async () => {
    const copy = Buffer.from(content);
    copy.fill(0xa5, 50_000, 60_000);
    writeFileSync(damaged, copy);
    const { reader, entries } = await readRecording(damaged);
    const found = entries.filter(({ kind, bytes }) => kind === 'notification' && known.has(key(bytes)));
    // 10,000 bytes hold at most 93 messages of 107 bytes; one more on either side may be cut.
    expect(found.length).toBeGreaterThanOrEqual(notifications.length - 95);
    expect(found.length).toBeLessThan(notifications.length);
    expect(reader.damage().damagedChunks + reader.damage().brokenBytes).toBeGreaterThan(0);
    expect(reader.damage().places[0]).toMatch(/^byte \d+: /);
  });

  it('never stops a reader, whatever the bytes are', async () => {
    await fc.assert(
      fc.asyncProperty(
        fc.uint8Array({ minLength: 1, maxLength: 3000 }),
        fc.nat(content.length - 3000),
        async (noise, at) => {
          const copy = Buffer.from(content);
          copy.set(noise, at);
          writeFileSync(damaged, copy);
          const { entries } = await readRecording(damaged);
          expect(entries.length).toBeGreaterThan(0);
        },
      ),
      { numRuns: 60 },
    );
  });
});
