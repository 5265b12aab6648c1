const dayS = 86_400;

/** @returns local date of an instant, YYYY-MM-DD. */
export function localDate(atS: number, timeZone: string): string {
  const format = new Intl.DateTimeFormat('en-CA', { timeZone, year: 'numeric', month: '2-digit', day: '2-digit' });
  return format.format(new Date(atS * 1000));
}

/** @returns number of a date, counted on day by day. */
export function dayNumber(date: string): number {
  return Math.round(Date.parse(`${date}T00:00:00Z`) / (dayS * 1000));
}

export function dateOfDay(day: number): string {
  return new Date(day * dayS * 1000).toISOString().slice(0, 10);
}

/** @returns date of the Monday of a day's week. */
export function mondayOf(day: number): string {
  // Day 0 was a Thursday.
  return dateOfDay(day - ((day + 3) % 7));
}

/** @returns the zone of this machine. */
export function ownTimeZone(): string {
  return Intl.DateTimeFormat().resolvedOptions().timeZone || 'UTC';
}
