import type { Kysely, Transaction } from 'kysely';
import { SeamwiseError } from '../../foundation/errors.ts';
import type { StoreEngine } from './store-engine.ts';
import type { Tables } from './tables.ts';

/** What every part of the store works with. */
export interface StoreContext {
  readonly db: Kysely<Tables>;
  readonly clubId: string;
  readonly nowS: () => number;
  /** Changes go through this; what a change depends on is read inside of it. */
  readonly write: StoreEngine['write'];
}

/** Who makes a change. The name is what that person is called here, never asked of the system. */
export interface Actor {
  readonly role: 'coach' | 'player' | 'host' | 'researcher';
  readonly name: string;
}

export type Connection = Kysely<Tables> | Transaction<Tables>;

/** @throws SeamwiseError `store-missing` */
export function missing(what: string, id: string): SeamwiseError {
  return new SeamwiseError(
    'store-missing',
    `there is no ${what} with the id ${JSON.stringify(id.slice(0, 80))} in this club`,
  );
}

/** @throws SeamwiseError `store-value` unless the value is one of those allowed. */
export function requireOneOf<Value extends string>(what: string, value: string, allowed: readonly Value[]): Value {
  const found = allowed.find((each) => each === value);
  if (found === undefined) {
    throw new SeamwiseError(
      'store-value',
      `${what} is ${JSON.stringify(String(value).slice(0, 80))}: expected ${allowed.join(', ')}`,
    );
  }
  return found;
}

/** @throws SeamwiseError `store-value` unless the text is not empty after trimming and no longer than told. */
export function requireText(what: string, value: string, { least = 0, most = 200 } = {}): string {
  const text = value.trim().normalize('NFC');
  // biome-ignore lint/suspicious/noControlCharactersInRegex: control characters are what is looked for.
  if (text.length < least || text.length > most || /[\u0000-\u0008\u000b-\u001f\u007f]/.test(text)) {
    throw new SeamwiseError(
      'store-value',
      `${what} is ${JSON.stringify(text.slice(0, 80))} (${text.length} characters): expected ${least} to ${most} characters without control characters`,
    );
  }
  return text;
}

/** @throws SeamwiseError `store-value` unless the number lies in the range. */
export function requireNumber(what: string, value: number, least: number, most: number): number {
  if (!(value >= least && value <= most)) {
    throw new SeamwiseError('store-value', `${what} is ${value}: expected a number from ${least} to ${most}`);
  }
  return value;
}

/** @throws SeamwiseError `store-value` unless the number is whole and in the range. */
export function requireWhole(what: string, value: number, least: number, most: number): number {
  if (!Number.isInteger(value)) {
    throw new SeamwiseError('store-value', `${what} is ${value}: expected a whole number from ${least} to ${most}`);
  }
  return requireNumber(what, value, least, most);
}
