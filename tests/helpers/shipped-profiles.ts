import { readdirSync, readFileSync } from 'node:fs';
import path from 'node:path';
import type { BoardProfile, DeviceProfile } from '../../src/protocol/device-profile.ts';
import { parseDeviceProfile } from '../../src/protocol/parse-device-profile.ts';
import { projectRoot } from './project-root.ts';

export const profileFolder = path.join(projectRoot, 'firmware-protocol', 'profiles');

/** @returns the JSON documents of the example profiles by their file names. */
export function profileDocuments(): ReadonlyMap<string, unknown> {
  const files = readdirSync(profileFolder).filter((name) => name.endsWith('.json') && !name.endsWith('.schema.json'));
  return new Map(files.map((name) => [name, JSON.parse(readFileSync(path.join(profileFolder, name), 'utf8'))]));
}

/** @returns one of the example profiles. */
export function shippedProfile(id: string): DeviceProfile {
  return parseDeviceProfile(profileDocuments().get(`${id}.json`));
}

/** @returns one of the example profiles that are a board's. */
export function boardProfile(id: string): BoardProfile {
  const profile = shippedProfile(id);
  if (profile.kind !== 'board') throw new Error(`${id}: expected a board`);
  return profile;
}
