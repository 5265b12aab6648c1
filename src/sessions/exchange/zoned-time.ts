/** Instants from what a clock on the wall showed in a time zone of the IANA list. */

/** Why a text is no instant, as a sentence. */
export class ZonedTimeError extends Error {
  constructor(message: string) {
    super(message);
    this.name = 'ZonedTimeError';
  }
}

const form = /^(\d{4})-(\d{2})-(\d{2})(?:[T ](\d{2}):(\d{2})(?::(\d{2})(\.\d{1,9})?)?)?\s*(Z|[+-]\d{2}:?\d{2})?$/;
const daySeconds = 86_400;

/** @throws ZonedTimeError unless the name is one of the IANA list. */
export function requireTimeZone(name: string): string {
  try {
    // An offset such as +01:00 is no place and knows no summer time.
    if (/^[A-Za-z]/.test(name)) return new Intl.DateTimeFormat('en', { timeZone: name }).resolvedOptions().timeZone;
  } catch {
    // Said below.
  }
  throw new ZonedTimeError(
    `"${name.slice(0, 60)}" is no time zone: expected a name of the IANA list, such as Europe/Berlin, America/New_York or UTC`,
  );
}

/**
 * @param text `2026-11-20T18:00`, with seconds if wanted, or a day alone (its beginning); with an offset (`+01:00`, `Z`) it is
 *   an instant by itself, without one it is what a clock in the zone showed.
 * @returns seconds since the Unix epoch.
 * @throws ZonedTimeError for what is no time, a time that clocks jumped over and one that they showed twice.
 */
export function instantInZone(text: string, timeZone: string): number {
  const parts = form.exec(text.trim());
  const numbers = (parts ?? []).slice(1, 7).map((part) => Number(part ?? 0));
  const [year = 0, month = 0, day = 0, hour = 0, minute = 0, second = 0] = numbers;
  const wallS = Date.UTC(year, month - 1, day, hour, minute, second) / 1000;
  const shown = new Date(wallS * 1000);
  // A date that is rolled over (31 February) comes back as another one.
  const isDate =
    parts !== null &&
    shown.getUTCFullYear() === year &&
    shown.getUTCMonth() === month - 1 &&
    shown.getUTCDate() === day &&
    hour < 24 &&
    minute < 60 &&
    second < 60;
  if (!isDate) {
    throw new ZonedTimeError(
      `"${text.slice(0, 60)}" is no time: expected year-month-dayThour:minute, such as 2026-11-20T18:00 or 2026-11-20T18:00+01:00`,
    );
  }
  const fractionS = Number(parts[7] ?? 0);
  const offset = parts[8];
  if (offset !== undefined) return wallS - offsetSeconds(offset, text) + fractionS;
  // No zone changes its offset by more than a day, so these are the two that can hold here.
  const candidates = [offsetInZone(wallS - daySeconds, timeZone), offsetInZone(wallS + daySeconds, timeZone)];
  const instants = [...new Set(candidates)].map((offsetS) => wallS - offsetS);
  const fitting = instants.filter((instant) => wallS - instant === offsetInZone(instant, timeZone));
  const [only] = fitting;
  if (only !== undefined && fitting.length === 1) return only + fractionS;
  const [before = 0, after = 0] = candidates;
  throw new ZonedTimeError(
    fitting.length === 0
      ? `${text} did not exist in ${timeZone}: clocks went from ${offsetText(before)} to ${offsetText(after)} and left it out. Say another time, or the offset too, ${withOffset(text, before)}`
      : `${text} came twice in ${timeZone}, when clocks were put back: say which is meant, ${withOffset(text, before)} or ${withOffset(text, after)}`,
  );
}

function offsetSeconds(offset: string, text: string): number {
  if (offset === 'Z') return 0;
  const [, sign, hours, minutes] = /^([+-])(\d{2}):?(\d{2})$/.exec(offset) ?? [];
  const seconds = Number(hours) * 3600 + Number(minutes) * 60;
  if (Number(hours) > 14 || Number(minutes) > 59) {
    throw new ZonedTimeError(`"${text.slice(0, 60)}" has the offset ${offset}: expected one from -14:00 to +14:00`);
  }
  return sign === '-' ? -seconds : seconds;
}

/** @returns how far clocks in the zone are ahead of UTC at an instant, s. */
function offsetInZone(instantS: number, timeZone: string): number {
  const format = new Intl.DateTimeFormat('en-US', {
    timeZone,
    calendar: 'iso8601',
    hourCycle: 'h23',
    year: 'numeric',
    month: 'numeric',
    day: 'numeric',
    hour: 'numeric',
    minute: 'numeric',
    second: 'numeric',
  });
  const whole = Math.floor(instantS);
  const parts = new Map(format.formatToParts(new Date(whole * 1000)).map(({ type, value }) => [type, Number(value)]));
  const of = (type: Intl.DateTimeFormatPartTypes) => parts.get(type) ?? 0;
  return Date.UTC(of('year'), of('month') - 1, of('day'), of('hour'), of('minute'), of('second')) / 1000 - whole;
}

function offsetText(offsetS: number): string {
  const size = Math.abs(offsetS);
  const pad = (value: number) => String(Math.floor(value)).padStart(2, '0');
  return `${offsetS < 0 ? '-' : '+'}${pad(size / 3600)}:${pad((size % 3600) / 60)}`;
}

function withOffset(text: string, offsetS: number): string {
  return `${text.trim()}${offsetText(offsetS)}`;
}
