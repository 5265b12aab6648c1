import { rename, rm } from 'node:fs/promises';
import path from 'node:path';
import { openRecordingFile } from '../recording-file.ts';
import { syncFolder } from './durable-file.ts';
import { type RecordingDamage, RecordingReader } from './recording-reader.ts';
import { RecordingWriter } from './recording-writer.ts';

/** What became of a recording that its writer did not close. */
export interface Recovery {
  readonly file: string;
  readonly messages: number;
  /** Last instant of which something is there, s since the Unix epoch; null when nothing is. */
  readonly endHostTimeS: number | null;
  readonly damage: RecordingDamage;
  /** Where the damaged original was kept, or null when the new file has all of it. */
  readonly keptOriginal: string | null;
  /** What happened, as a sentence for a person. */
  readonly message: string;
}

/**
 * Closes a recording whose writer died: what is readable goes, chunk by chunk, into a file with an index that takes the
 * place of the old one. An original with damage that is more than a cut-off end is kept beside it.
 *
 * @returns null when the recording had been closed and nothing needed doing.
 * @throws UnreadableRecordingError when it cannot be opened; the operating system's error when the new one cannot be written.
 */
export async function recoverRecording(file: string): Promise<Recovery | null> {
  const part = `${file}.part`;
  await rm(part, { force: true });
  const opened = await openRecordingFile(file);
  let messages = 0;
  let endHostTimeS: number | null = null;
  let damage: RecordingDamage;
  try {
    const reader = await RecordingReader.open(opened);
    if (reader.hasEnd) return null;
    const writer = await RecordingWriter.create(part, { ...Object.fromEntries(reader.about), recovered: 'true' });
    try {
      for await (const entry of reader.entries()) {
        messages += 1;
        endHostTimeS = Math.max(endHostTimeS ?? entry.hostTimeS, entry.hostTimeS);
        const { sensorId, bytes, hostTimeS } = entry;
        if (entry.kind === 'description') await writer.describe(sensorId, bytes, hostTimeS);
        else await writer.add({ sensorId, bytes, hostTimeS });
      }
      for (const { kind, document, hostTimeS } of reader.notes) await writer.note(kind, document, hostTimeS);
    } finally {
      await writer.close();
    }
    damage = reader.damage();
  } finally {
    await opened.handle.close();
  }
  const keptOriginal = isOnlyCutOff(damage) ? null : `${file}.damaged`;
  if (keptOriginal) await rename(file, keptOriginal);
  await rename(part, file);
  await syncFolder(path.dirname(file));
  return { file, messages, endHostTimeS, damage, keptOriginal, message: inWords(file, messages, damage, keptOriginal) };
}

/** One piece at the end that could not be read is what a crash leaves. */
function isOnlyCutOff(damage: RecordingDamage): boolean {
  return damage.places.length <= 1;
}

function inWords(file: string, messages: number, damage: RecordingDamage, keptOriginal: string | null): string {
  const name = path.basename(file);
  const saved = `${name} was not closed; ${messages} messages are saved`;
  if (damage.places.length === 0) return `${saved}, nothing that was on the disk is lost`;
  const lost = `${saved}; lost: ${damage.places.join('; ')}`;
  return keptOriginal ? `${lost}. The damaged file is kept as ${path.basename(keptOriginal)}` : lost;
}
