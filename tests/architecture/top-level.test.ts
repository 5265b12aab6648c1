import { readdirSync, readFileSync } from 'node:fs';
import path from 'node:path';
import { describe, expect, it } from 'vitest';
import { projectRoot } from '../helpers/project-root.ts';

const agreed = [
  'src',
  'firmware-protocol',
  'tests',
  'recordings-synthetic',
  'README.md',
  'DEVELOPERS.md',
  'package.json',
  'package-lock.json',
  'tsconfig.json',
  'biome.json',
  'LICENSE',
  'CHANGELOG.md',
];

/** Made by commands and ignored by git. */
const made = ['node_modules', 'dist', 'coverage'];

function strangers(names: readonly string[]): string[] {
  return names.filter((name) => !name.startsWith('.') && !agreed.includes(name) && !made.includes(name));
}

/** Addresses that an installer wrote into a lock file: they tie it to one registry. */
function resolvedEntries(lockText: string): string[] {
  const lock: { packages?: Record<string, { resolved?: string }> } = JSON.parse(lockText);
  const packages = Object.entries(lock.packages ?? {});
  if (packages.length < 2) throw new Error('the lock file lists no packages: expected an npm lock of version 3');
  return packages.filter(([, entry]) => entry.resolved !== undefined).map(([name]) => name);
}

describe('the top level', () => {
  it('holds only the agreed files and folders', () => {
    expect(strangers(readdirSync(projectRoot))).toEqual([]);
  });

  it('would show a stranger', () => {
    expect(strangers(['src', 'docs', '.ci', 'vite.config.ts'])).toEqual(['docs', 'vite.config.ts']);
  });
});

describe('the lock file', () => {
  it('names no registry', () => {
    expect(resolvedEntries(readFileSync(path.join(projectRoot, 'package-lock.json'), 'utf8'))).toEqual([]);
  });

  it('would show an address', () => {
    const packages = { '': {}, a: { resolved: 'https://registry.example/a.tgz' }, b: {} };
    expect(resolvedEntries(JSON.stringify({ packages }))).toEqual(['a']);
    expect(() => resolvedEntries('{}')).toThrow('lists no packages');
  });
});

describe('the manifest', () => {
  it('pins every package to one version', () => {
    const manifest: Record<string, Record<string, string>> = JSON.parse(
      readFileSync(path.join(projectRoot, 'package.json'), 'utf8'),
    );
    const kinds = ['dependencies', 'devDependencies', 'optionalDependencies'];
    const versions = kinds.flatMap((kind) => Object.entries(manifest[kind] ?? {}));
    expect(versions.length).toBeGreaterThan(0);
    expect(versions.filter(([, version]) => !/^\d+\.\d+\.\d+(-[\w.]+)?$/.test(version))).toEqual([]);
  });
});
