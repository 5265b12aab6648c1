import { readFileSync } from 'node:fs';

/** @returns the version in the package's description, which lies above both the sources and the compiled files. */
export function readVersion(): string {
  const description: unknown = JSON.parse(readFileSync(new URL('../../package.json', import.meta.url), 'utf8'));
  return (description as { version: string }).version;
}
