const timeFormat = new Intl.DateTimeFormat('en-GB', { hour: '2-digit', minute: '2-digit', second: '2-digit' });

/** @returns the time of day of an instant, as in 14:03:22. */
export function clockTime(instant: string): string {
  return timeFormat.format(new Date(instant));
}
