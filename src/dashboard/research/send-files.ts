import type { WireUpload } from '../../server/wire/research-document.ts';
import { ask } from '../api.ts';
import { texts } from '../texts.ts';

const tries = 3;
const againMs = 500;

/** What went wrong while files were sent, as a sentence. */
export class SendingError extends Error {}

/**
 * Sends files to the service, part by part.
 *
 * @returns the id of the import, which can then be started. @throws SendingError; what was sent is thrown away then.
 */
export async function sendFiles(
  files: readonly File[],
  onShare: (share: number) => void,
  signal: AbortSignal,
): Promise<string> {
  const announced = files.map(({ name, size, lastModified }) => ({
    name,
    bytes: size,
    modifiedS: lastModified / 1000,
  }));
  const begun = await ask<WireUpload>('POST', '/api/imports', { files: announced });
  if (!begun.ok) throw new SendingError(begun.message);
  const { id, partBytes } = begun.value;
  const total = files.reduce((sum, { size }) => sum + size, 0);
  let sent = 0;
  try {
    for (const [index, file] of files.entries()) {
      for (let at = 0; at < file.size; at += partBytes) {
        const part = file.slice(at, at + partBytes);
        await sendPart(`/api/imports/${encodeURIComponent(id)}/files/${index}?at=${at}`, part, signal);
        sent += part.size;
        onShare(sent / total);
      }
    }
    return id;
  } catch (error) {
    void ask('DELETE', `/api/imports/${encodeURIComponent(id)}`);
    throw error;
  }
}

async function sendPart(path: string, part: Blob, signal: AbortSignal): Promise<void> {
  let why: string = texts.unreachable;
  for (let attempt = 0; attempt < tries; attempt++) {
    if (attempt > 0) await new Promise((resolve) => setTimeout(resolve, againMs));
    try {
      const headers = { 'content-type': 'application/octet-stream' };
      const response = await fetch(path, { method: 'PUT', body: part, headers, signal });
      if (response.ok) return;
      const { message } = (await response.json()) as { readonly message?: string };
      // What is refused stays refused.
      throw new SendingError(message ?? texts.unreachable);
    } catch (error) {
      if (signal.aborted || error instanceof SendingError) throw error;
      why = error instanceof Error ? `${texts.unreachable} (${error.message}).` : texts.unreachable;
    }
  }
  throw new SendingError(why);
}
