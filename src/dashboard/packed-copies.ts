import { readdirSync, readFileSync, writeFileSync } from 'node:fs';
import path from 'node:path';
import { brotliCompressSync, constants, gzipSync } from 'node:zlib';
import type { Plugin } from 'vite';

/** Kinds of files that get smaller; pictures with pixels are packed already. */
const packable = new Set(['.css', '.html', '.js', '.json', '.svg', '.webmanifest']);
/** Below this a packed copy saves no packet on the network. */
const leastBytes = 1024;
/** The last two steps take twenty times as long and save a twentieth. */
const fewSteps = { params: { [constants.BROTLI_PARAM_QUALITY]: 9 } };

/**
 * Packs every file of the built page beside itself (`.br`, `.gz`), once: the service sends the copy to browsers
 * that take it, and packs nothing while a practice runs.
 */
export function packedCopies(): Plugin {
  let folder = '';
  return {
    name: 'packed-copies',
    apply: 'build',
    configResolved({ root, build }) {
      folder = path.resolve(root, build.outDir);
    },
    closeBundle() {
      for (const entry of readdirSync(folder, { recursive: true, withFileTypes: true })) {
        if (!entry.isFile() || !packable.has(path.extname(entry.name))) continue;
        const file = path.join(entry.parentPath, entry.name);
        const bytes = readFileSync(file);
        if (bytes.length < leastBytes) continue;
        writeFileSync(`${file}.br`, brotliCompressSync(bytes, fewSteps));
        writeFileSync(`${file}.gz`, gzipSync(bytes, { level: 9 }));
      }
    },
  };
}
