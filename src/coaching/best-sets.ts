import { type BandedMeasure, type BestSets, bandedMeasures, type CoachedShot } from './bands.ts';
import { isGuess, plausibility } from './plausibility.ts';

/** What the shots of the best sets say of each measure; numbers that are a guess or cannot be are left out. */
export function bestSetsOf(sets: readonly (readonly CoachedShot[])[]): Partial<Record<BandedMeasure, BestSets>> {
  const found: Partial<Record<BandedMeasure, BestSets>> = {};
  for (const measure of bandedMeasures) {
    const known = sets.map((shots) =>
      shots.flatMap(({ measures, startKind }) => {
        const given = measures[measure];
        if (given == null || given.value === null || isGuess(given)) return [];
        const { value, standardError } = given;
        return plausibility(measure, value, standardError) === 'impossible'
          ? []
          : [{ value, standardError, startKind }];
      }),
    );
    const shots = known.flat();
    if (shots.length > 0) found[measure] = { sets: known.filter((one) => one.length > 0).length, shots };
  }
  return found;
}
