import { createHash } from 'node:crypto';

/**
 * Names what there is one of for each key by that key: two courts that say it of the same without knowing of each other say it of one row,
 * and the later of the two stands. Steps of the tables use it: what it gives never changes.
 *
 * @returns 32 hexadecimal digits that lead nobody back to the key.
 */
export function keyedId(table: string, ...key: readonly string[]): string {
  return createHash('sha256')
    .update(JSON.stringify([table, ...key]))
    .digest('hex')
    .slice(0, 32);
}
