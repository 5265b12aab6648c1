import { readdirSync, readFileSync, statSync } from 'node:fs';
import path from 'node:path';
import { fileURLToPath } from 'node:url';
import { SeamwiseError } from '../foundation/errors.ts';
import { type DeviceProfile, maxProfileCharacters } from '../protocol/device-profile.ts';
import { parseDeviceProfile } from '../protocol/parse-device-profile.ts';

/** The profiles that come with the program. */
export const shippedProfileFolder = fileURLToPath(new URL('../../firmware-protocol/profiles/', import.meta.url));

export interface LoadedProfiles {
  /** Those of the given folders, in the order of the folders and then of the file names; of two with one id the first. */
  readonly profiles: readonly DeviceProfile[];
  /** A sentence for each file that could not be used. */
  readonly problems: readonly string[];
}

/**
 * Reads one profile.
 *
 * @throws SeamwiseError `profile-text` or `profile-field`; the message names the file.
 */
export function readProfileFile(file: string): DeviceProfile {
  let document: unknown;
  try {
    const { size } = statSync(file);
    if (size > maxProfileCharacters) {
      throw new Error(`expected at most ${maxProfileCharacters} bytes, it has ${size}`);
    }
    document = JSON.parse(readFileSync(file, 'utf8').replace(/^\ufeff/, ''));
  } catch (error) {
    const why = error instanceof Error ? error.message.replaceAll(/[\p{C}]/gu, '?') : String(error);
    throw new SeamwiseError('profile-text', `device profile ${file}: expected a JSON document, but ${why}`);
  }
  try {
    return parseDeviceProfile(document);
  } catch (error) {
    if (!(error instanceof SeamwiseError)) throw error;
    throw new SeamwiseError(error.code, `${file}: ${error.message}`);
  }
}

/** Reads all `.json` files of the folders but schemas; a folder that is not there holds none. */
export function loadProfiles(folders: readonly string[]): LoadedProfiles {
  const profiles = new Map<string, DeviceProfile>();
  const problems: string[] = [];
  for (const folder of folders) {
    for (const name of namesIn(folder)) {
      try {
        const profile = readProfileFile(path.join(folder, name));
        if (!profiles.has(profile.id)) profiles.set(profile.id, profile);
      } catch (error) {
        problems.push(error instanceof Error ? error.message : String(error));
      }
    }
  }
  return { profiles: [...profiles.values()], problems };
}

function namesIn(folder: string): readonly string[] {
  try {
    return readdirSync(folder)
      .filter((name) => name.endsWith('.json') && !name.endsWith('.schema.json'))
      .sort();
  } catch {
    return [];
  }
}
