import type { OpenedFile } from '../recording-file.ts';
import { UnreadableRecordingError } from '../unreadable.ts';
import { type LineBatch, longestLineBytes, readLines } from './csv-lines.ts';

/** The header of a CSV file and where it stands. */
export interface HeaderLine {
  readonly text: string;
  /** Counted from 1. */
  readonly line: number;
}

/**
 * Finds the header: the first line that is not blank, no remark (`# …`) and no word to a spreadsheet (`sep=,`).
 *
 * @throws UnreadableRecordingError for what is not text or has no such line near its start.
 */
export async function readHeaderLine(file: OpenedFile): Promise<HeaderLine> {
  refuseOtherFiles(file);
  const { path } = file;
  const lines = ((await readLines(file).next()).value as LineBatch | undefined)?.lines ?? [];
  const at = lines.findIndex((raw) => raw === null || !isPreamble(raw));
  if (at < 0 && lines.length > 0 && file.sizeBytes <= file.head.length) {
    throw new UnreadableRecordingError('recording-header', {
      where: `${path}, line 1`,
      expected: 'the header t_s,ax_mps2,ay_mps2,az_mps2,gx_radps,gy_radps,gz_radps (gyro columns may be missing)',
      came: 'nothing but blank lines and remarks',
      remedy: 'Export the recording again.',
    });
  }
  const raw = lines[at] ?? null;
  const text =
    raw === null
      ? null
      : Buffer.from(raw, 'latin1')
          .toString('utf8')
          .replace(/^\ufeff/, '');
  if (text === null || text.includes('\ufffd')) {
    throw new UnreadableRecordingError('recording-header-line', {
      where: `${path}, line ${Math.max(at, 0) + 1}`,
      expected: 'a header line with the names of the columns',
      came: text === null ? `a line longer than ${longestLineBytes} characters` : 'characters that are not UTF-8 text',
      remedy: 'Name a CSV recording, or a recording that Seamwise wrote.',
    });
  }
  return { text, line: at + 1 };
}

function isPreamble(raw: string): boolean {
  const text = raw.replace(/^\u00ef\u00bb\u00bf/, '').trim();
  return text === '' || text.startsWith('#') || /^"?sep=.{1,2}$/i.test(text);
}

function refuseOtherFiles({ head, path }: OpenedFile): void {
  const packed = head[0] === 0x1f && head[1] === 0x8b ? 'gzip' : startsWith(head, [0x50, 0x4b, 3, 4]) ? 'ZIP' : null;
  if (packed !== null) {
    throw new UnreadableRecordingError('recording-packed', {
      where: path,
      expected: 'a CSV recording (text) or a .mcap recording',
      came: packed === 'gzip' ? 'a file packed with gzip' : 'a ZIP file (spreadsheet programs write such files, too)',
      remedy: packed === 'gzip' ? 'Unpack it first.' : 'Unpack it first, or export the table as CSV.',
    });
  }
  if (head[0] === 0xff || head[0] === 0xfe) {
    throw new UnreadableRecordingError('recording-wide-text', {
      where: path,
      expected: 'text in UTF-8 or ASCII',
      came: 'what looks like UTF-16 text',
      remedy: 'Save it again as "CSV UTF-8".',
    });
  }
  if (head.includes(0)) {
    throw new UnreadableRecordingError('recording-binary', {
      where: `${path}, byte ${head.indexOf(0)}`,
      expected: 'a CSV recording (text) or a .mcap recording',
      came: 'a zero byte, as in a binary file',
      remedy: 'Name a recording that Seamwise wrote, or export the data as CSV.',
    });
  }
  const returnAt = head.indexOf(13);
  if (returnAt >= 0 && head[returnAt + 1] !== 10 && !head.includes(10)) {
    throw new UnreadableRecordingError('recording-old-line-ends', {
      where: `${path}, line 1`,
      expected: 'lines that end in a line feed (or carriage return and line feed)',
      came: 'lines that end in a carriage return alone',
      remedy: 'Save it again with Unix or Windows line ends.',
    });
  }
}

function startsWith(head: Uint8Array, bytes: readonly number[]): boolean {
  return bytes.every((byte, index) => head[index] === byte);
}
