import { mkdir, open, readFile, rename, rm } from 'node:fs/promises';
import path from 'node:path';
import { SeamwiseError } from '../../foundation/errors.ts';
import { readSpinFile, type SpinFile, spinFileVersion } from './spin-file.ts';
import {
  type KeptSpinReference,
  longestPlayerName,
  type SpinPlayer,
  type WristCalibrationStore,
} from './wrist-calibration-store.ts';

/**
 * Reference shots in one JSON file, read anew for every question and replaced as a whole, so that after a crash it is the
 * old file or the new one. Writes of one process stand in a queue; of two processes that write at the same moment the
 * later one wins.
 */
export class JsonWristCalibrationStore implements WristCalibrationStore {
  private readonly file: string;
  private writing: Promise<unknown> = Promise.resolve();

  constructor(file: string) {
    this.file = file;
  }

  /** @throws SeamwiseError `spin-file-damaged`, `spin-file-version`. */
  async players(): Promise<readonly SpinPlayer[]> {
    const { players } = await this.read();
    return players
      .map(({ id, name }) => ({ id, name }))
      .sort((a, b) => (a.name < b.name ? -1 : a.name > b.name ? 1 : 0));
  }

  /** @throws SeamwiseError `spin-file-damaged`, `spin-file-version`. */
  async references(player: SpinPlayer): Promise<readonly KeptSpinReference[]> {
    return listOf(await this.read(), player);
  }

  /** @throws SeamwiseError `spin-file-damaged`, `spin-file-version`, `spin-file-not-written`, `spin-player-name`. */
  async add(player: SpinPlayer, reference: KeptSpinReference): Promise<void> {
    checkName(player.name);
    await this.change((file) => withList(file, player, [...listOf(file, player), reference]));
  }

  /** @throws SeamwiseError `spin-file-damaged`, `spin-file-version`, `spin-file-not-written`. */
  async clear(player: SpinPlayer): Promise<number> {
    let count = 0;
    await this.change((file) => {
      count = listOf(file, player).length;
      return count === 0 ? null : withList(file, player, []);
    });
    return count;
  }

  /** @throws SeamwiseError `spin-file-damaged`, `spin-file-version`, `spin-file-not-written`. */
  async claim(players: readonly SpinPlayer[]): Promise<void> {
    await this.change((file) => {
      const unclaimed = new Set(file.players.filter(({ id }) => id === null).map(({ name }) => name));
      const theirs = players.filter(({ id, name }) => id !== null && unclaimed.has(name));
      if (theirs.length === 0) return null;
      return theirs.reduce((next, player) => withList(next, player, listOf(next, player)), file);
    });
  }

  /** @param next gives the new content, or null for no change. */
  private change(next: (file: SpinFile) => SpinFile | null): Promise<void> {
    const done = this.writing.then(async () => {
      const file = next(await this.read());
      if (file !== null) await this.write(file);
    });
    this.writing = done.catch(() => {});
    return done;
  }

  private async read(): Promise<SpinFile> {
    let text: string;
    try {
      text = await readFile(this.file, 'utf8');
    } catch (error) {
      if (isMissing(error)) return { schemaVersion: spinFileVersion, players: [] };
      throw new SeamwiseError(
        'spin-file-damaged',
        `reference shots in ${this.file} cannot be read: ${wordsOf(error)}. Make the file readable, or move it away to begin anew.`,
      );
    }
    return readSpinFile(text, this.file);
  }

  private async write(file: SpinFile): Promise<void> {
    const next = `${this.file}.new`;
    try {
      await mkdir(path.dirname(this.file), { recursive: true, mode: 0o700 });
      const handle = await open(next, 'w', 0o600);
      try {
        await handle.writeFile(`${JSON.stringify(file, null, 2)}\n`);
        await handle.sync();
      } finally {
        await handle.close();
      }
      await rename(next, this.file);
    } catch (error) {
      await rm(next, { force: true }).catch(() => {});
      throw new SeamwiseError(
        'spin-file-not-written',
        `reference shots could not be written to ${this.file}: ${wordsOf(error)}. What was there before is unchanged.`,
      );
    }
  }
}

function isOf(entry: SpinPlayer, player: SpinPlayer): boolean {
  return entry.id === null ? entry.name === player.name : entry.id === player.id;
}

function listOf(file: SpinFile, player: SpinPlayer): readonly KeptSpinReference[] {
  const own = file.players.filter((entry) => isOf(entry, player)).flatMap(({ references }) => references);
  return own.sort((a, b) => a.addedS - b.addedS);
}

function withList(file: SpinFile, { id, name }: SpinPlayer, references: readonly KeptSpinReference[]): SpinFile {
  const others = file.players.filter((entry) => !isOf(entry, { id, name }));
  return {
    schemaVersion: spinFileVersion,
    players: references.length === 0 ? others : [...others, { id, name, references }],
  };
}

function checkName(player: string): void {
  const fits = player.trim() === player && player.length > 0 && player.length <= longestPlayerName;
  if (fits) return;
  throw new SeamwiseError(
    'spin-player-name',
    `name of a player: expected 1 to ${longestPlayerName} characters without spaces at the ends, came ${JSON.stringify(player.slice(0, 120))}`,
  );
}

function isMissing(error: unknown): boolean {
  return error instanceof Error && 'code' in error && error.code === 'ENOENT';
}

function wordsOf(error: unknown): string {
  return error instanceof Error ? error.message : String(error);
}
