import { SeamwiseError } from '../../foundation/errors.ts';
import type { KeptSpinReference, SpinOrigin, SpinPlayer } from './wrist-calibration-store.ts';

export const spinFileVersion = 2;

export interface SpinFilePlayer extends SpinPlayer {
  readonly references: readonly KeptSpinReference[];
}

/** The file of reference shots. */
export interface SpinFile {
  readonly schemaVersion: typeof spinFileVersion;
  readonly players: readonly SpinFilePlayer[];
}

/**
 * Reads the text of a file of reference shots, of this version or of version 1, which kept them by the players' names alone.
 *
 * @param where name of the file, for messages.
 * @throws SeamwiseError `spin-file-damaged` when it is no such file, `spin-file-version` when a newer program wrote it.
 */
export function readSpinFile(text: string, where: string): SpinFile {
  const damaged = (what: string): never => {
    throw new SeamwiseError(
      'spin-file-damaged',
      `reference shots in ${where}: ${what}. Mend the file by hand, or move it away to begin anew; it is not overwritten.`,
    );
  };
  let parsed: unknown;
  try {
    parsed = JSON.parse(text);
  } catch (error) {
    return damaged(`expected JSON (${error instanceof Error ? error.message : String(error)})`);
  }
  if (!isRecord(parsed)) return damaged('expected an object with schemaVersion and players');
  const version = parsed.schemaVersion;
  if (typeof version === 'number' && Number.isInteger(version) && version > spinFileVersion) {
    throw new SeamwiseError(
      'spin-file-version',
      `reference shots in ${where} have schema version ${version}, expected ${spinFileVersion}: a newer program wrote them. Use that one.`,
    );
  }
  const readList = (list: unknown, player: string): readonly KeptSpinReference[] => {
    if (!Array.isArray(list)) return damaged(`expected a list of reference shots of "${player}"`);
    return list.map((item: unknown, at) => {
      const reference = readReference(item);
      if (typeof reference === 'string') return damaged(`reference shot ${at + 1} of "${player}": ${reference}`);
      return reference;
    });
  };
  const { players } = parsed;
  if (version === 1) {
    if (!isRecord(players)) return damaged('expected an object "players"');
    const named = Object.entries(players).map(([name, list]) => ({ id: null, name, references: readList(list, name) }));
    return { schemaVersion: spinFileVersion, players: named };
  }
  if (version !== spinFileVersion) return damaged(`expected schemaVersion ${spinFileVersion}, came ${String(version)}`);
  if (!Array.isArray(players)) return damaged('expected a list "players"');
  const read = players.map((item: unknown, at): SpinFilePlayer => {
    if (!isRecord(item)) return damaged(`player ${at + 1}: expected an object`);
    const { id, name, references } = item;
    if (typeof name !== 'string' || name === '') return damaged(`player ${at + 1}: expected a name`);
    if (id !== null && (typeof id !== 'string' || id === ''))
      return damaged(`player "${name}": expected an id or null`);
    return { id, name, references: readList(references, name) };
  });
  return { schemaVersion: spinFileVersion, players: read };
}

/** @returns the reference shot, or what is wrong with it. */
function readReference(item: unknown): KeptSpinReference | string {
  if (!isRecord(item)) return 'expected an object';
  const { id, addedS, origin, snapRateRadps, snapRateSdRadps, spinRps, spinSdRps, place } = item;
  if (typeof id !== 'string' || id === '') return 'expected an id';
  if (place !== 'forearm' && place !== 'back-of-hand')
    return `place is ${String(place)}: expected forearm or back-of-hand`;
  const numbers = { addedS, snapRateRadps, snapRateSdRadps, spinRps, spinSdRps };
  for (const [name, value] of Object.entries(numbers)) {
    if (!isNumber(value) || value < 0) return `${name} is ${String(value)}: expected a number of at least 0`;
  }
  if (!(isNumber(snapRateRadps) && snapRateRadps > 0)) return 'snapRateRadps is 0: expected a snap';
  const from = readOrigin(origin);
  if (typeof from === 'string') return from;
  return {
    id,
    addedS: addedS as number,
    origin: from,
    snapRateRadps,
    snapRateSdRadps: snapRateSdRadps as number,
    spinRps: spinRps as number,
    spinSdRps: spinSdRps as number,
    place,
  };
}

function readOrigin(origin: unknown): SpinOrigin | string {
  if (!isRecord(origin)) return 'expected an origin';
  const { kind, revolutions, frames, frameRateHz, sensorId, shotIndex } = origin;
  if (kind === 'video') {
    if (!(isNumber(revolutions) && isNumber(frames) && isNumber(frameRateHz))) {
      return 'expected revolutions, frames and frameRateHz of a video';
    }
    return { kind, revolutions, frames, frameRateHz };
  }
  if (kind === 'ball-sensor') {
    const idFits = sensorId === null || typeof sensorId === 'string';
    const indexFits = shotIndex === null || isNumber(shotIndex);
    if (!(idFits && indexFits)) return 'expected sensorId and shotIndex of a ball sensor, or null';
    return { kind, sensorId, shotIndex };
  }
  return `origin is ${String(kind)}: expected video or ball-sensor`;
}

function isRecord(value: unknown): value is Record<string, unknown> {
  return typeof value === 'object' && value !== null && !Array.isArray(value);
}

function isNumber(value: unknown): value is number {
  return typeof value === 'number' && Number.isFinite(value);
}
