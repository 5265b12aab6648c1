import { closeSync, fsyncSync, openSync, readFileSync, writeSync } from 'node:fs';
import path from 'node:path';
import { syncFolder } from './recording/durable-file.ts';

/** Name of the file of erased players in the data folder. */
export const erasedPlayersFile = 'erased-players.txt';

/**
 * Ids of players whose data were erased, beside the database: a backup that is put back still holds them, and they are
 * erased from it again. An id says nothing of the person.
 */
export class ErasedPlayers {
  readonly #file: string;

  constructor(dataFolder: string) {
    this.#file = path.join(dataFolder, erasedPlayersFile);
  }

  /** Remembers an id for good; on the disk when this resolves. */
  async add(playerId: string): Promise<void> {
    const descriptor = openSync(this.#file, 'a', 0o600);
    try {
      writeSync(descriptor, `${playerId}\n`);
      fsyncSync(descriptor);
    } finally {
      closeSync(descriptor);
    }
    await syncFolder(path.dirname(this.#file));
  }

  list(): string[] {
    try {
      return readFileSync(this.#file, 'utf8').split('\n').filter(Boolean);
    } catch {
      return [];
    }
  }
}
