/** Consecutive shots of one player under one condition. Single outcomes and values may be missing: totals are enough for much. */
export interface StudySet {
  readonly player: string;
  readonly day: number;
  readonly condition: string;
  readonly attempts: number;
  /** Null where nobody counted. */
  readonly makes: number | null;
  /** Each shot in order, true for a make; null where only the total is known. */
  readonly outcomes: readonly boolean[] | null;
  /** Measures of the shots, as far as they were measured, by name. */
  readonly values: Readonly<Record<string, readonly number[]>>;
}

/** What is compared: the make share, or the mean of a measure. */
export type StudyQuantity = { readonly kind: 'makes' } | { readonly kind: 'measure'; readonly name: string };

/** One player on one day under one condition, taken together. */
interface UnitMean {
  readonly player: string;
  readonly day: number;
  readonly mean: number;
  readonly count: number;
}

/**
 * What two conditions are compared by: days on which a player shot both (`pairs`), and days with one of them (`single`). Within a
 * day everything that differs from day to day is the same for both, which no number of shots would even out.
 */
export interface StudyUnits {
  readonly pairs: readonly { readonly player: string; readonly one: number; readonly two: number }[];
  readonly single: { readonly one: readonly number[]; readonly two: readonly number[] };
}

/** @returns the units of two conditions; sets without the quantity are left out. */
export function unitsOf(sets: readonly StudySet[], quantity: StudyQuantity, one: string, two: string): StudyUnits {
  const first = meansOf(sets, quantity, one);
  const second = meansOf(sets, quantity, two);
  const pairs = [...first.entries()].flatMap(([key, unit]) => {
    const other = second.get(key);
    return other === undefined ? [] : [{ player: unit.player, one: unit.mean, two: other.mean }];
  });
  const alone = (units: ReadonlyMap<string, UnitMean>, others: ReadonlyMap<string, UnitMean>) =>
    [...units.entries()].flatMap(([key, { mean }]) => (others.has(key) ? [] : [mean]));
  return { pairs, single: { one: alone(first, second), two: alone(second, first) } };
}

function meansOf(sets: readonly StudySet[], quantity: StudyQuantity, condition: string): Map<string, UnitMean> {
  const units = new Map<string, UnitMean>();
  for (const set of sets) {
    if (set.condition !== condition) continue;
    let [sum, count] = [0, 0];
    if (quantity.kind === 'makes') {
      if (set.makes === null) continue;
      [sum, count] = [set.makes, set.attempts];
    } else {
      for (const value of set.values[quantity.name] ?? []) {
        sum += value;
        count++;
      }
    }
    if (count === 0) continue;
    const key = JSON.stringify([set.player, set.day]);
    const before = units.get(key);
    const whole = (before?.count ?? 0) + count;
    const mean = ((before?.mean ?? 0) * (before?.count ?? 0) + sum) / whole;
    units.set(key, { player: set.player, day: set.day, mean, count: whole });
  }
  return units;
}
