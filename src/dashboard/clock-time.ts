const timeFormat = new Intl.DateTimeFormat('en-GB', { hour: '2-digit', minute: '2-digit', second: '2-digit' });
const dateFormat = new Intl.DateTimeFormat(undefined, { dateStyle: 'medium', timeStyle: 'short' });

/** @returns the time of day of an instant, as in 14:03:22. */
export function clockTime(instant: string): string {
  return timeFormat.format(new Date(instant));
}

/** @returns date and time in the manner of the user's country. @param epochS seconds since the Unix epoch. */
export function shownDate(epochS: number): string {
  return dateFormat.format(new Date(epochS * 1000));
}
