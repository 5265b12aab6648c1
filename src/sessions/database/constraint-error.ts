/** @returns whether the database, of either engine, refused a change because rows hang together or a name has to be different. */
export function isConstraintError(error: unknown): boolean {
  if (!(error instanceof Error)) return false;
  const { code } = error as { readonly code?: unknown };
  // SQLite's own words; PostgreSQL documentation, appendix A, class 23.
  return /constraint failed/i.test(error.message) || (typeof code === 'string' && /^23[0-9A-Z]{3}$/.test(code));
}
