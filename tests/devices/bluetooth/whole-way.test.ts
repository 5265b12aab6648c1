import { Buffer } from 'node:buffer';
import { describe, expect, test } from 'vitest';
import { buildReference, cCompiler } from '../../helpers/firmware-reference.ts';
import { packedInC } from '../../helpers/packed-in-c.ts';
import { makePractice, throughFile, throughRadio } from '../../helpers/radio-practice.ts';
import { tempFolder } from '../../helpers/temp-folder.ts';
import { folder } from './in-process.ts';

const scratch = tempFolder();

describe.skipIf(folder === null)('a practice over the radio', () => {
  test('gives the samples of the file bit for bit, and the same shots at the WebSocket', async () => {
    const made = makePractice('whole way', 3);
    // What goes over the air is packed by the C reference, where there is a compiler.
    const inC = cCompiler === null ? null : packedInC(buildReference(scratch), made.notifications);
    const notifications = made.notifications.map((packet, at) => ({ ...packet, bytes: inC?.[at] ?? packet.bytes }));
    const practice = { ...made, notifications };
    const other = notifications.findIndex(({ bytes }, at) => !Buffer.from(bytes).equals(made.notifications[at]!.bytes));
    expect([other, inC?.length ?? notifications.length]).toEqual([-1, notifications.length]);
    const file = await throughFile(made);
    const radio = await throughRadio(practice);
    expect(radio.lostPackets).toBe(0);
    expect(radio.received).toHaveLength(practice.notifications.length);
    const wrong = radio.received.findIndex(
      ({ bytes }, at) => !Buffer.from(bytes).equals(practice.notifications[at]!.bytes),
    );
    expect(wrong).toBe(-1);
    expect(radio.sampleCount).toBeGreaterThan(5000);
    expect(radio.sampleHash).toBe(file.sampleHash);
    expect(file.shots.length).toBeGreaterThanOrEqual(2);
    expect(radio.shots).toEqual(file.shots);
  });
});
