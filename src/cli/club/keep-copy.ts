import {
  closeSync,
  constants,
  copyFileSync,
  existsSync,
  fsyncSync,
  mkdirSync,
  openSync,
  renameSync,
  rmSync,
} from 'node:fs';
import path from 'node:path';
import { SeamwiseError } from '../../foundation/errors.ts';
import { recordingsFolder } from '../../server/practice/practice-keeper.ts';
import type { ClubStore } from '../../sessions/database/club-store.ts';

export interface KeptCopy {
  /** Name in the folder of recordings. */
  readonly name: string;
  /** Deletes it again, and the folder where that was made for it. */
  takeAway(): void;
}

/**
 * Copies a recording into the data folder. It is there as a whole and on the disk when this resolves.
 *
 * @throws SeamwiseError `output-not-written` where a session has a recording of that name, or the disk does not take it.
 */
export async function keepCopy(store: ClubStore, file: string, dataFolder: string): Promise<KeptCopy> {
  const folder = path.join(dataFolder, recordingsFolder);
  const stem = path.basename(file, path.extname(file));
  const used = new Set((await store.sessions.recorded()).map(({ recording }) => recording));
  if (used.has(`${stem}.mcap`)) {
    throw new SeamwiseError(
      'output-not-written',
      `a recording called ${stem}.mcap is kept already: rename the file to keep another one`,
    );
  }
  const isNewFolder = !existsSync(folder);
  // A file that no session knows was left by an import that was stopped; it is not written over all the same.
  let name = `${stem}.mcap`;
  for (let count = 2; existsSync(path.join(folder, name)) || used.has(name); count++) name = `${stem}-${count}.mcap`;
  const target = path.join(folder, name);
  const part = `${target}.part`;
  const takeAway = (): void => {
    for (const each of [part, target]) rmSync(each, { force: true });
    if (isNewFolder) rmSync(folder, { recursive: true, force: true });
  };
  try {
    mkdirSync(folder, { recursive: true, mode: 0o700 });
    copyFileSync(file, part, constants.COPYFILE_FICLONE);
    const descriptor = openSync(part, 'r+');
    try {
      fsyncSync(descriptor);
    } finally {
      closeSync(descriptor);
    }
    renameSync(part, target);
  } catch (error) {
    takeAway();
    const why = error instanceof Error ? error.message : String(error);
    throw new SeamwiseError('output-not-written', `${file} cannot be copied to ${target}: ${why}. Nothing was kept.`);
  }
  return { name, takeAway };
}
