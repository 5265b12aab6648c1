const timeFormat = new Intl.DateTimeFormat(undefined, {
  ...{ hour: '2-digit', minute: '2-digit', second: '2-digit' },
  // Of every country, but narrow.
  hourCycle: 'h23',
});
const dateFormat = new Intl.DateTimeFormat(undefined, { dateStyle: 'medium', timeStyle: 'short' });

/** @returns the time of day of an instant, as in 14:03:22. */
export function clockTime(instant: string): string {
  return timeFormat.format(new Date(instant));
}

/** @returns the time of day. @param epochS seconds since the Unix epoch. */
export function shownTime(epochS: number): string {
  return timeFormat.format(new Date(epochS * 1000));
}

/** @returns date and time in the manner of the user's country. @param epochS seconds since the Unix epoch. */
export function shownDate(epochS: number): string {
  return dateFormat.format(new Date(epochS * 1000));
}

const sizeFormat = new Intl.NumberFormat(undefined, { maximumSignificantDigits: 2 });

/** @returns a size in the largest decimal unit that leaves a number above one. */
export function shownSize(bytes: number): string {
  const units = ['B', 'kB', 'MB', 'GB', 'TB'];
  const power = Math.min(units.length - 1, Math.max(0, Math.floor(Math.log10(Math.max(1, bytes)) / 3)));
  return `${sizeFormat.format(bytes / 1000 ** power)} ${units[power]}`;
}
