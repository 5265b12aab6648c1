import { requireWithin } from './checks.ts';

/** p-values adjusted so that the chance of any false alarm is held (Holm 1979, Scand. J. Stat. 6:65; from memory); order kept. */
export function holmAdjust(pValues: readonly number[]): readonly number[] {
  const order = sortedPlaces(pValues);
  const adjusted = new Array<number>(pValues.length);
  let largest = 0;
  for (const [rank, place] of order.entries()) {
    largest = Math.max(largest, Math.min(1, (pValues.length - rank) * pValues[place]!));
    adjusted[place] = largest;
  }
  return adjusted;
}

/** p-values adjusted so that the expected share of false alarms is held (Benjamini and Hochberg 1995; from memory); order kept. */
export function benjaminiHochbergAdjust(pValues: readonly number[]): readonly number[] {
  const order = sortedPlaces(pValues);
  const adjusted = new Array<number>(pValues.length);
  let least = 1;
  for (let rank = order.length - 1; rank >= 0; rank--) {
    const place = order[rank]!;
    least = Math.min(least, (pValues.length / (rank + 1)) * pValues[place]!);
    adjusted[place] = least;
  }
  return adjusted;
}

function sortedPlaces(pValues: readonly number[]): number[] {
  for (const p of pValues) requireWithin('p', p, 0, 1);
  return pValues.map((_, place) => place).sort((a, b) => pValues[a]! - pValues[b]!);
}
