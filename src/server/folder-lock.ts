import { readFileSync, renameSync, rmSync, writeFileSync } from 'node:fs';
import path from 'node:path';
import { SeamwiseError } from '../foundation/errors.ts';

/** A service as it signs the data folder that it writes to. */
export interface FolderUser {
  readonly url: string;
  readonly runId: string;
}

const answerMs = 1500;

/**
 * Signs a data folder, so that two services do not write into one file of shots. A signature counts only while its
 * service answers: one that was killed leaves nothing that has to be cleaned up by hand.
 *
 * @returns takes the signature away.
 * @throws SeamwiseError `data-folder-in-use` when a service that runs has signed it, `data-folder` when it cannot be written to.
 */
export async function lockFolder(folder: string, user: FolderUser): Promise<() => void> {
  const file = path.join(folder, 'in-use.json');
  const text = `${JSON.stringify(user)}\n`;
  try {
    writeFileSync(file, text, { flag: 'wx', mode: 0o600 });
  } catch {
    const other = readUser(file);
    if (other !== null && (await isRunning(other))) {
      throw new SeamwiseError(
        'data-folder-in-use',
        `data folder ${folder} is in use by the service at ${other.url}: stop that one or name another folder`,
      );
    }
    const next = `${file}.${user.runId}`;
    try {
      writeFileSync(next, text, { mode: 0o600 });
      renameSync(next, file);
    } catch (error) {
      rmSync(next, { force: true });
      const why = error instanceof Error ? error.message : String(error);
      throw new SeamwiseError(
        'data-folder',
        `data folder ${folder} cannot be written to: ${why}. Free the disk or make the folder writable, or name another one; what is in it stays as it is.`,
      );
    }
  }
  return () => {
    if (readUser(file)?.runId === user.runId) rmSync(file, { force: true });
  };
}

/** @returns address of the service that runs and writes into the folder, or null. */
export async function serviceUsing(folder: string): Promise<string | null> {
  const user = readUser(path.join(folder, 'in-use.json'));
  return user !== null && (await isRunning(user)) ? user.url : null;
}

function readUser(file: string): FolderUser | null {
  try {
    const { url, runId } = JSON.parse(readFileSync(file, 'utf8')) as Partial<FolderUser>;
    return typeof url === 'string' && typeof runId === 'string' ? { url, runId } : null;
  } catch {
    return null;
  }
}

async function isRunning({ url, runId }: FolderUser): Promise<boolean> {
  // Nothing but this machine is ever asked, whatever the file says.
  if (!/^http:\/\/(127\.0\.0\.1|\[::1\]):\d{1,5}\/$/.test(url)) return false;
  try {
    const answer = await fetch(new URL('/api/health', url), { signal: AbortSignal.timeout(answerMs) });
    const health = (await answer.json()) as { readonly runId?: unknown };
    return health.runId === runId;
  } catch {
    return false;
  }
}
