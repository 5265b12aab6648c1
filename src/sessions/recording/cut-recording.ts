import { rename, rm } from 'node:fs/promises';
import path from 'node:path';
import { openRecordingFile } from '../recording-file.ts';
import { syncFolder } from './durable-file.ts';
import { RecordingReader } from './recording-reader.ts';
import { RecordingWriter } from './recording-writer.ts';

/** A stretch of one sensor, half-open, host time in s since the Unix epoch. */
export interface CutSpan {
  readonly sensorId: string;
  readonly fromS: number;
  readonly untilS: number;
}

/**
 * Takes stretches of notifications out of a recording for good: the file is written anew without them and takes the place of
 * the old one. Descriptions and notes stay; the parser tells what is missing as a gap.
 *
 * @param rewrite changes the text of notes, such as a name in a mark.
 * @returns how many notifications were taken out; nothing is written when there is nothing to change.
 * @throws UnreadableRecordingError, or the operating system's error when the new file cannot be written; the old one then stays.
 */
export async function cutRecording(
  file: string,
  spans: readonly CutSpan[],
  rewrite: (text: string) => string = (text) => text,
): Promise<number> {
  const part = `${file}.part`;
  await rm(part, { force: true });
  const opened = await openRecordingFile(file);
  let taken = 0;
  let rewritten = 0;
  try {
    const reader = await RecordingReader.open(opened);
    const writer = await RecordingWriter.create(part, { ...Object.fromEntries(reader.about), cut: 'true' });
    try {
      for await (const { kind, sensorId, bytes, hostTimeS } of reader.entries()) {
        if (kind === 'description') await writer.describe(sensorId, bytes, hostTimeS);
        else if (spans.some((span) => isWithin(span, sensorId, hostTimeS))) taken += 1;
        else await writer.add({ sensorId, bytes, hostTimeS });
      }
      for (const { kind, document, hostTimeS } of reader.notes) {
        const text = JSON.stringify(document);
        const next = rewrite(text);
        if (next !== text) rewritten += 1;
        await writer.note(kind, JSON.parse(next), hostTimeS);
      }
    } finally {
      await writer.close();
    }
  } catch (error) {
    await rm(part, { force: true });
    throw error;
  } finally {
    await opened.handle.close();
  }
  if (taken === 0 && rewritten === 0) {
    await rm(part, { force: true });
    return 0;
  }
  await rename(part, file);
  await syncFolder(path.dirname(file));
  return taken;
}

function isWithin(span: CutSpan, sensorId: string, hostTimeS: number): boolean {
  return span.sensorId === sensorId && hostTimeS >= span.fromS && hostTimeS < span.untilS;
}
