import { createHash } from 'node:crypto';
import { existsSync, readdirSync, readFileSync } from 'node:fs';
import path from 'node:path';

/** @param {string} file @returns {string | null} */
export function readStamp(file) {
  return existsSync(file) ? readFileSync(file, 'utf8').trim() : null;
}

/**
 * Hash over words and over the names and contents of files. A missing file counts as such.
 *
 * @param {readonly string[]} words
 * @param {string} root folder the file names are relative to
 * @param {readonly string[]} files
 * @returns {string} 64 hexadecimal digits
 */
export function hashOf(words, root, files) {
  const hash = createHash('sha256');
  hash.update(JSON.stringify(words));
  for (const file of files) {
    const absolute = path.join(root, file);
    const content = existsSync(absolute) ? readFileSync(absolute) : null;
    hash.update(JSON.stringify([file, content === null ? null : content.length]));
    if (content !== null) hash.update(content);
  }
  return hash.digest('hex');
}

/**
 * @param {string} root
 * @param {string} folder
 * @returns {string[]} every file under root/folder, relative to root with forward slashes, sorted
 */
export function filesUnder(root, folder) {
  const start = path.join(root, folder);
  if (!existsSync(start)) return [];
  return readdirSync(start, { recursive: true, withFileTypes: true })
    .filter((entry) => entry.isFile())
    .map((entry) => path.relative(root, path.join(entry.parentPath, entry.name)).replaceAll('\\', '/'))
    .sort();
}
