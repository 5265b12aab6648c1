import { SeamwiseError } from '../../foundation/errors.ts';
import { ZonedTimeError } from '../../sessions/exchange/zoned-time.ts';

/** @returns what `work` gives; a time that cannot be is a value that cannot be. @throws SeamwiseError `store-value`. */
export function asValue<Result>(work: () => Result): Result {
  try {
    return work();
  } catch (error) {
    if (error instanceof ZonedTimeError) throw new SeamwiseError('store-value', error.message);
    throw error;
  }
}

/** @returns the time zone of this machine. */
export function localZone(): string {
  return Intl.DateTimeFormat().resolvedOptions().timeZone || 'UTC';
}
