import { Compile } from 'typebox/compile';
import { SeamwiseError } from '../foundation/errors.ts';
import { type NumberedDocument, numberedDocumentSchema, wireVersion } from './wire/live-document.ts';

/** What a file of shots held. */
export interface ShotLines {
  readonly documents: readonly NumberedDocument[];
  /** Numbers, from 1, of the lines that could not be used. */
  readonly badLines: readonly number[];
  /** True when the file does not end with a line end: the program died while it wrote. */
  readonly torn: boolean;
  /** True when what stands after the last line end is no whole document and was left out. */
  readonly cutOff: boolean;
}

const numberedDocument = Compile(numberedDocumentSchema);

/**
 * Reads a file of shots, one JSON document a line, and uses every line that can be used: a torn last line (the
 * program died in the middle of it) is left out, damaged ones are told by number.
 *
 * @param text content of the file.
 * @param name name of the file for messages.
 * @throws SeamwiseError `shot-file-version` when a document has a later version than this program knows.
 */
export function readShotLines(text: string, name: string): ShotLines {
  const lines = text.split('\n');
  const torn = lines.at(-1) !== '';
  let cutOff = false;
  const documents: NumberedDocument[] = [];
  const badLines: number[] = [];
  let lastSeq = 0;
  for (const [index, line] of lines.entries()) {
    if (line.trim() === '') continue;
    const document = parseDocument(line, `${name}, line ${index + 1}`);
    if (document === null || document.seq <= lastSeq) {
      if (torn && index === lines.length - 1) cutOff = true;
      else badLines.push(index + 1);
      continue;
    }
    lastSeq = document.seq;
    documents.push(document);
  }
  return { documents, badLines, torn, cutOff };
}

function parseDocument(line: string, where: string): NumberedDocument | null {
  let value: unknown;
  try {
    value = JSON.parse(line);
  } catch {
    return null;
  }
  const version = typeof value === 'object' && value !== null && 'v' in value ? value.v : null;
  if (typeof version === 'number' && version > wireVersion) {
    throw new SeamwiseError(
      'shot-file-version',
      `${where}: expected a document of version ${wireVersion}, found version ${version}. ` +
        'A newer Seamwise wrote this file: use that one, or name another data folder.',
    );
  }
  return numberedDocument.Check(value) ? (value as NumberedDocument) : null;
}
