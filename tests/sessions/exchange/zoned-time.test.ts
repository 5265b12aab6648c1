import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { instantInZone, requireTimeZone, ZonedTimeError } from '../../../src/sessions/exchange/zoned-time.ts';

const utcS = (...parts: [number, number, number, number?, number?, number?]): number => {
  const [year, month, day, hour = 0, minute = 0, second = 0] = parts;
  return Date.UTC(year, month - 1, day, hour, minute, second) / 1000;
};

// SOURCE of the changes of clocks: IANA time zone database, 2026a: europe (EU rules), northamerica (US rules), australasia
// (Lord_Howe: half an hour), asia (Kathmandu +05:45).
describe('a time on the wall', () => {
  it.each([
    ['2026-11-20T18:00', 'Europe/Berlin', utcS(2026, 11, 20, 17)],
    ['2026-07-01 09:30:15.25', 'America/New_York', utcS(2026, 7, 1, 13, 30, 15) + 0.25],
    ['2026-01-05', 'Asia/Kathmandu', utcS(2026, 1, 4, 18, 15)],
    ['2026-07-01T12:00', 'Australia/Lord_Howe', utcS(2026, 7, 1, 1, 30)],
    ['2026-11-20T18:00+01:00', 'America/New_York', utcS(2026, 11, 20, 17)],
    ['2026-11-20T18:00-0330', 'UTC', utcS(2026, 11, 20, 21, 30)],
    ['2026-11-20T18:00Z', 'Europe/Berlin', utcS(2026, 11, 20, 18)],
    ['2026-10-25T02:30+02:00', 'Europe/Berlin', utcS(2026, 10, 25, 0, 30)],
    ['2026-10-25T03:00', 'Europe/Berlin', utcS(2026, 10, 25, 2)],
    ['2026-03-29T01:59:59', 'Europe/Berlin', utcS(2026, 3, 29, 0, 59, 59)],
    ['2026-03-29T03:00', 'Europe/Berlin', utcS(2026, 3, 29, 1)],
  ])('%s in %s is an instant', (text, zone, instant) => {
    expect(instantInZone(text, zone)).toBe(instant);
  });

  it.each([
    ['2026-03-29T02:30', 'Europe/Berlin', 'did not exist in Europe/Berlin: clocks went from +01:00 to +02:00'],
    ['2026-03-08T02:00', 'America/New_York', 'did not exist'],
    ['2026-10-25T02:30', 'Europe/Berlin', 'say which is meant, 2026-10-25T02:30+02:00 or 2026-10-25T02:30+01:00'],
    ['2026-04-05T01:45', 'Australia/Lord_Howe', 'came twice'],
    ['2026-02-29T10:00', 'UTC', 'is no time'],
    ['2026-13-01T10:00', 'UTC', 'is no time'],
    ['2026-11-20T24:00', 'UTC', 'is no time'],
    ['2026-11-20T18:00+25:00', 'UTC', 'expected one from -14:00 to +14:00'],
    ['yesterday', 'UTC', 'expected year-month-dayThour:minute'],
  ])('%s in %s is refused', (text, zone, message) => {
    expect(() => instantInZone(text, zone)).toThrow(ZonedTimeError);
    expect(() => instantInZone(text, zone)).toThrow(message);
  });

  it('is what clocks there show at that instant, whatever the instant', () => {
    const zones = ['Europe/Berlin', 'America/St_Johns', 'Australia/Lord_Howe', 'Pacific/Apia', 'UTC'];
    fc.assert(
      fc.property(fc.integer({ min: 0, max: 4e9 }), fc.constantFrom(...zones), (instant, zone) => {
        const shown = new Intl.DateTimeFormat('sv-SE', { timeZone: zone, dateStyle: 'short', timeStyle: 'medium' });
        const text = shown.format(new Date(instant * 1000)).replace(' ', 'T');
        try {
          expect(instantInZone(text, zone)).toBe(instant);
        } catch (error) {
          // Only what clocks showed twice may be refused.
          expect(String(error)).toContain('came twice');
        }
      }),
    );
  });
});

it('takes names of places alone for a zone', () => {
  expect(requireTimeZone('Europe/Berlin')).toBe('Europe/Berlin');
  for (const name of ['+01:00', 'Mars/Olympus', '', 'Europe Berlin']) {
    expect(() => requireTimeZone(name)).toThrow('is no time zone: expected a name of the IANA list');
  }
});
