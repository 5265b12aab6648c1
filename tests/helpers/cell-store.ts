import { createHash } from 'node:crypto';
import { mkdirSync, readdirSync, readFileSync, renameSync, statSync, writeFileSync } from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { projectRoot } from './project-root.ts';

/**
 * Cells of a long proof, kept in the folder for temporary files under a name that follows from every source they depend on: a proof that
 * was stopped goes on, and nothing computed by other sources is ever taken.
 */
export class CellStore<Cell> {
  readonly #folder: string;

  /** @param sources files, and folders with all their TypeScript, from the project's root. */
  constructor(proof: string, sources: readonly string[]) {
    const hash = createHash('sha256');
    for (const source of sources) digest(hash, path.join(projectRoot, source));
    this.#folder = path.join(os.tmpdir(), 'seamwise-proof-cells', proof, hash.digest('hex').slice(0, 24));
    mkdirSync(this.#folder, { recursive: true });
  }

  /** @returns the cell of a name, null where it is not kept. */
  find(name: string): Cell | null {
    try {
      return JSON.parse(readFileSync(this.#file(name), 'utf8')) as Cell;
    } catch {
      return null;
    }
  }

  keep(name: string, cell: Cell): void {
    const file = this.#file(name);
    writeFileSync(`${file}.part`, JSON.stringify(cell));
    renameSync(`${file}.part`, file);
  }

  #file(name: string): string {
    return path.join(this.#folder, `${createHash('sha256').update(name).digest('hex').slice(0, 24)}.json`);
  }
}

function digest(hash: ReturnType<typeof createHash>, source: string): void {
  if (statSync(source).isFile()) {
    hash.update(path.basename(source)).update(readFileSync(source));
    return;
  }
  for (const entry of readdirSync(source, { withFileTypes: true }).sort((a, b) => (a.name < b.name ? -1 : 1))) {
    const full = path.join(source, entry.name);
    if (entry.isDirectory() || entry.name.endsWith('.ts')) digest(hash, full);
  }
}
