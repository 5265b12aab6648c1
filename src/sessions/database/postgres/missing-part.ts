/** An error of PostgreSQL with what was to be inserted when it came. */
interface RefusedInsert {
  readonly code?: unknown;
  readonly table?: unknown;
  readonly constraint?: unknown;
  shotTimesS?: readonly number[];
}

/**
 * Notes with an error the times of the shots that found no part of their table. PostgreSQL itself tells them to nobody who is kept from
 * rows of others.
 *
 * @param text,values an insert as kysely writes it.
 */
export function noteShotTimes(error: unknown, text: string, values: readonly unknown[]): void {
  const refused = error as RefusedInsert;
  // Appendix A: a check was violated; the part that a row belongs to is such a check without a name.
  if (refused.code !== '23514' || refused.table !== 'shot' || refused.constraint !== undefined) return;
  const columns = /^insert into "shot" \(([^)]*)\)/.exec(text)?.[1]?.split(', ') ?? [];
  const place = columns.indexOf('"at_s"');
  if (place < 0) return;
  const times: number[] = [];
  for (let at = place; at < values.length; at += columns.length) {
    const value = values[at];
    if (typeof value === 'number') times.push(value);
  }
  refused.shotTimesS = times;
}

/** @returns times of shots for which there is no part yet; null for any other error. */
export function shotTimesOf(error: unknown): readonly number[] | null {
  const { shotTimesS } = error as RefusedInsert;
  return shotTimesS !== undefined && shotTimesS.length > 0 ? shotTimesS : null;
}
