import { InvalidArgumentError } from 'commander';

/** @returns a reader of option values that refuses what is no number within the limits, both included. */
export function numberWithin(least: number, most: number, unit: string, example: string): (text: string) => number {
  return (text) => {
    const value = /^[+-]?(\d+\.?\d*|\.\d+)$/.test(text.trim()) ? Number(text) : Number.NaN;
    // Written this way round because a comparison with NaN is false.
    if (!(value >= least && value <= most)) {
      throw new InvalidArgumentError(`Expected a number from ${least} to ${most} ${unit}, such as ${example}.`);
    }
    return value;
  };
}

/** @returns a reader of option values that refuses what is no whole number within the limits, both included. */
export function wholeNumberWithin(least: number, most: number): (text: string) => number {
  return (text) => {
    const value = /^\d+$/.test(text.trim()) ? Number(text) : Number.NaN;
    if (!(value >= least && value <= most)) {
      throw new InvalidArgumentError(`Expected a whole number from ${least} to ${most}.`);
    }
    return value;
  };
}

/** Collects sensor ids of an option that may be given several times. */
export function sensorIdOf(text: string, before: readonly string[] | undefined): readonly string[] {
  const id = text.trim().toLowerCase();
  if (!/^[0-9a-f]{32}$/.test(id)) {
    throw new InvalidArgumentError('Expected the 32 hex digits of a sensor id, as the list of sensors shows it.');
  }
  return [...(before ?? []), id];
}
