import { describe, expect, it } from 'vitest';
import { profileKind } from '../../src/devices/profile-kind.ts';
import type { CharacteristicRef, GattSession } from '../../src/devices/radio.ts';
import { decodeNotification } from '../../src/protocol/notification.ts';
import { decodeSensorDescription, encodeSensorDescription } from '../../src/protocol/sensor-description.ts';
import { shippedProfile } from '../helpers/shipped-profiles.ts';
import { ballDescription } from '../protocol/made-frames.ts';

/** A connection that remembers what it was told. */
class ToldSession implements GattSession {
  readonly characteristics = [];
  readonly ended = new Promise<string>(() => {});
  readonly told: string[] = [];
  readonly takers: ((bytes: Uint8Array, hostTimeS: number) => void)[] = [];
  readonly radioId: string;
  constructor(radioId: string) {
    this.radioId = radioId;
  }
  async read(ref: CharacteristicRef): Promise<Uint8Array> {
    this.told.push(`read ${ref.characteristic.slice(0, 8)}`);
    return encodeSensorDescription(ballDescription);
  }
  async write(ref: CharacteristicRef, bytes: Uint8Array, { withResponse = true } = {}): Promise<void> {
    this.told.push(`write ${ref.characteristic.slice(0, 8)} ${Buffer.from(bytes).toString('hex')} ${withResponse}`);
  }
  async subscribe(ref: CharacteristicRef, take: (bytes: Uint8Array, hostTimeS: number) => void): Promise<void> {
    this.told.push(`subscribe ${ref.characteristic.slice(0, 8)}`);
    this.takers.push(take);
  }
  async unsubscribe(): Promise<void> {}
  async disconnect(): Promise<void> {}
}

describe('a board with a profile', () => {
  it('is told what its profile says, subscribed, and speaks the stream format from then on', async () => {
    const session = new ToldSession('aa:bb');
    const prepared = await profileKind(shippedProfile('float32-triples')).prepare(session);
    const got: Uint8Array[] = [];
    await prepared.start((bytes) => got.push(bytes));
    expect(session.told).toEqual([
      'write adaf0001 14000000 true',
      'write adaf0001 14000000 true',
      'subscribe adaf0201',
      'subscribe adaf0401',
    ]);
    session.takers[0]!(new Uint8Array(Float32Array.of(0, 0, 9.8).buffer), 1);
    session.takers[1]!(new Uint8Array(Float32Array.of(1, 2, 3).buffer), 1.001);
    expect(got.map((bytes) => decodeNotification(bytes).kind)).toEqual(['frame']);
    expect(decodeSensorDescription(prepared.description).sensorId).toBe(prepared.sensorId);
    expect(prepared.identify).toBeNull();
  });

  it('keeps its id as long as its radio keeps its own', async () => {
    const kind = profileKind(shippedProfile('nine-int16-fixed-point'));
    const idOf = async (radioId: string) => (await kind.prepare(new ToldSession(radioId))).sensorId;
    expect(await idOf('one')).toBe(await idOf('one'));
    expect(await idOf('one')).not.toBe(await idOf('other'));
    expect(await idOf('one')).toMatch(/^[0-9a-f]{32}$/);
  });

  it('that speaks the stream format describes itself', async () => {
    const session = new ToldSession('aa:bb');
    const prepared = await profileKind(shippedProfile('stream-format')).prepare(session);
    await prepared.start(() => {});
    expect(prepared.sensorId).toBe(ballDescription.sensorId);
    expect(session.told).toEqual(['read b8390a62', 'subscribe 8d1f343f']);
  });
});
