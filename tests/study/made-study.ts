import type { Random } from '../../src/simulate/random.ts';
import type { StudySet } from '../../src/study/study-units.ts';

export interface MadeStudySpec {
  readonly players: number;
  readonly days: number;
  readonly shotsASet: number;
  /** Make chance and level of the measure under each condition. */
  readonly conditions: Readonly<Record<string, { readonly chance: number; readonly level: number }>>;
  /** Spread of players, of days and of single shots about the level; shots hang together by `serial`. */
  readonly playerSd: number;
  readonly daySd: number;
  readonly serial: number;
}

/** Sets of players who shoot every condition on every day, with days and shots that hang together. */
export function makeStudy(spec: MadeStudySpec, random: Random): StudySet[] {
  const sets: StudySet[] = [];
  for (let p = 0; p < spec.players; p++) {
    const player = `Player ${String(p + 1).padStart(2, '0')}`;
    const own = random.normal(0, spec.playerSd);
    for (let day = 1; day <= spec.days; day++) {
      const form = random.normal(0, spec.daySd);
      let state = random.normal();
      for (const [condition, { chance, level }] of Object.entries(spec.conditions)) {
        const outcomes: boolean[] = [];
        const values: number[] = [];
        for (let i = 0; i < spec.shotsASet; i++) {
          state = spec.serial * state + Math.sqrt(1 - spec.serial ** 2) * random.normal();
          values.push(level + own + form + state);
          // Good days are good for makes too.
          outcomes.push(random.chance(Math.min(0.98, Math.max(0.02, chance + 0.1 * (own + form)))));
        }
        const makes = outcomes.filter(Boolean).length;
        sets.push({ player, day, condition, attempts: spec.shotsASet, makes, outcomes, values: { measure: values } });
      }
    }
  }
  return sets;
}
