import { SeamwiseError } from '../foundation/errors.ts';

/** Too little or unfit data is a value: what could not be said, and why. */
export interface Insufficient {
  readonly kind: 'insufficient';
  readonly reason: string;
}

/** @returns the frozen value that says why a statistic cannot be given. */
export function insufficient(reason: string): Insufficient {
  return Object.freeze({ kind: 'insufficient', reason });
}

/** @returns whether a result is the reason why there is none. */
export function isInsufficient(result: object): result is Insufficient {
  return 'kind' in result && result.kind === 'insufficient';
}

/** @throws SeamwiseError `statistic-input` unless the value lies within the bounds, both included. */
export function requireWithin(name: string, value: number, low: number, high: number): void {
  if (!(value >= low && value <= high)) {
    throw new SeamwiseError('statistic-input', `${name} = ${value}: expected a number from ${low} to ${high}`);
  }
}

/** @throws SeamwiseError `statistic-input` unless the value lies strictly between the bounds. */
export function requireBetween(name: string, value: number, low: number, high: number): void {
  if (!(value > low && value < high)) {
    throw new SeamwiseError('statistic-input', `${name} = ${value}: expected a number between ${low} and ${high}`);
  }
}

/** @throws SeamwiseError `statistic-input` unless the value is a whole number from `low` to `high`. */
export function requireWhole(name: string, value: number, low = 0, high = Number.MAX_SAFE_INTEGER): void {
  if (!Number.isInteger(value) || !(value >= low && value <= high)) {
    throw new SeamwiseError('statistic-input', `${name} = ${value}: expected a whole number from ${low} to ${high}`);
  }
}

/** @throws SeamwiseError `statistic-input` when a value is no finite number; its place counts from 0. */
export function requireFinite(name: string, values: ArrayLike<number>): void {
  for (let i = 0; i < values.length; i++) {
    if (!Number.isFinite(values[i])) {
      throw new SeamwiseError(
        'statistic-input',
        `${name}[${i}] = ${values[i]}: expected a finite number; leave out what was not measured`,
      );
    }
  }
}

/** @throws SeamwiseError `statistic-input` when two lists that go together differ in length. */
export function requireSameLength(name: string, one: ArrayLike<unknown>, other: ArrayLike<unknown>): void {
  if (one.length !== other.length) {
    throw new SeamwiseError(
      'statistic-input',
      `${name}: expected lists of one length, got ${one.length} and ${other.length}`,
    );
  }
}
