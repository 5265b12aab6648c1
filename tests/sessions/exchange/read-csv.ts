import { writeFileSync } from 'node:fs';
import path from 'node:path';
import { concatImuBlocks, type ImuBlock } from '../../../src/foundation/imu-block.ts';
import { CsvRecording, type CsvReport } from '../../../src/sessions/exchange/csv-recording.ts';
import { openRecordingFile } from '../../../src/sessions/recording-file.ts';

export const header = 't_s,ax_mps2,ay_mps2,az_mps2,gx_radps,gy_radps,gz_radps';

/** Reads a CSV file from start to end. */
export async function readCsv(file: string): Promise<{ recording: CsvRecording; block: ImuBlock; report: CsvReport }> {
  const opened = await openRecordingFile(file);
  try {
    const recording = await CsvRecording.open(opened);
    const blocks: ImuBlock[] = [];
    for await (const block of recording.blocks()) blocks.push(block);
    return { recording, block: concatImuBlocks(blocks), report: recording.report() };
  } finally {
    await opened.handle.close();
  }
}

/** Writes text as a file of the folder and reads it. */
export function readText(folder: string, text: string | Uint8Array) {
  const file = path.join(folder, 'recording.csv');
  writeFileSync(file, text);
  return readCsv(file);
}

/** @returns a row at rest: 1 g along z */
export function restRow(timeS: number | string): string {
  return `${timeS},0.01,-0.02,9.80,0.001,0.002,-0.003`;
}

/** @returns n rows at rest, 5 ms apart, from 0 s */
export function restRows(n: number): string[] {
  return Array.from({ length: n }, (_, i) => restRow((i * 0.005).toFixed(3)));
}
