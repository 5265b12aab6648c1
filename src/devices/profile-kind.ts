import { createHash, randomInt } from 'node:crypto';
import { setTimeout as wait } from 'node:timers/promises';
import { type BoardProfile, type DeviceProfile, profileFits } from '../protocol/device-profile.ts';
import { describeBoard, ProfileTranslator } from '../protocol/profile-translator.ts';
import { decodeSensorDescription, encodeSensorDescription } from '../protocol/sensor-description.ts';
import type { DeviceKind, PreparedDevice } from './device-kind.ts';
import type { GattSession } from './radio.ts';

/** @returns a kind of sensor for each profile; the first that fits an advertisement is taken. */
export function profileKinds(profiles: readonly DeviceProfile[]): readonly DeviceKind[] {
  return profiles.map(profileKind);
}

/** @returns the kind of sensor that a device profile describes. */
export function profileKind(profile: DeviceProfile): DeviceKind {
  return {
    name: profile.id,
    fits: ({ name, serviceUuids }) => profileFits(profile, name, serviceUuids),
    async prepare(session): Promise<PreparedDevice> {
      for (const { bytes, withResponse, waitS, ...ref } of profile.startUp) {
        await session.write(ref, bytes, { withResponse });
        if (waitS > 0) await wait(1000 * waitS);
      }
      return profile.kind === 'board' ? prepareBoard(profile, session) : prepareStreamFormat(profile, session);
    },
  };
}

async function prepareStreamFormat(
  profile: Extract<DeviceProfile, { kind: 'stream-format' }>,
  session: GattSession,
): Promise<PreparedDevice> {
  const description = await session.read(profile.description);
  const { sensorId } = decodeSensorDescription(description);
  return { sensorId, description, start: (take) => session.subscribe(profile.stream, take), identify: null };
}

async function prepareBoard(profile: BoardProfile, session: GattSession): Promise<PreparedDevice> {
  const sensorId = boardSensorId(profile.id, session.radioId);
  const translator = new ProfileTranslator(profile, randomInt(256));
  return {
    sensorId,
    description: encodeSensorDescription(describeBoard(profile, sensorId)),
    async start(take) {
      for (const [index, { service, characteristic }] of profile.streams.entries()) {
        await session.subscribe({ service, characteristic }, (bytes, hostTimeS) => {
          for (const packet of translator.push(index, bytes, hostTimeS)) take(packet.bytes, packet.hostTimeS);
        });
      }
    },
    identify: null,
  };
}

/** A board has no id of its own: its radio's stands in, for as long as the board keeps that. 32 hex digits. */
export function boardSensorId(profileId: string, radioId: string): string {
  return createHash('sha256').update(`${profileId} ${radioId}`).digest('hex').slice(0, 32);
}
