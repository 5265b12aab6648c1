import { execFileSync, spawnSync } from 'node:child_process';
import { readdirSync } from 'node:fs';
import path from 'node:path';
import { projectRoot } from './project-root.ts';

/** A compiler for the C reference, or null where this machine has none. */
export const cCompiler: string | null = (() => {
  for (const name of ['gcc', 'cc']) {
    if (spawnSync(name, ['--version'], { stdio: 'ignore' }).status === 0) return name;
  }
  return null;
})();

export const strictFlags = ['-std=c99', '-Wall', '-Wextra', '-Wconversion', '-pedantic', '-Werror'] as const;
export const sanitizerFlags = ['-fsanitize=address,undefined', '-fno-sanitize-recover=all', '-g'] as const;

const sources = path.join(projectRoot, 'firmware-protocol', 'reference-c');
const harness = path.join(projectRoot, 'tests', 'firmware-protocol', 'harness.c');

/** @returns the C files of the reference, full paths. */
export function referenceSources(): string[] {
  const files = readdirSync(sources).filter((name) => name.endsWith('.c'));
  if (files.length === 0) throw new Error(`expected C files in ${sources}, found none`);
  return files.map((name) => path.join(sources, name));
}

/**
 * Compiles reference and harness.
 *
 * @returns path of the program.
 * @throws Error with the compiler's words when there is a warning or an error.
 */
export function buildReference(folder: string, flags: readonly string[] = sanitizerFlags): string {
  if (cCompiler === null) throw new Error('expected gcc on this machine, found none');
  const program = path.join(folder, 'reference');
  execFileSync(
    cCompiler,
    [...strictFlags, '-O1', ...flags, `-I${sources}`, harness, ...referenceSources(), '-o', program],
    { encoding: 'utf8', stdio: ['ignore', 'pipe', 'pipe'] },
  );
  return program;
}

/** Commands for the harness, collected. */
export class HarnessInput {
  #bytes = Buffer.alloc(1 << 16);
  #length = 0;

  add(command: string, values: Uint8Array = new Uint8Array(0)): this {
    const needed = this.#length + 3 + values.length;
    if (needed > this.#bytes.length) {
      const grown = Buffer.alloc(2 * Math.max(needed, this.#bytes.length));
      this.#bytes.copy(grown, 0, 0, this.#length);
      this.#bytes = grown;
    }
    this.#bytes[this.#length] = command.charCodeAt(0);
    this.#bytes.writeUInt16LE(values.length, this.#length + 1);
    this.#bytes.set(values, this.#length + 3);
    this.#length = needed;
    return this;
  }

  bytes(): Buffer {
    return this.#bytes.subarray(0, this.#length);
  }
}

/**
 * Runs the harness over the commands.
 *
 * @returns its answers in order.
 * @throws Error with what it wrote when it did not end well, such as a sanitizer's finding.
 */
export function runReference(program: string, input: HarnessInput): Uint8Array[] {
  const { status, signal, stdout, stderr } = spawnSync(program, [], { input: input.bytes(), maxBuffer: 1 << 30 });
  if (status !== 0) throw new Error(`the C reference ended with ${status ?? signal}: ${stderr}`);
  const answers: Uint8Array[] = [];
  for (let at = 0; at < stdout.length; ) {
    const length = stdout.readUInt16LE(at);
    answers.push(new Uint8Array(stdout.subarray(at + 2, at + 2 + length)));
    at += 2 + length;
  }
  return answers;
}
