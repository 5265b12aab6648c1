import { createHash } from 'node:crypto';
import { mkdirSync, readdirSync, readFileSync, renameSync, writeFileSync } from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { projectRoot } from './project-root.ts';

/** What the cells of a proof depend on. */
const sources = [
  'src/foundation',
  'src/protocol',
  'src/signal',
  'src/flight',
  'src/shots',
  'src/study',
  'src/coaching',
];
const others = ['src/live', 'src/simulate', 'src/server/pairing', 'tests/helpers'];

/**
 * Cells of a long proof, kept in the folder for temporary files under a name that follows from every source they depend on: a proof that
 * was stopped goes on, and nothing computed by other sources is ever taken.
 */
export class CellStore {
  readonly #folder: string;

  constructor(proof: string) {
    const hash = createHash('sha256');
    for (const folder of [...sources, ...others]) digest(hash, path.join(projectRoot, folder));
    hash.update(readFileSync(path.join(projectRoot, 'tests', 'proofs', `${proof}.ts`)));
    this.#folder = path.join(os.tmpdir(), 'seamwise-proof-cells', proof, hash.digest('hex').slice(0, 24));
    mkdirSync(this.#folder, { recursive: true });
  }

  /** @returns the cell, computed where it is not kept. Others are let in between. */
  async get<Cell>(name: string, compute: () => Cell): Promise<Cell> {
    const file = path.join(this.#folder, `${createHash('sha256').update(name).digest('hex').slice(0, 24)}.json`);
    try {
      return JSON.parse(readFileSync(file, 'utf8')) as Cell;
    } catch {
      await new Promise((resolve) => setImmediate(resolve));
      const cell = compute();
      writeFileSync(`${file}.part`, JSON.stringify(cell));
      renameSync(`${file}.part`, file);
      return cell;
    }
  }
}

function digest(hash: ReturnType<typeof createHash>, folder: string): void {
  for (const entry of readdirSync(folder, { withFileTypes: true }).sort((a, b) => (a.name < b.name ? -1 : 1))) {
    const full = path.join(folder, entry.name);
    if (entry.isDirectory()) digest(hash, full);
    else if (entry.name.endsWith('.ts')) hash.update(entry.name).update(readFileSync(full));
  }
}
