import { createHash } from 'node:crypto';

/** Seeds handed out so far, by label. */
export interface SeedBook {
  readonly seed: (label: string) => number;
  readonly given: Readonly<Record<string, number>>;
}

/**
 * @param origin what all seeds follow from, e.g. a commit hash
 * @returns a book whose `seed` gives for a label the first four bytes of SHA-256 of `origin/label`, big-endian
 */
export function openSeedBook(origin: string): SeedBook {
  const given: Record<string, number> = {};
  const seed = (label: string): number => {
    const value = createHash('sha256').update(`${origin}/${label}`).digest().readUInt32BE(0);
    given[label] = value;
    return value;
  };
  return { seed, given };
}
