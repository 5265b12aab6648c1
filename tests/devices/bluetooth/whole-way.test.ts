import { Buffer } from 'node:buffer';
import { describe, expect, test } from 'vitest';
import { makePractice, throughFile, throughRadio } from '../../helpers/radio-practice.ts';
import { folder } from './in-process.ts';

describe.skipIf(folder === null)('a practice over the radio', () => {
  test('gives the samples of the file bit for bit, and the same shots at the WebSocket', async () => {
    const practice = makePractice('whole way', 3);
    const file = await throughFile(practice);
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
  }, 180_000);
});
