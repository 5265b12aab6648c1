import path from 'node:path';
import { environmentReaders, impureGlobals, type Layer, layers, neverTogether, timedRxjs } from './layer-table.ts';
import { type ModuleFacts, type ModuleImport, readModule } from './read-module.ts';

export interface LayerReport {
  readonly moduleCount: number;
  /** Imports between two files of src/. */
  readonly edgeCount: number;
  /** One sentence a breach, `file:line: what`. */
  readonly breaches: readonly string[];
}

/**
 * Checks modules against the layer table.
 *
 * @param modules text of each module by its path under src/, forward slashes
 * @throws Error when there is no module to read: an empty check proves nothing
 */
export function checkLayers(modules: ReadonlyMap<string, string>, table: readonly Layer[] = layers): LayerReport {
  if (modules.size === 0) throw new Error('the layer check read no modules: expected TypeScript files under src/');
  const breaches: string[] = [];
  let edgeCount = 0;
  for (const [file, text] of modules) {
    const layer = table.find(({ folder }) => file.startsWith(`${folder}/`));
    if (layer === undefined) {
      breaches.push(`${file}:1: lies in no folder of the layer table`);
      continue;
    }
    const facts = readModule(file, text);
    for (const found of facts.imports) {
      const problem = found.from.startsWith('.') ? checkInside(file, layer, found) : checkOutside(layer, found);
      if (found.from.startsWith('.')) edgeCount += 1;
      if (problem !== null) breaches.push(`${file}:${found.line}: ${problem}`);
    }
    breaches.push(...checkNames(file, layer, facts));
  }
  return { moduleCount: modules.size, edgeCount, breaches };
}

function checkInside(file: string, layer: Layer, found: ModuleImport): string | null {
  const target = path.posix.normalize(path.posix.join(path.posix.dirname(file), found.from));
  if (target.startsWith('..')) return `imports ${found.from}, which lies outside src/`;
  const folder = target.split('/')[0] ?? '';
  for (const [one, other] of neverTogether) {
    if ((layer.folder === one && folder === other) || (layer.folder === other && folder === one)) {
      return `${layer.folder} and ${folder} share no code, but ${target} is imported`;
    }
  }
  if (folder === layer.folder) return null;
  const allowed = layer.mayImport.find((entry) => covers(entry, target));
  if (allowed === undefined) return `${layer.folder} may not import ${folder} (${target})`;
  if (allowed.endsWith(':types') && !found.typesOnly) return `${layer.folder} may import only types from ${folder}`;
  return null;
}

function covers(entry: string, target: string): boolean {
  const place = entry.replace(/:types$/, '');
  return target.startsWith(`${place}/`) || target === `${place}.ts`;
}

function checkOutside(layer: Layer, found: ModuleImport): string | null {
  if (found.from === '') return 'imports a computed address, which cannot be checked';
  if (found.from.startsWith('node:'))
    return layer.pure ? `${layer.folder} is pure and may not import ${found.from}` : null;
  const name = packageOf(found.from);
  if (layer.packages !== null && !layer.packages.includes(name)) {
    return `${layer.folder} may not use the package ${name} (allowed: ${layer.packages.join(', ') || 'none'})`;
  }
  if (!layer.pure || name !== 'rxjs') return null;
  const timed = found.names.find((imported) => imported === '*' || timedRxjs.includes(imported));
  return timed === undefined
    ? null
    : `${layer.folder} is pure and may not take "${timed}" from rxjs: it can reach a clock`;
}

function packageOf(address: string): string {
  const parts = address.split('/');
  return address.startsWith('@') ? parts.slice(0, 2).join('/') : (parts[0] ?? '');
}

function checkNames(file: string, layer: Layer, facts: ModuleFacts): string[] {
  const banned = layer.pure ? ['Date.now', 'new Date', 'Math.random', ...impureGlobals] : [];
  const readsEnvironment = environmentReaders.some(
    (entry) => file === entry || (entry.endsWith('/') && file.startsWith(entry)),
  );
  if (!readsEnvironment) banned.push('process.env');
  return facts.used
    .filter(({ name }) => banned.includes(name))
    .map(({ name, line }) =>
      name === 'process.env' && !layer.pure
        ? `${file}:${line}: reads the environment, which only ${environmentReaders.join(' and ')} may`
        : `${file}:${line}: ${layer.folder} is pure and may not use ${name}`,
    );
}
