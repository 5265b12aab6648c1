import type { FaultName } from './fault-names.ts';

/** What is looked at in a player of an age, and what is left alone. */
export interface AgeStage {
  readonly name: 'joy' | 'straight-line' | 'one-motion' | 'touch' | 'high-finish';
  /** From this age on, years. */
  readonly fromAge: number;
  readonly inWords: string;
  /** Faults that may be named. */
  readonly faults: readonly FaultName[];
  readonly source: string;
}

const noSource = 'common practice, no source';

const straightLine: readonly FaultName[] = ['side-flick', 'across-body', 'turn-in-air', 'off-line-push'];
const oneMotion: readonly FaultName[] = [...straightLine, 'two-part', 'weak-backspin', 'short-follow-through'];
const touch: readonly FaultName[] = [
  ...oneMotion,
  'off-hand-push',
  'hard-flat-touch',
  'slow-pickup',
  'deep-dip',
  'uneven-starts',
];

/** Stages from the youngest on; each adds to the one before. */
export const ageStages: readonly AgeStage[] = [
  {
    name: 'joy',
    fromAge: 0,
    inWords:
      'Enjoyment first. Only a hand that stays up and a landing as one took off are looked at, and nothing is called a fault.',
    faults: [],
    source: noSource,
  },
  {
    name: 'straight-line',
    fromAge: 10,
    inWords: 'The ball goes on one line: hand, ball and landing.',
    faults: straightLine,
    source: noSource,
  },
  {
    name: 'one-motion',
    fromAge: 12,
    inWords: 'One rise without a stop, the ball turning backward off the fingers, the hand held up.',
    faults: oneMotion,
    source: noSource,
  },
  {
    name: 'touch',
    fromAge: 14,
    inWords: 'A soft ball on a high arc, a still other hand, a quick pickup, the same shot from every start.',
    faults: touch,
    source: noSource,
  },
  {
    name: 'high-finish',
    fromAge: 16,
    inWords: 'A high finish, the same when tired and from far.',
    faults: [...touch, 'low-finish', 'tired-drift', 'out-of-range'],
    source: noSource,
  },
];

/** @returns the stage of an age in years; the last stage where nobody told the age. */
export function stageOfAge(ageYears: number | null): AgeStage {
  const last = ageStages[ageStages.length - 1]!;
  if (ageYears === null) return last;
  return ageStages.findLast(({ fromAge }) => ageYears >= fromAge) ?? ageStages[0]!;
}
